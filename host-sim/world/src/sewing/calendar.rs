//! When the machine has power: shifts, days off and wall-switch offs, day by day.
//!
//! Invariant: the spells of power come in order and do not overlap.

use super::random::Random;
use crate::scenario::{Hours, Power};

const DAY_US: u64 = 86_400_000_000;

/// One spell of power, in µs since midnight of the first day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spell {
    /// Switched on.
    pub on_us: u64,
    /// Switched off.
    pub off_us: u64,
    /// Whether it goes off at exactly that time, whatever the machine is doing;
    /// else the run is finished first.
    pub at_once: bool,
    /// Start and end of the pauses in it, in order.
    pub pauses: Vec<(u64, u64)>,
}

/// Gives the spells one after the other; holds one day at a time.
#[derive(Clone, Debug)]
pub struct Calendar {
    hours: Hours,
    power: Power,
    random: Random,
    working_day: u32,
    today: std::collections::VecDeque<Spell>,
}

impl Calendar {
    /// The calendar of a scenario.
    #[must_use]
    pub fn new(hours: Hours, power: Power, random: Random) -> Self {
        Self { hours, power, random, working_day: 0, today: std::collections::VecDeque::new() }
    }

    /// The next spell of power; `None` when the last working day is over.
    pub fn next_spell(&mut self) -> Option<Spell> {
        while self.today.is_empty() {
            if self.working_day == self.hours.working_days {
                return None;
            }
            let week = u64::from(self.working_day / self.hours.days_per_week);
            let weekday = u64::from(self.working_day % self.hours.days_per_week);
            self.working_day += 1;
            self.plan_day((week * 7 + weekday) * DAY_US);
        }
        self.today.pop_front()
    }

    /// `spell`, the rest of one that was cut short, comes before all others.
    pub fn go_on(&mut self, spell: Spell) {
        self.today.push_front(spell);
    }

    fn plan_day(&mut self, midnight_us: u64) {
        let mut spells: Vec<Spell> = Vec::new();
        for shift in &self.hours.shifts {
            let pauses = shift
                .pauses
                .iter()
                .map(|p| (midnight_us + p.start.as_us(), midnight_us + p.end.as_us()));
            let on_us = midnight_us + shift.start.as_us();
            let off_us = midnight_us + shift.end.as_us();
            match spells.last_mut() {
                Some(last) if last.off_us == on_us => {
                    last.off_us = off_us;
                    last.pauses.extend(pauses);
                }
                _ => spells.push(Spell {
                    on_us,
                    off_us,
                    at_once: self.power.off_while_sewing,
                    pauses: pauses.collect(),
                }),
            }
        }
        for spell in spells {
            self.split(spell);
        }
    }

    /// Cuts a spell at its extra wall-switch offs.
    fn split(&mut self, mut spell: Spell) {
        let off_for_us = u64::from(self.power.off_for_s) * 1_000_000;
        let length_ms = ((spell.off_us - spell.on_us) / 1_000) as u32;
        let count = self.random.around(self.power.extra_offs_per_shift);
        let mut offs: Vec<u64> = (0..count)
            .map(|_| {
                let within_ms = u64::from(self.random.below(length_ms));
                spell.on_us + within_ms * 1_000 + u64::from(self.random.below(1_000))
            })
            .collect();
        offs.sort_unstable();
        for off_us in offs {
            // An off in the off before it, or one that would outlast the shift, is
            // no further off.
            if off_us <= spell.on_us || off_us + off_for_us >= spell.off_us {
                continue;
            }
            self.today.push_back(Spell { off_us, at_once: true, ..spell.clone() });
            spell.on_us = off_us + off_for_us;
        }
        self.today.push_back(spell);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::{Pause, Shift, clock::TimeOfDay};

    fn hours(shifts: &[(&str, &str)], working_days: u32) -> Hours {
        let shifts = shifts
            .iter()
            .map(|(start, end)| Shift {
                start: TimeOfDay::parse(start).unwrap(),
                end: TimeOfDay::parse(end).unwrap(),
                pauses: vec![Pause {
                    start: TimeOfDay::parse(start).unwrap(),
                    end: TimeOfDay::parse(end).unwrap(),
                }],
            })
            .collect();
        Hours { working_days, days_per_week: 5, shifts }
    }

    fn spells(hours: Hours, power: Power) -> Vec<Spell> {
        let mut calendar = Calendar::new(hours, power, Random::new(3, 0));
        std::iter::from_fn(|| calendar.next_spell()).collect()
    }

    #[test]
    fn shifts_that_touch_are_one_spell_and_the_weekend_is_free() {
        let days = spells(hours(&[("06:00", "14:00"), ("14:00", "22:00")], 6), Power::default());
        assert_eq!(days.len(), 6);
        assert_eq!(days[0].on_us, 6 * 3_600_000_000);
        assert_eq!(days[0].off_us, 22 * 3_600_000_000);
        assert_eq!(days[0].pauses.len(), 2);
        assert_eq!(days[5].on_us, 7 * DAY_US + 6 * 3_600_000_000);
    }

    #[test]
    fn extra_offs_split_a_spell_without_overlap() {
        let power = Power { extra_offs_per_shift: 5.0, ..Power::default() };
        let days = spells(hours(&[("08:00", "16:00")], 20), power);
        assert!((60..=120).contains(&days.len()), "{}", days.len());
        for pair in days.windows(2) {
            assert!(pair[0].on_us < pair[0].off_us);
            assert!(pair[0].off_us + 60_000_000 <= pair[1].on_us);
        }
        assert_eq!(days.iter().filter(|d| !d.at_once).count(), 20, "one day's end a day");
    }
}
