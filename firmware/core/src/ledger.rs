//! The ledger: everything durable that is not a hot counter. Settings, what was
//! stated at fitting, the profile with its baselines, the service interval, and
//! the newest journal entries.
//!
//! Invariants: it changes only by [`Ledger::apply`] of a journal entry, or as a
//! whole at fitting; applying the same entries from the newest back (as recovery
//! does) or from the oldest on (as the running board does) gives the same ledger.
//!
//! Not done here: who may do what (`service`), how it is stored (`store`).

use crate::authority::{KEY_BYTES, Key};
use crate::component::{COMPONENTS_MAX, Component, Measure, Standing};
use crate::counters::Counters;
use crate::journal::{AUTHORISED, ComponentSet, Entry, EntryNumber, Event};
use crate::rules::Rules;
use crate::settings::{ServiceMeasure, Settings};
use heapless::Vec;

/// Journal entries kept for reading.
pub const HISTORY_MAX: usize = 16;
/// Seconds of a day.
const DAY_S: u32 = 86_400;

/// What a person stated at fitting or at a board exchange: *stated*, not *measured*;
/// shown as such and never added to a measured figure in the store.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CarriedIn {
    /// Machine hours stated, h.
    pub hours: u32,
    /// Stitches stated.
    pub stitches: u64,
    /// Trims stated.
    pub trims: u32,
}

/// A component and where its wear is counted from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Fitted {
    /// The component.
    pub component: Component,
    /// The measure when it was last renewed, in the measure's own unit.
    pub baseline: u64,
}

/// Lifetime times at the last service.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct IntervalBaseline {
    /// Powered time then, ms.
    pub powered_ms: u64,
    /// Running time then, ms.
    pub running_ms: u64,
}

/// A journal entry as it is kept for reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HistoryLine {
    /// Its number.
    pub number: EntryNumber,
    /// What happened.
    pub event: Event,
    /// What it happened to.
    pub subject: u16,
    /// Lifetime powered time then, s.
    pub powered_s: u32,
    /// Calendar day number then, where a clock is fitted.
    pub day: Option<u16>,
}

/// Everything durable that is not a hot counter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ledger {
    /// Wiring and counting.
    pub settings: Settings,
    /// What was stated at fitting.
    pub carried_in: CarriedIn,
    /// This board's key, for the engineer's replies.
    pub key: Key,
    /// The profile's components with their baselines, by place.
    pub components: Vec<Fitted, COMPONENTS_MAX>,
    /// Where the service interval is counted from.
    pub interval: IntervalBaseline,
    /// Services done; saturates.
    pub services: u16,
    /// Replies tried since the last one that was right; saturates.
    pub tries: u8,
    /// Number of the next journal entry.
    pub next_entry: EntryNumber,
    /// The newest entries, oldest first.
    pub history: Vec<HistoryLine, HISTORY_MAX>,
}

/// What newer entries have already decided, while older ones are applied.
#[derive(Clone, Copy, Debug, Default)]
pub struct Decided {
    components: ComponentSet,
    served: bool,
    authorised: bool,
    tries: u8,
    applied: usize,
}

impl Decided {
    /// Nothing decided yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { components: ComponentSet(0), served: false, authorised: false, tries: 0, applied: 0 }
    }
}

impl Ledger {
    /// An empty ledger: no components, nothing stated.
    #[must_use]
    pub fn new(settings: Settings, key: Key) -> Self {
        Self {
            settings,
            carried_in: CarriedIn::default(),
            key,
            components: Vec::new(),
            interval: IntervalBaseline::default(),
            services: 0,
            tries: 0,
            next_entry: EntryNumber::default(),
            history: Vec::new(),
        }
    }

    /// Applies the newest entry.
    pub fn apply<R: Rules>(&mut self, entry: &Entry) {
        self.apply_older::<R>(entry, &mut Decided::default());
    }

    /// Applies an entry that is older than all those already applied with the same
    /// `decided`: it decides only what they left open. Work: at most 32 components.
    pub fn apply_older<R: Rules>(&mut self, entry: &Entry, decided: &mut Decided) {
        let renews = matches!(entry.event, Event::Renewed | Event::Served);
        let renewed = if renews { entry.renewed } else { ComponentSet::default() };
        for (place, fitted) in self.components.iter_mut().enumerate() {
            if renewed.contains(place) && !decided.components.contains(place) {
                fitted.baseline = fitted.component.measure.value(&entry.at, entry.day);
            }
        }
        decided.components = decided.components.with(renewed);
        let authorised = entry.event == Event::Served
            || (entry.event == Event::Renewed && entry.subject == AUTHORISED);
        if authorised && !decided.authorised {
            decided.authorised = true;
            self.tries = if R::tries_after_service() { decided.tries } else { 0 };
        }
        match entry.event {
            Event::Served => {
                self.services = self.services.saturating_add(1);
                if !decided.served {
                    decided.served = true;
                    self.interval = IntervalBaseline {
                        powered_ms: entry.at.powered_ms,
                        running_ms: entry.at.running_ms,
                    };
                }
            }
            Event::ReplyTried if !decided.authorised => {
                self.tries = self.tries.saturating_add(1);
                decided.tries = decided.tries.saturating_add(1);
            }
            _ => {}
        }
        if decided.applied == 0 {
            self.next_entry = entry.number.plus(1);
        }
        self.remember(entry, decided.applied);
        decided.applied += 1;
    }

    /// Files `entry` before the `newer` newest lines.
    fn remember(&mut self, entry: &Entry, newer: usize) {
        if newer >= HISTORY_MAX {
            return;
        }
        let line = HistoryLine {
            number: entry.number,
            event: entry.event,
            subject: entry.subject,
            powered_s: whole_s(entry.at.powered_ms),
            day: entry.day,
        };
        // What stands at `place` and beyond moves up; in a full list, what stands
        // there and before moves down, over the oldest.
        let full = self.history.push(line).is_err();
        let place = self.history.len().saturating_sub(1).saturating_sub(newer);
        let mut carried = line;
        if full {
            for at in self.history.iter_mut().take(place + 1).rev() {
                core::mem::swap(at, &mut carried);
            }
        } else {
            for at in self.history.iter_mut().skip(place) {
                core::mem::swap(at, &mut carried);
            }
        }
    }

    /// The profile becomes `components`. One that was fitted already (of the same kind, by
    /// the same measure) keeps its baseline; any other is new at `lifetime` and `day`.
    pub fn set_components<R: Rules>(
        &mut self,
        components: &[Component],
        lifetime: &Counters,
        day: Option<u16>,
    ) {
        let mut baselines = [0; COMPONENTS_MAX];
        for (component, baseline) in components.iter().zip(&mut baselines) {
            let same = |f: &&Fitted| {
                let is_measure = f.component.measure == component.measure;
                R::refit_keeps()
                    && f.component.kind == component.kind
                    && (is_measure || !R::refit_by_measure())
            };
            *baseline = match self.components.iter().find(same) {
                Some(kept) => kept.baseline,
                None => component.measure.value(lifetime, day),
            };
        }
        self.components.clear();
        for (component, baseline) in components.iter().zip(baselines) {
            // Cannot fail: both lists have the same room.
            let _ = self.components.push(Fitted { component: *component, baseline });
        }
    }

    /// Forgets everything, in place.
    pub fn clear(&mut self) {
        self.settings = Settings::default();
        self.carried_in = CarriedIn::default();
        self.key = Key::new([0; KEY_BYTES]);
        self.components.clear();
        self.interval = IntervalBaseline::default();
        (self.services, self.tries) = (0, 0);
        self.next_entry = EntryNumber::default();
        self.history.clear();
    }

    /// Components that a service renews.
    #[must_use]
    pub fn renewed_by_service(&self) -> ComponentSet {
        self.components
            .iter()
            .enumerate()
            .filter(|(_, fitted)| fitted.component.with_service)
            .fold(ComponentSet::default(), |set, (place, _)| set.with(ComponentSet::only(place)))
    }

    /// Wear of the component at `place`: its measure now minus its baseline.
    ///
    /// For calendar days `day` is the day that is known ([`Ledger::day_reached`] at
    /// least): without any, days have not been counted and the wear is 0; when the
    /// component was last renewed without a clock but a day is known now, how long ago
    /// that was is not known, and it is worn to its due limit at least.
    #[must_use]
    pub fn wear(&self, place: usize, lifetime: &Counters, day: Option<u16>) -> Option<u64> {
        let fitted = self.components.get(place)?;
        let value = fitted.component.measure.value(lifetime, day);
        if fitted.component.measure == Measure::Days && value != 0 && fitted.baseline == 0 {
            return Some(value.max(u64::from(fitted.component.due)));
        }
        Some(value.saturating_sub(fitted.baseline))
    }

    /// The latest calendar day that is known to have been reached without asking the
    /// clock: from the journal, going on by whole days of powered time (which is never
    /// longer than time), and from the baselines in days. `None` when no clock ever told.
    /// Work: at most 16 lines and 32 components.
    #[must_use]
    pub fn day_reached(&self, lifetime: &Counters) -> Option<u16> {
        let now_s = whole_s(lifetime.powered_ms);
        let from_journal = self.history.iter().filter_map(|line| {
            let days = now_s.saturating_sub(line.powered_s) / DAY_S;
            Some(u32::from(line.day?).saturating_add(days).min(u32::from(u16::MAX)) as u16)
        });
        let from_baselines = self
            .components
            .iter()
            .filter(|fitted| fitted.component.measure == Measure::Days && fitted.baseline != 0)
            .map(|fitted| fitted.baseline.min(u64::from(u16::MAX)) as u16);
        from_journal.chain(from_baselines).max()
    }

    /// The first component that is due by calendar at `day`, though it would not be known
    /// to be from what is stored alone.
    #[must_use]
    pub fn newly_due(&self, lifetime: &Counters, day: u16) -> Option<usize> {
        let stored = self.day_reached(lifetime);
        let due = |place: usize, fitted: &Fitted, day| {
            let wear = self.wear(place, lifetime, day).unwrap_or(0);
            fitted.component.standing(wear) == Standing::Due
        };
        self.components
            .iter()
            .enumerate()
            .filter(|(_, fitted)| fitted.component.measure == Measure::Days)
            .find(|(place, fitted)| due(*place, fitted, Some(day)) && !due(*place, fitted, stored))
            .map(|(place, _)| place)
    }

    /// Time since the last service, ms, by the service measure.
    #[must_use]
    pub fn interval_ms(&self, lifetime: &Counters) -> u64 {
        match self.settings.service_measure {
            ServiceMeasure::Powered => lifetime.powered_ms.saturating_sub(self.interval.powered_ms),
            ServiceMeasure::Running => lifetime.running_ms.saturating_sub(self.interval.running_ms),
        }
    }
}

/// Whole seconds in `ms`, at most `u32::MAX`: a long division in 32 steps, since the
/// board has no divider and this is rare.
fn whole_s(ms: u64) -> u32 {
    let (mut rest, mut seconds) = (ms, 0);
    for bit in (0..32).rev() {
        let part = 1_000_u64 << bit;
        if part <= rest {
            rest -= part;
            seconds |= 1 << bit;
        }
    }
    seconds
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn seconds_are_those_of_a_division(ms in 0..1_u64 << 45) {
            let expected = u32::try_from(ms / 1_000).unwrap_or(u32::MAX);
            prop_assert_eq!(whole_s(ms), expected);
        }
    }
}
