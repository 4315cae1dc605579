//! The machine itself: perfect signals in time order, and the truth.
//!
//! A run is sewn in *legs* of equal speed (one a revolution while the speed ramps,
//! one for all the rest). Inside a leg a shaft edge costs a few instructions
//! ([`SewingMachine::next_event`]); everything else goes through `SewingMachine::slow`.
//!
//! Invariants: events come in time order; between a cut and the next power-up
//! there are none; the shaft stands whenever the trimmer, the needle case or the
//! break sensor acts.
//!
//! Not done here: bounce, spikes, noise, failing sensors (`distort`).

use std::collections::VecDeque;
use std::ops::ControlFlow;

use shaftbook_core::counters::NEEDLES_MAX;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::settings::NeedleSource;

use super::calendar::{Calendar, Spell};
use super::event::{SewingEvent, Timed};
use super::pattern::{Pattern, PatternEnd};
use super::random::{Chance, Jitter, Random};
use super::truth::Truth;
use crate::scenario::{self, Power, Scenario};

const NEVER_US: u64 = u64::MAX;
const MS_US: u64 = 1_000;
const S_US: u64 = 1_000_000;

/// From power-up to the first movement, µs. Our own choice.
const WARM_UP_US: u64 = 20 * S_US;
/// From power-up to the board's first reading of the needle inputs, µs.
const FIRST_READING_US: u64 = MS_US;
/// From the end of sewing to an off that waits for it, µs. Our own choice.
const SWITCH_OFF_AFTER_US: u64 = 3 * S_US;
/// Least time between a cut and the next power-up, µs. Our own choice.
const LEAST_OFF_US: u64 = S_US;
/// From the last pulse of a run to the trimmer or the break signal, µs.
const SHAFT_STOPS_US: u64 = 60 * MS_US;
/// Length of a trim, µs. Common practice, no source.
const TRIM_US: u64 = 120 * MS_US;
/// Length of a thread-break signal, µs. Common practice, no source.
const BREAK_US: u64 = 200 * MS_US;
/// From the arrival of the needle case to the next run, µs. Our own choice.
const NEEDLE_RESTS_US: u64 = 300 * MS_US;

/// What the machine does when it is next free.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Todo {
    Sew,
    Trim,
    Rethread,
}

/// The supply, and whether anything more is planned while it lasts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Supply {
    Off,
    On,
    /// On, but nobody sews any more: the off is near.
    Resting,
    /// The power-fail warning was given: the cut is near.
    Failing,
}

/// How the next off comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum NextOff {
    /// As the scenario says.
    AsWired,
    /// With a warning so long before the cut, ms, or without one.
    Planned(Option<u32>),
}

/// A run that is being sewn.
#[derive(Clone, Copy, Debug, Default)]
struct Run {
    jumps: u32,
    total: u32,
    /// Revolutions handed to legs so far.
    begun: u32,
}

/// A stretch of equal speed.
#[derive(Clone, Copy, Debug, Default)]
struct Leg {
    pulses: u32,
    first_rise_us: u64,
    jump: bool,
}

/// The machine; see the module's text.
#[derive(Clone, Debug)]
pub struct SewingMachine {
    // The fast path's data first.
    edge_us: u64,
    /// The fast path may give edges before this time; 0 sends it to `slow`.
    limit_us: u64,
    next_rise_us: u64,
    last_rise_us: u64,
    gap_least_us: u64,
    gap_spread_us: u32,
    width_us: u32,
    pulses_left: u32,
    high: bool,
    jitter: Jitter,

    jitter_ppm: u64,
    config: scenario::ScenarioMachine,
    needle_source: NeedleSource,
    needle_level_mv: [u16; NEEDLES_MAX],
    run_gap_us: u64,
    power: Power,
    calendar: Calendar,
    pattern: Pattern,
    random: Random,
    /// Stitches until each needle's thread breaks.
    breaks_in: [u64; NEEDLES_MAX],

    supply: Supply,
    on_us: u64,
    off_us: u64,
    /// An off that waits for the run to end, µs.
    soft_off_us: u64,
    next_off: NextOff,
    pauses: VecDeque<(u64, u64)>,
    last_cut_us: u64,

    queue: VecDeque<(u64, Input)>,
    reading_us: u64,
    free_us: u64,
    todo: Todo,
    run: Run,
    leg: Option<Leg>,
    /// The last true pulse of the legs before this one, in this spell.
    previous_rise_us: Option<u64>,
    needle_index: u8,
    jump_level: bool,
    truth: Truth,
}

impl SewingMachine {
    /// The machine of a scenario, before its first power-up.
    #[must_use]
    pub fn new(scenario: &Scenario, seed: u64) -> Self {
        let settings = scenario.settings();
        let mut random = Random::new(seed, 2);
        let breaks_in = std::array::from_fn(|n| random.until(break_chance(&scenario.machine, n)));
        Self {
            edge_us: NEVER_US,
            limit_us: 0,
            next_rise_us: 0,
            last_rise_us: 0,
            gap_least_us: 0,
            gap_spread_us: 0,
            width_us: 0,
            pulses_left: 0,
            high: false,
            jitter: Jitter::new(seed),
            jitter_ppm: ppm(scenario.machine.jitter_percent),
            config: scenario.machine.clone(),
            needle_source: settings.needle_source,
            needle_level_mv: settings.needle_level_mv,
            run_gap_us: u64::from(settings.run_gap_ms) * MS_US,
            power: scenario.power.clone(),
            calendar: Calendar::new(
                scenario.hours.clone(),
                scenario.power.clone(),
                Random::new(seed, 3),
            ),
            pattern: Pattern::new(scenario.designs.clone()),
            random,
            breaks_in,
            supply: Supply::Off,
            on_us: 0,
            off_us: NEVER_US,
            soft_off_us: NEVER_US,
            next_off: NextOff::AsWired,
            pauses: VecDeque::new(),
            last_cut_us: 0,
            queue: VecDeque::new(),
            reading_us: NEVER_US,
            free_us: 0,
            todo: Todo::Sew,
            run: Run::default(),
            leg: None,
            previous_rise_us: None,
            needle_index: 0,
            jump_level: false,
            truth: Truth::default(),
        }
    }

    /// The next event; `None` after the last cut.
    #[inline]
    pub fn next_event(&mut self) -> Option<Timed> {
        if self.edge_us < self.limit_us { Some(self.shaft_edge()) } else { self.slow() }
    }

    /// Gives the shaft edges up to the next other event to `take`, until it breaks.
    /// Faster than [`SewingMachine::next_event`], as no edge goes through memory.
    #[inline]
    pub fn drive_edges(
        &mut self,
        mut take: impl FnMut(Timed) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        while self.edge_us < self.limit_us {
            take(self.shaft_edge())?;
        }
        ControlFlow::Continue(())
    }

    /// The next event, if it is a shaft edge that comes without a look at anything else.
    #[inline]
    pub fn next_edge(&mut self) -> Option<Timed> {
        (self.edge_us < self.limit_us).then(|| self.shaft_edge())
    }

    /// When the event of [`SewingMachine::next_edge`] is; 0 if there is none.
    #[inline]
    #[must_use]
    pub const fn next_edge_us(&self) -> u64 {
        if self.edge_us < self.limit_us { self.edge_us } else { 0 }
    }

    /// The supply goes off at `at_us`, which is not before the last event given, whatever the
    /// machine does then: with a warning `hold_up_ms` before the cut, or with none. The spell of
    /// power goes on `off_for_us` later, if there is time. Whether it does: not without power,
    /// and not when it goes off before that anyway.
    pub fn switch_off_at(&mut self, at_us: u64, hold_up_ms: Option<u32>, off_for_us: u64) -> bool {
        let is_on = matches!(self.supply, Supply::On | Supply::Resting);
        if !is_on || at_us >= self.off_us {
            return false;
        }
        let planned_us = self.off_us.min(self.soft_off_us);
        let on_us = at_us + u64::from(hold_up_ms.unwrap_or(0)) * MS_US + off_for_us;
        if on_us < planned_us && self.supply == Supply::On {
            self.calendar.go_on(Spell {
                on_us,
                off_us: planned_us,
                at_once: self.soft_off_us == NEVER_US,
                pauses: self.pauses.iter().copied().collect(),
            });
        }
        self.off_us = at_us;
        self.next_off = NextOff::Planned(hold_up_ms);
        self.limit_us = self.limit_us.min(at_us);
        true
    }

    /// What has truly happened up to the last event given.
    #[must_use]
    pub fn truth(&self, now_us: u64) -> Truth {
        let mut truth = self.truth;
        if self.supply != Supply::Off {
            truth.powered_us += now_us.saturating_sub(self.on_us);
        }
        if let Some(leg) = self.leg {
            self.count_leg(leg, &mut truth);
        }
        truth
    }

    #[inline]
    fn shaft_edge(&mut self) -> Timed {
        let at_us = self.edge_us;
        let level = if self.high {
            self.edge_us = self.next_rise_us;
            if self.pulses_left == 0 {
                self.limit_us = 0;
            }
            Level::Inactive
        } else {
            self.pulses_left -= 1;
            self.last_rise_us = at_us;
            let spread_us = self.jitter.below(self.gap_spread_us);
            self.next_rise_us = at_us + self.gap_least_us + u64::from(spread_us);
            self.edge_us = at_us + u64::from(self.width_us);
            Level::Active
        };
        self.high = !self.high;
        Timed::input(at_us, Input::Shaft(level))
    }

    #[cold]
    fn slow(&mut self) -> Option<Timed> {
        loop {
            if self.supply == Supply::Off {
                return self.power_up();
            }
            if self.leg.is_some() && self.pulses_left == 0 && !self.high {
                self.end_leg();
            }
            if self.leg.is_none() && self.queue.is_empty() && self.supply == Supply::On {
                self.plan();
                continue;
            }
            let edge_us = if self.leg.is_some() { self.edge_us } else { NEVER_US };
            let queued_us = self.queue.front().map_or(NEVER_US, |(at_us, _)| *at_us);
            let first_us = edge_us.min(queued_us).min(self.reading_us);
            let timed = if self.off_us <= first_us {
                self.switch_off()
            } else if queued_us == first_us {
                self.pop_queue()?
            } else if self.reading_us == first_us {
                let at_us = self.reading_us;
                self.reading_us += u64::from(self.config.level_reading_ms) * MS_US;
                Timed::input(at_us, Input::NeedleLevel(self.level_mv(self.needle_index)))
            } else {
                self.shaft_edge()
            };
            let more = self.leg.is_some() && (self.pulses_left > 0 || self.high);
            self.limit_us =
                if more && self.queue.is_empty() { self.off_us.min(self.reading_us) } else { 0 };
            return Some(timed);
        }
    }

    fn power_up(&mut self) -> Option<Timed> {
        loop {
            let Spell { on_us, off_us, at_once, pauses } = self.calendar.next_spell()?;
            let on_us = on_us.max(self.last_cut_us + LEAST_OFF_US);
            if off_us <= on_us {
                continue;
            }
            self.supply = Supply::On;
            self.on_us = on_us;
            self.off_us = if at_once { off_us } else { NEVER_US };
            self.soft_off_us = if at_once { NEVER_US } else { off_us };
            self.pauses = pauses.into();
            self.free_us = on_us + WARM_UP_US;
            self.jump_level = false;
            self.previous_rise_us = None;
            self.truth.power_ups += 1;
            match self.needle_source {
                NeedleSource::NotWired => {}
                NeedleSource::Code => self
                    .queue
                    .push_back((on_us + FIRST_READING_US, Input::NeedleCode(self.needle_index))),
                NeedleSource::Level => self.reading_us = on_us + FIRST_READING_US,
            }
            return Some(Timed::new(on_us, SewingEvent::PowerUp));
        }
    }

    fn switch_off(&mut self) -> Timed {
        let at_us = self.off_us;
        if let Some(leg) = self.leg.take() {
            self.finish_leg(leg);
        }
        self.high = false;
        self.pulses_left = 0;
        self.queue.clear();
        self.reading_us = NEVER_US;
        let hold_up_ms = match self.next_off {
            NextOff::AsWired => self.power.warning.then_some(self.power.hold_up_ms),
            NextOff::Planned(hold_up_ms) => hold_up_ms,
        };
        if self.supply != Supply::Failing
            && let Some(hold_up_ms) = hold_up_ms
        {
            self.supply = Supply::Failing;
            self.off_us = at_us + u64::from(hold_up_ms) * MS_US;
            return Timed::input(at_us, Input::PowerFail(Level::Active));
        }
        self.supply = Supply::Off;
        self.next_off = NextOff::AsWired;
        self.truth.powered_us += at_us - self.on_us;
        self.last_cut_us = at_us;
        self.off_us = NEVER_US;
        // A run that was broken off goes on; a trim that was due is not made up.
        self.todo = Todo::Sew;
        Timed::new(at_us, SewingEvent::Cut)
    }

    fn pop_queue(&mut self) -> Option<Timed> {
        let (at_us, input) = self.queue.pop_front()?;
        match input {
            Input::Trim(Level::Active) => self.truth.trims += 1,
            Input::ThreadBreak(Level::Active) => {
                self.truth.needle_breaks[usize::from(self.needle_index)] += 1;
            }
            _ => {}
        }
        Some(Timed::input(at_us, input))
    }

    /// Decides what comes next: fills the queue, starts a run, or rests.
    fn plan(&mut self) {
        if let Some((start_us, end_us)) = self.pauses.front().copied()
            && self.free_us >= start_us
        {
            self.pauses.pop_front();
            self.free_us = self.free_us.max(end_us);
        }
        if self.free_us >= self.soft_off_us {
            self.off_us = self.free_us + SWITCH_OFF_AFTER_US;
            self.supply = Supply::Resting;
            return;
        }
        match self.todo {
            Todo::Sew => self.plan_sewing(),
            Todo::Trim => self.plan_trim(),
            Todo::Rethread => self.plan_rethreading(),
        }
    }

    fn plan_sewing(&mut self) {
        let left = self.pattern.left();
        if left.jumps + left.stitches == 0 {
            self.todo = Todo::Trim;
        } else if left.needle_index != self.needle_index {
            self.move_needle(left.needle_index);
        } else {
            let until_break = self.breaks_in[usize::from(left.needle_index)];
            let stitches = until_break.min(u64::from(left.stitches)) as u32;
            self.run = Run { jumps: left.jumps, total: left.jumps + stitches, begun: 0 };
            let first_speed = self.speed_at(0);
            self.begin_leg(self.free_us + self.gap_us(first_speed));
        }
    }

    fn plan_trim(&mut self) {
        let at_us = self.free_us;
        self.queue.push_back((at_us, Input::Trim(Level::Active)));
        self.queue.push_back((at_us + TRIM_US, Input::Trim(Level::Inactive)));
        self.free_us += u64::from(self.config.trim_ms) * MS_US;
        if self.pattern.next_run() == PatternEnd::Piece {
            self.free_us += u64::from(self.config.frame_change_s) * S_US;
            self.free_us +=
                2 * MS_US * u64::from(self.random.below(self.config.idle_s.saturating_mul(1_000)));
        }
        self.todo = Todo::Sew;
    }

    fn plan_rethreading(&mut self) {
        if self.config.break_wired {
            let at_us = self.free_us;
            self.queue.push_back((at_us, Input::ThreadBreak(Level::Active)));
            self.queue.push_back((at_us + BREAK_US, Input::ThreadBreak(Level::Inactive)));
        }
        self.free_us += u64::from(self.config.rethread_s) * S_US;
        self.todo = Todo::Sew;
    }

    /// Moves the needle case past every position between.
    fn move_needle(&mut self, to_index: u8) {
        let step_us = u64::from(self.config.needle_step_ms) * MS_US;
        while self.needle_index != to_index {
            if self.needle_index < to_index {
                self.needle_index += 1;
            } else {
                self.needle_index -= 1;
            }
            self.free_us += step_us;
            let input = match self.needle_source {
                NeedleSource::NotWired => continue,
                NeedleSource::Code => Input::NeedleCode(self.needle_index),
                NeedleSource::Level => Input::NeedleLevel(self.level_mv(self.needle_index)),
            };
            self.queue.push_back((self.free_us, input));
        }
        self.free_us += NEEDLE_RESTS_US;
    }

    fn begin_leg(&mut self, first_rise_us: u64) {
        let run = self.run;
        let ramp = self.config.ramp_stitches;
        let to_end = run.total - run.begun;
        let mut revolutions =
            if run.begun < ramp || to_end <= ramp { 1 } else { run.total - ramp - run.begun };
        let jump = run.begun < run.jumps;
        if jump {
            revolutions = revolutions.min(run.jumps - run.begun);
        }
        let speed = self.speed_at(run.begun);
        let gap_us = self.gap_us(speed);
        let spread_us = gap_us * self.jitter_ppm / 1_000_000;
        self.gap_least_us = gap_us - spread_us;
        self.gap_spread_us = (2 * spread_us) as u32;
        self.width_us = (gap_us / 4) as u32;
        self.pulses_left = revolutions * u32::from(self.config.pulses_per_revolution);
        self.edge_us = first_rise_us;
        self.high = false;
        self.run.begun += revolutions;
        self.leg = Some(Leg { pulses: self.pulses_left, first_rise_us, jump });
        if jump != self.jump_level && self.config.jump_wired {
            self.jump_level = jump;
            // Half a gap before the revolution it is about; the shaft line is at
            // rest from a quarter of the gap on.
            let gap_us = if run.begun > 0 { first_rise_us - self.last_rise_us } else { gap_us };
            let at_us = first_rise_us - gap_us / 2;
            self.queue.push_back((at_us, Input::Jump(Level::from_bool(jump))));
        }
    }

    fn end_leg(&mut self) {
        let Some(leg) = self.leg.take() else { return };
        self.finish_leg(leg);
        if self.run.begun < self.run.total {
            self.begin_leg(self.next_rise_us);
            return;
        }
        self.free_us = self.last_rise_us + u64::from(self.width_us) + SHAFT_STOPS_US;
        let index = usize::from(self.needle_index);
        if self.breaks_in[index] == 0 {
            self.breaks_in[index] = self.random.until(break_chance(&self.config, index));
            self.todo = Todo::Rethread;
        }
    }

    /// Puts a leg, sewn to its end or not, into the truth.
    fn finish_leg(&mut self, leg: Leg) {
        let mut truth = self.truth;
        let revolutions = self.count_leg(leg, &mut truth);
        self.truth = truth;
        if leg.jump {
            self.pattern.done(revolutions, 0);
        } else {
            self.pattern.done(0, revolutions);
            let until_break = &mut self.breaks_in[usize::from(self.needle_index)];
            *until_break = match *until_break {
                NEVER_US => NEVER_US,
                stitches => stitches.saturating_sub(u64::from(revolutions)),
            };
        }
        if self.pulses_left < leg.pulses {
            self.previous_rise_us = Some(self.last_rise_us);
        }
    }

    /// Adds what was sewn of a leg to `truth`; gives its whole revolutions.
    fn count_leg(&self, leg: Leg, truth: &mut Truth) -> u32 {
        let pulses = leg.pulses - self.pulses_left;
        if pulses == 0 {
            return 0;
        }
        let revolutions = pulses / u32::from(self.config.pulses_per_revolution);
        truth.shaft_pulses += u64::from(pulses);
        if leg.jump && self.config.jump_wired {
            truth.jumps += u64::from(revolutions);
        } else {
            truth.needle_stitches[usize::from(self.needle_index)] += u64::from(revolutions);
        }
        // No gap inside a leg is longer than the run gap: the scenario's check.
        truth.running_us += self.last_rise_us - leg.first_rise_us;
        if let Some(previous_us) = self.previous_rise_us {
            let gap_us = leg.first_rise_us - previous_us;
            if gap_us <= self.run_gap_us {
                truth.running_us += gap_us;
            }
        }
        revolutions
    }

    /// Speed of revolution `n` of the run, stitches/min.
    fn speed_at(&self, n: u32) -> u32 {
        let (full, start) = (self.config.stitches_per_min, self.config.start_stitches_per_min);
        // A run that a break ended before its first revolution has none.
        let last = self.run.total.saturating_sub(1);
        let from_end = last - n.min(last);
        let step = n.min(from_end);
        if step >= self.config.ramp_stitches {
            full
        } else {
            start + (full - start) * step / self.config.ramp_stitches
        }
    }

    fn gap_us(&self, stitches_per_min: u32) -> u64 {
        60_000_000 / (u64::from(stitches_per_min) * u64::from(self.config.pulses_per_revolution))
    }

    fn level_mv(&self, needle_index: u8) -> u16 {
        self.needle_level_mv[usize::from(needle_index)]
    }
}

fn break_chance(machine: &scenario::ScenarioMachine, needle_index: usize) -> Chance {
    Chance::of(machine.breaks_per_100k.at(needle_index) / 100_000.0)
}

fn ppm(percent: f64) -> u64 {
    #[allow(clippy::cast_sign_loss)] // Checked: 0 to 20.
    {
        (percent * 10_000.0) as u64
    }
}
