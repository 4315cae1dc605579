//! Synthetic sewing sessions: a scenario becomes time-ordered events for the board,
//! and beside them the truth.
//!
//! One [`Sewing`] is one simulated life. It is a stream: nothing of the run is kept
//! in memory, so twenty years cost no more than a day. The same scenario and
//! seed give the same events, always.
//!
//! ```
//! use shaftbook_world::scenario::Scenario;
//! use shaftbook_world::sewing::Sewing;
//!
//! let scenario = Scenario::parse("example", r#"
//!     name = "One hour"
//!     seed = 1
//!     [hours]
//!     working_days = 1
//!     shifts = [{ start = "08:00", end = "09:00" }]
//!     [machine]
//!     needles = 6
//!     [[designs]]
//!     name = "Square"
//!     blocks = [{ needle = 1, stitches = 100 }]
//! "#).unwrap();
//! let mut sewing = Sewing::new(&scenario, scenario.seed);
//! let events = sewing.by_ref().count();
//! assert!(events > 1_000);
//! assert_eq!(sewing.truth().counters().power_ups, 1);
//! ```

pub mod bounce;
pub mod calendar;
pub mod distort;
pub mod event;
pub mod machine;
pub mod pattern;
pub mod random;
pub mod truth;

use std::ops::ControlFlow;

use shaftbook_core::input::Input;

use crate::scenario::Scenario;
use distort::{Distort, DistortTally};
pub use event::{SewingEvent, Timed};
use machine::SewingMachine;
use truth::Truth;

/// A simulated life of a machine, as the events its board sees.
#[derive(Clone, Debug)]
pub struct Sewing {
    machine: SewingMachine,
    distort: Option<Box<Distort>>,
    /// A clean event that waits for what comes before it.
    clean: Option<Timed>,
    now_us: u64,
}

impl Sewing {
    /// The life of `scenario` with `seed` (the scenario's own, or another).
    #[must_use]
    pub fn new(scenario: &Scenario, seed: u64) -> Self {
        Self {
            machine: SewingMachine::new(scenario, seed),
            distort: Distort::new(&scenario.faults, seed).map(Box::new),
            clean: None,
            now_us: 0,
        }
    }

    /// What has truly happened up to the last event given: exact at a power-up and
    /// a cut; between, with signal faults, up to one undisturbed event ahead.
    #[must_use]
    pub fn truth(&self) -> Truth {
        self.machine.truth(self.now_us)
    }

    /// What was done to the signals so far.
    #[must_use]
    pub fn tally(&self) -> DistortTally {
        self.distort.as_ref().map_or_else(DistortTally::default, |d| d.tally())
    }

    /// The earliest time for which [`Sewing::switch_off_at`] can be asked, µs: that of the last
    /// event given, or of the next undisturbed one if that is known already.
    #[must_use]
    pub fn earliest_off_us(&self) -> u64 {
        self.clean.map_or(self.now_us, |clean| clean.at_us)
    }

    /// The supply goes off at `at_us`: see [`SewingMachine::switch_off_at`]. Whether it does.
    pub fn switch_off_at(&mut self, at_us: u64, hold_up_ms: Option<u32>, off_for_us: u64) -> bool {
        at_us >= self.earliest_off_us() && self.machine.switch_off_at(at_us, hold_up_ms, off_for_us)
    }

    /// Gives the events to `take`, in order, until it breaks or the life is over. The
    /// same events as the iterator's, at a fraction of the cost; it can be called again to
    /// go on.
    #[inline]
    pub fn drive(&mut self, mut take: impl FnMut(Timed) -> ControlFlow<()>) {
        loop {
            let flow = if self.distort.is_some() {
                self.drive_distorted(&mut take)
            } else {
                let now_us = &mut self.now_us;
                self.machine.drive_edges(|timed| {
                    *now_us = timed.at_us;
                    take(timed)
                })
            };
            if flow.is_break() {
                return;
            }
            match self.next() {
                Some(timed) if take(timed).is_continue() => {}
                _ => return,
            }
        }
    }

    /// Gives the shaft edges with their bounce to `take`, up to the first that something else
    /// comes near, or until it breaks.
    #[inline]
    fn drive_distorted(
        &mut self,
        take: &mut impl FnMut(Timed) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        let Self { machine, distort, clean, now_us } = self;
        let Some(distort) = distort else { return ControlFlow::Continue(()) };
        let mut take = |timed: Timed| {
            *now_us = timed.at_us;
            take(timed)
        };
        loop {
            let edge = match clean.take().or_else(|| machine.next_edge()) {
                Some(Timed { at_us, event: SewingEvent::Input(Input::Shaft(level)) })
                    if distort.is_apart(at_us, level, machine.next_edge_us()) =>
                {
                    (at_us, level)
                }
                other => {
                    *clean = other;
                    return ControlFlow::Continue(());
                }
            };
            if distort.drive_shaft(edge.0, edge.1, &mut take).is_break() {
                // As where each event is asked for: the next undisturbed one is known.
                *clean = machine.next_event();
                return ControlFlow::Break(());
            }
        }
    }

    #[cold]
    fn next_distorted(&mut self) -> Option<Timed> {
        let distort = self.distort.as_mut()?;
        loop {
            if self.clean.is_none() {
                self.clean = self.machine.next_event();
            }
            let clean_us = self.clean.map_or(u64::MAX, |clean| clean.at_us);
            if let Some(timed) = distort.pop_before(clean_us) {
                self.now_us = timed.at_us;
                return Some(timed);
            }
            let clean = self.clean.take()?;
            distort.push(clean);
            if !matches!(clean.event, SewingEvent::Input(_)) {
                self.now_us = clean.at_us;
                return Some(clean);
            }
        }
    }
}

impl Iterator for Sewing {
    type Item = Timed;

    #[inline]
    fn next(&mut self) -> Option<Timed> {
        if self.distort.is_some() {
            return self.next_distorted();
        }
        let timed = self.machine.next_event()?;
        self.now_us = timed.at_us;
        Some(timed)
    }
}

#[cfg(test)]
mod tests;
