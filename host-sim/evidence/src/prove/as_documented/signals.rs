//! The machine's part of a life: what it does, as edges.

use super::door::Door;
use super::life::{Contact, Limit, Step};
use super::play::Play;
use crate::reference::machine::{NeedleBy, Signal};

/// `us`, a little more or less, at least 1.
fn off(us: u64, off_us: i32) -> u64 {
    us.saturating_add_signed(off_us.into()).max(1)
}

impl<D: Door> Play<D> {
    /// What the machine does in `step`, if it has nothing to do with its needles.
    pub(super) fn signals(&mut self, step: Step) {
        let wiring = self.model.wiring;
        let at_us = self.now() + 50;
        let mut edges = Vec::new();
        match step {
            Step::Turn { revolutions, period_us, bounce_us } => {
                self.turn(revolutions, period_us.into(), bounce_us.into());
            }
            Step::PulseAfter { limit, off_us } => {
                let limit_us = match limit {
                    Limit::RunGap => wiring.run_gap_ms * 1_000,
                    Limit::Shortest => {
                        36_000_000 / (wiring.top_speed_rpm * wiring.pulses_per_revolution)
                    }
                };
                self.pulse(at_us, &mut edges);
                let end_us = self.pulse(at_us + off(limit_us, off_us), &mut edges);
                self.drive(&edges, end_us + 1_000);
            }
            Step::Spike { off_us } => {
                let until_us = at_us + off(wiring.shaft_debounce_us, off_us);
                edges.extend([(at_us, Signal::Shaft(true)), (until_us, Signal::Shaft(false))]);
                self.drive(&edges, until_us + 1_000);
            }
            Step::Needle { needle } => self.needle(needle),
            Step::Close { contact, off_us, bounces } => self.close(contact, off_us, bounces),
            Step::Breaks { times } => {
                for n in 1..=times {
                    self.close(Contact::Break, None, 0);
                    if n % 4 == 0 {
                        // A checkpoint has room for some more only (`docs/FORMAT.md`, section 3).
                        self.pass(wiring.checkpoint_powered_s * 1_000_000);
                    }
                }
            }
            Step::Twice { shaft, apart_us } => {
                let (signal, debounce_us): (fn(bool) -> Signal, u64) = if shaft {
                    (Signal::Shaft, wiring.shaft_debounce_us)
                } else {
                    (Signal::Trim, wiring.contact_debounce_us)
                };
                let again_us = at_us + u64::from(apart_us);
                let end_us = again_us + debounce_us;
                edges.extend([(at_us, signal(true)), (again_us, signal(true))]);
                edges.push((end_us, signal(false)));
                self.drive(&edges, end_us + debounce_us + 1_000);
            }
            Step::Jump { revolutions, after_us } => {
                self.is_jumping = true;
                // Sewn once the signal is certain: just before, the documents say neither.
                let begun_us = at_us + wiring.contact_debounce_us + u64::from(after_us);
                self.drive(&[(at_us, Signal::Jump(true))], begun_us);
                self.turn(revolutions, 80_000, 0);
                self.is_jumping = false;
                let at_us = self.now() + 10;
                let rest_us = wiring.contact_debounce_us + 20_000;
                self.drive(&[(at_us, Signal::Jump(false))], at_us + rest_us);
            }
            Step::Stand { ms } => self.pass(u64::from(ms) * 1_000),
            _ => {}
        }
    }

    /// What it does in `step` about the needle over the plate.
    pub(super) fn of_needles(&mut self, step: Step) {
        let wiring = self.model.wiring;
        let at_us = self.now() + 50;
        let mut edges = Vec::new();
        match step {
            Step::PulseThenNeedle { needle, after_us } => {
                let Some(reading) = self.reading(needle) else { return };
                self.pulse(at_us, &mut edges);
                edges.push((at_us + u64::from(after_us), reading));
                edges.sort_by_key(|edge| edge.0);
                self.needle = needle;
                self.drive(&edges, at_us + u64::from(after_us) + self.hold_us() + 30_000);
            }
            Step::Flicker { needle, off_us } => {
                let (Some(other), Some(back)) = (self.reading(needle), self.reading(self.needle))
                else {
                    return;
                };
                edges.push((at_us, other));
                let end_us = self.pulse(at_us + off(self.hold_us(), off_us), &mut edges);
                if self.sampled && matches!(other, Signal::Voltage(_)) {
                    // The pin of the simulated chip does not know when its voltage changed.
                    return;
                }
                let back_us = end_us + 5_000;
                edges.push((back_us, back));
                self.drive(&edges, back_us + self.hold_us() + 30_000);
            }
            Step::Off { mv } => {
                let Some(Signal::Voltage(level)) = self.reading(self.needle) else { return };
                let beside = Signal::Voltage(level.saturating_add_signed(mv));
                self.drive(&[(at_us, beside)], at_us + self.hold_us() + 30_000);
                self.turn(1, 60_000, 0);
            }
            Step::BreakThenNeedle { needle, after_us } => {
                let Some(reading) = self.reading(needle) else { return };
                let long_us = wiring.contact_debounce_us.max(50_000) + 1_000;
                edges
                    .extend([(at_us, Signal::Break(true)), (at_us + u64::from(after_us), reading)]);
                edges.push((at_us + long_us, Signal::Break(false)));
                self.needle = needle;
                self.drive(&edges, at_us + 2 * long_us);
            }
            _ => {}
        }
    }

    pub(super) fn pulse(&self, at_us: u64, edges: &mut Vec<(u64, Signal)>) -> u64 {
        let width_us = (self.model.wiring.shaft_debounce_us + 5).max(30);
        edges.push((at_us, Signal::Shaft(true)));
        edges.push((at_us + width_us, Signal::Shaft(false)));
        at_us + width_us
    }

    pub(super) fn reading(&self, needle: u8) -> Option<Signal> {
        match self.model.wiring.needle_by {
            NeedleBy::Code => Some(Signal::Code(needle - 1)),
            NeedleBy::Voltage => {
                Some(Signal::Voltage(self.model.wiring.needle_level_mv[usize::from(needle) - 1]))
            }
            NeedleBy::Nothing => None,
        }
    }

    pub(super) fn needle(&mut self, needle: u8) {
        self.needle = needle;
        if let Some(reading) = self.reading(needle) {
            let at_us = self.now() + 10;
            let hold_us = self.model.wiring.needle_debounce_ms * 1_000;
            self.drive(&[(at_us, reading)], at_us + hold_us + 30_000);
        }
    }

    pub(super) fn hold_us(&self) -> u64 {
        self.model.wiring.needle_debounce_ms * 1_000
    }

    pub(super) fn turn(&mut self, revolutions: u32, period_us: u64, bounce_us: u64) {
        let pulses = self.model.wiring.pulses_per_revolution;
        let revolutions = u64::from(revolutions).min(2 + 64 / pulses);
        // Never faster than the machine can.
        let shortest_us = 60_000_000 / self.model.wiring.top_speed_rpm;
        let apart_us = period_us.max(shortest_us) / pulses;
        let begun_us = self.now() + 10;
        let mut edges = Vec::new();
        for pulse in 0..revolutions * pulses {
            let at_us = begun_us + pulse * apart_us;
            for (at_us, level) in [(at_us, true), (at_us + apart_us / 2, false)] {
                edges.push((at_us, Signal::Shaft(level)));
                // What bounces for longer is told as a fault some time later: `needles-add-up`
                // has it.
                let is_short = bounce_us < self.model.wiring.shaft_debounce_us;
                if bounce_us > 0 && apart_us > 8 * bounce_us && is_short {
                    edges.push((at_us + bounce_us, Signal::Shaft(!level)));
                    edges.push((at_us + 2 * bounce_us, Signal::Shaft(level)));
                }
            }
        }
        self.drive(&edges, begun_us + revolutions * pulses * apart_us);
    }

    pub(super) fn close(&mut self, contact: Contact, off_us: Option<i32>, bounces: u8) {
        let signal = match contact {
            Contact::Trim => Signal::Trim,
            Contact::Break => Signal::Break,
        };
        let debounce_us = self.model.wiring.contact_debounce_us;
        let (at_us, mut edges) = (self.now() + 10, Vec::new());
        let mut closed_us = at_us;
        edges.push((at_us, signal(true)));
        for _ in 0..bounces {
            edges.push((closed_us + 300, signal(false)));
            closed_us += 600;
            edges.push((closed_us, signal(true)));
        }
        let held_us = match off_us {
            Some(off_us) => debounce_us.saturating_add_signed(off_us.into()).max(1),
            None => debounce_us.max(50_000) + 1_000,
        };
        edges.push((closed_us + held_us, signal(false)));
        self.drive(&edges, closed_us + held_us + debounce_us + 1_000);
    }
}
