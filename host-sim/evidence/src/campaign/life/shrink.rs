//! Makes a failing life shorter: it ends on the day of the failure, and what is not needed for it
//! is left out, as long as it still fails in the same way.
//!
//! A try costs as much as the life up to its failure, so the tries are few.
//!
//! Invariants: the life that comes out fails; the work is bounded by days that are lived, so
//! that it is the same on every machine.

use crate::campaign::life_script::{LifeFitting, LifeScript};

/// Days lived by all tries, for each day of the life that failed.
const DAYS_FOR_A_DAY: u64 = 6;
/// The same, at least.
const DAYS_MIN: u64 = 200;

/// A search for a shorter life. `fails` lives one: on which day it failed in the same way.
pub struct Search<'a> {
    fails: &'a mut dyn FnMut(&LifeScript) -> Option<u32>,
    best: LifeScript,
    days_left: u64,
}

/// A shorter life that still fails. `fails` gives the day on which one does, if it does so in the
/// same way as the first; `day` is that of `life`.
pub fn shrink(
    life: &LifeScript,
    day: u32,
    fails: &mut dyn FnMut(&LifeScript) -> Option<u32>,
) -> LifeScript {
    let days_left = (u64::from(day + 1) * DAYS_FOR_A_DAY).max(DAYS_MIN);
    let mut search = Search { fails, best: life.clone(), days_left };
    search.take(&ended(life, day));
    search.without_components();
    search.with_plain_signals();
    search.without_dates();
    search.best
}

/// The life up to the end of `day`.
fn ended(life: &LifeScript, day: u32) -> LifeScript {
    let mut short = life.clone();
    let mut left = day + 1;
    short.fitting.retain_mut(|fitting| {
        fitting.days = fitting.days.min(left);
        left -= fitting.days;
        fitting.days > 0
    });
    short.date.retain(|dated| dated.day <= day);
    short
}

impl Search<'_> {
    /// Takes `life` if it fails, and lets it end on the day on which it does.
    fn take(&mut self, life: &LifeScript) -> bool {
        let days = u64::from(life.days());
        if *life == self.best || life.check().is_err() || days > self.days_left {
            return false;
        }
        self.days_left -= days;
        let Some(day) = (self.fails)(life) else { return false };
        self.best = if day < life.days() { ended(life, day) } else { life.clone() };
        true
    }

    /// Leaves out what is dated, by halves, the latest first.
    fn without_dates(&mut self) {
        let mut size = self.best.date.len().next_power_of_two();
        while size > 0 {
            let mut to = self.best.date.len();
            while to > 0 {
                let from = to.saturating_sub(size);
                let mut life = self.best.clone();
                life.date.drain(from..to.min(life.date.len()));
                self.take(&life);
                to = from.min(self.best.date.len());
            }
            size /= 2;
        }
    }

    fn with_plain_signals(&mut self) {
        let plain: [fn(&mut LifeFitting); 6] = [
            |f| f.failure.clear(),
            |f| (f.glitches_per_million, f.missed_per_million, f.extra_per_million) = (0, 0, 0),
            |f| (f.shaft_bounce_us, f.contact_bounce_us) = (0, 0),
            |f| f.offs_per_1000_shifts = 0,
            |f| f.breaks_per_million = 0,
            |f| f.cut_after_bytes = None,
        ];
        for plain in plain {
            let mut life = self.best.clone();
            life.fitting.iter_mut().for_each(plain);
            self.take(&life);
        }
    }

    fn without_components(&mut self) {
        let mut life = self.best.clone();
        life.fitting.iter_mut().for_each(|fitting| fitting.component.clear());
        self.take(&life);
    }
}
