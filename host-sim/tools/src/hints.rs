//! How often the first-look hints are right: simulated machines with and without a planted
//! fault.
//!
//! Each run is a machine of its own: head, needle and seed differ. Its life (ten days, or two
//! where signals are disturbed) and today's session are sewn by the generator and counted by
//! the core's own [`Meter`](shaftbook_core::meter::Meter). Then `look` is given the counters.
//!
//! Invariants: the same seed gives the same figures on any number of cores; the look for hints
//! never sees what was planted, which is compared only afterwards.
//!
//! Not done here: the store. Counters reach the hints as they were counted.

mod life;
mod rows;

use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;
use serde::Serialize;
use shaftbook_care::binomial::{limits, upper_tail};
use shaftbook_care::hint::{Certainty, POSSIBLE_ERROR, STRONG_ERROR};

pub use rows::HintRow;

/// A false-alarm rate is called too high when chance alone gives as many this rarely.
const BEYOND_CHANCE: f64 = 0.001;

/// What one row came to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HintFigures {
    /// What was planted, in a few words.
    pub planted: &'static str,
    /// The finding that is right; none on a sound machine.
    pub right: Option<&'static str>,
    /// Runs.
    pub runs: u64,
    /// Runs with the right finding.
    pub found: u64,
    /// Runs with the right finding, called strong.
    pub found_strong: u64,
    /// Runs with any other finding: false alarms.
    pub false_alarms: u64,
    /// Runs with any other finding called strong.
    pub false_strong: u64,
    /// Whether the stated error rates are for this row.
    pub is_judged: bool,
}

impl HintFigures {
    fn of(row: HintRow, seen: &[Seen]) -> Self {
        let count =
            |wanted: &dyn Fn(&Seen) -> bool| seen.iter().filter(|s| wanted(s)).count() as u64;
        Self {
            planted: row.planted(),
            right: row.right(),
            runs: seen.len() as u64,
            found: count(&|s| s.right.is_some()),
            found_strong: count(&|s| s.right == Some(Certainty::Strong)),
            false_alarms: count(&|s| s.wrong.is_some()),
            false_strong: count(&|s| s.wrong == Some(Certainty::Strong)),
            is_judged: row.is_judged(),
        }
    }

    /// Whether the false alarms are no more than the stated rates give by chance.
    #[must_use]
    pub fn held(&self) -> bool {
        !self.is_judged
            || (upper_tail(self.false_alarms, self.runs, POSSIBLE_ERROR) >= BEYOND_CHANCE
                && upper_tail(self.false_strong, self.runs, STRONG_ERROR) >= BEYOND_CHANCE)
    }

    /// Runs in which the right finding was missed; 0 on a sound machine.
    #[must_use]
    pub fn missed(&self) -> u64 {
        if self.right.is_some() { self.runs - self.found } else { 0 }
    }

    /// 95 % limits of a rate of `count` in the runs, in %.
    #[must_use]
    pub fn limits_percent(&self, count: u64) -> (f64, f64) {
        let (least, most) = limits(count, self.runs, 0.95);
        (least * 100.0, most * 100.0)
    }
}

/// What one run showed: the surest hint of each kind.
#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    right: Option<Certainty>,
    wrong: Option<Certainty>,
}

/// Makes `runs` runs of every row with `seed`; `progress` gets how many runs are done.
#[must_use]
pub fn run(runs: u64, seed: u64, progress: &(impl Fn(u64) + Sync)) -> Vec<HintFigures> {
    let done = AtomicU64::new(0);
    let seen: Vec<Vec<Seen>> = (0..runs)
        .into_par_iter()
        .map(|run| {
            let seen = rows::one_machine(seed, run);
            progress(done.fetch_add(1, Ordering::Relaxed) + 1);
            seen
        })
        .collect();
    let of_row = |n: usize| -> Vec<Seen> { seen.iter().map(|machine| machine[n]).collect() };
    HintRow::ALL.into_iter().enumerate().map(|(n, row)| HintFigures::of(row, &of_row(n))).collect()
}

#[cfg(test)]
mod tests {
    use std::marker::PhantomData;

    use shaftbook_care::hint::{Finding, look};
    use shaftbook_care::machine::Machine;
    use shaftbook_core::authority::{KEY_BYTES, Key};
    use shaftbook_core::counters::{Counters, Needle};
    use shaftbook_core::fault::FaultSet;
    use shaftbook_core::identity::BoardId;
    use shaftbook_core::ledger::Ledger;

    use super::*;
    use shaftbook_world::scenario::Scenario;

    #[test]
    fn the_same_seed_gives_the_same_figures_and_the_rates_hold() {
        let figures = run(12, 5, &|_| ());
        assert_eq!(figures, run(12, 5, &|_| ()));
        assert_eq!(figures.len(), HintRow::ALL.len());
        for row in &figures {
            assert!(row.held(), "{row:?}");
            assert!(row.found + row.missed() <= row.runs, "{row:?}");
        }
        let found = |planted: &str| {
            figures.iter().find(|row| row.planted.contains(planted)).map(|row| row.found)
        };
        // What is a limit, not a test, is always found.
        assert_eq!(found("not cleaned"), Some(12));
        assert_eq!(found("knife"), Some(12));
    }

    /// Its shaft sensor bounces at every edge, its contacts too, and needle 6 sews a thread
    /// that breaks five times as often.
    #[test]
    fn the_sound_shop_that_bounces_is_not_told_to_look_at_its_wiring() {
        let text = include_str!("../../scenarios/six-needle-shop.toml");
        let shop = Scenario::parse("six-needle-shop.toml", text).unwrap();
        let ledger = Ledger::new(shop.settings(), Key::new([0; KEY_BYTES]));
        let before = life::count(&shop, 3, 1);
        for (lifetime, seed) in [(Counters::default(), 2), (before, 3)] {
            let session = life::count(&shop, 1, seed);
            assert!(u64::from(session.glitches) > session.stitches(), "it does bounce");
            let machine: Machine = Machine {
                id: BoardId(1),
                lifetime: Some(lifetime.plus(&session)),
                session,
                ledger: &ledger,
                faults: FaultSet::default(),
                day: None,
                hints: &[],
                rules: PhantomData,
            };
            let sixth = Finding::NeedleBreaks(Needle::new(6).unwrap());
            assert!(look(&machine).iter().all(|hint| hint.finding == sixth));
        }
    }

    #[test]
    fn too_many_false_alarms_are_beyond_chance() {
        let row = |false_alarms, false_strong| HintFigures {
            planted: "nothing",
            right: None,
            runs: 1_000,
            found: 0,
            found_strong: 0,
            false_alarms,
            false_strong,
            is_judged: true,
        };
        assert!(row(50, 1).held() && row(60, 4).held());
        assert!(!row(80, 0).held());
        assert!(!row(10, 8).held());
    }
}
