//! A life from its first step to its last: what each step is, for the board and the reference.

use shaftbook_core::board::Command;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::service::{Authorised, Refusal};

use super::asks::expect;
use super::door::Door;
use super::life::{Life, Reply, Step};
use super::looks;
use super::play::Play;
use crate::reference::machine::Signal;

/// Lives `life`.
pub(super) fn play<D: Door>(life: &Life) -> Result<(), String> {
    let mut play = Play::<D>::begun(life)?;
    for (n, step) in life.steps.iter().enumerate() {
        play.step(*step).map_err(|what| format!("{what} (at step {} of the life)", n + 1))?;
    }
    play.quiet()?;
    play.is_readable()?;
    play.bench.device.conduct()
}

impl<D: Door> Play<D> {
    fn step(&mut self, step: Step) -> Result<(), String> {
        let wiring = self.model.wiring;
        let at_us = self.now() + 50;
        match step {
            Step::Missed { edges } => {
                let truth = self.truth();
                if D::missed(&mut self.bench, edges.into()) {
                    self.model.session.missed += u64::from(edges);
                    if !self.model.faults.contains(&10) {
                        self.model.faults.push(10);
                    }
                    self.model.note_fault(10, &truth);
                }
            }
            Step::Dips { times, apart_ms, twice } => {
                for _ in 0..times {
                    self.warn(45_000, twice)?;
                    let now_us = self.now();
                    let apart_us = u64::from(apart_ms) * 1_000;
                    self.drive(&[(now_us, Signal::Warning(false))], now_us + apart_us);
                }
            }
            Step::WarnedCut { hold_up_us, twice, tear, early } => {
                self.warn(hold_up_us.into(), twice)?;
                return self.cut(tear, early);
            }
            Step::Cut { after_trim_us, tear, early } => {
                let certain_us = at_us + wiring.contact_debounce_us;
                self.drive(&[(at_us, Signal::Trim(true))], certain_us + u64::from(after_trim_us));
                return self.cut(tear, early);
            }
            Step::Renew { places, wait } => return self.renew(places, wait),
            Step::RenewBy { places, reply } => {
                let places = Self::first_if_panel(places & self.all_places());
                if !self.model.book.needs_engineer(places) {
                    return Ok(());
                }
                return self.try_reply(Authorised::Renew(ComponentSet(places)), reply, None);
            }
            Step::Service { reply } => return self.try_reply(Authorised::Service, reply, None),
            Step::Guesses { wrong } => {
                for _ in 0..wrong {
                    self.try_reply(Authorised::Service, Reply::Wrong, None)?;
                }
                for _ in 0..2 {
                    self.try_reply(Authorised::Service, Reply::Right, None)?;
                }
                return Ok(());
            }
            Step::ServiceAlone => {
                self.quiet()?;
                let answer = self.bench.request(Command::Service { reply: None });
                expect("a service without a reply", answer, Err(Refusal::NeedsAuthority))?;
            }
            Step::Refit { variant, reply } => {
                if !D::HAS_PANEL {
                    return self.try_reply(Authorised::Refit, reply, Some(variant));
                }
            }
            Step::Clock { day } => return self.clock(day),
            Step::Powered { hours } => {
                if D::HAS_PANEL {
                    return Ok(());
                }
                let day = self.model.day.unwrap_or(3_000);
                self.clock(Some(day))?;
                self.renew(self.model.book.places(|part| !part.engineers), true)?;
                self.pass(u64::from(hours) * 3_600_000_000);
                return self.cut(0, 0);
            }
            Step::Confirm { day } => {
                self.quiet()?;
                let is_taken = self.model.day.is_none_or(|known| day >= known);
                match D::confirm(&mut self.bench, day) {
                    Some(taken) if taken != is_taken => {
                        return Err(format!("a date to confirm was taken: {taken}"));
                    }
                    Some(true) => {
                        self.model.faults.retain(|fault| !matches!(fault, 13 | 14));
                        self.known_day(day);
                    }
                    _ => {}
                }
            }
            Step::Look => {
                self.quiet()?;
                let Some(shown) = D::shown(&mut self.bench) else { return Ok(()) };
                self.quiet()?;
                looks::agree(&shown, self)?;
            }
            _ => {
                self.signals(step);
                self.of_needles(step);
            }
        }
        self.quiet()
    }
}
