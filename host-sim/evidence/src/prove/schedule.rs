//! Schedules of cuts: when the supply goes while a board lives a workload
//! ([`shaftbook_world::bench::workload`]), whichever workload it is.
//!
//! - [`forks`]: at each byte that changes the part, nested to any depth
//! - [`drawn`]: at drawn moments, with a power-fail warning or without
//! - [`flapping`]: again and again, before the board has done more than its first record
//! - this file: what they are, and no cut at all
//!
//! Invariants: a schedule knows nothing of the workload but its steps; each judges by
//! `shaftbook_world::judge`.

pub mod drawn;
pub mod flapping;
pub mod forks;

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_world::bench::Bench;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::workload::Step;
use shaftbook_world::judge::{Delta, is_durable, neither_lost_nor_invented};

use super::Run;
use forks::Forks;

/// When the supply goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Schedule {
    /// Never.
    Uncut,
    /// At each byte that changes the part: the world is forked there, and the life goes on
    /// uncut. The board of a fork is cut again while it recovers, up to so many times.
    EachByte {
        /// Most cuts of the recovery, 0 for none.
        nested: usize,
    },
    /// Once, at a drawn moment at the end of the workload; the life goes on after it.
    Drawn,
    /// The same, after a power-fail warning.
    Warned,
    /// So many power-ups after the workload, each cut when its first record is stored; then
    /// the supply stays. The life ends with it.
    Flapping {
        /// How many power-ups.
        power_ups: u32,
    },
}

impl Schedule {
    /// Lets `bench` live `workload` under this schedule, a case of `run` for each cut.
    pub fn live<D: Device>(
        self,
        run: &mut Run,
        bench: &mut Bench<D>,
        workload: &[Step],
        rng: &mut Pcg32,
    ) {
        match self {
            Self::Uncut => {
                bench.live(workload, &mut |_| {});
                run.case(|| all_is_counted(bench));
            }
            Self::EachByte { nested } => {
                let mut forks = Forks::new(rng.next_u64(), nested);
                bench.live(workload, &mut |bench| forks.at(bench, run));
            }
            Self::Drawn | Self::Warned => {
                bench.live(workload, &mut |_| {});
                drawn::cut(run, bench, rng, self == Self::Warned);
            }
            Self::Flapping { power_ups } => {
                bench.live(workload, &mut |_| {});
                let seed = rng.next_u64();
                run.case(|| flapping::flaps(bench, power_ups, seed));
            }
        }
    }
}

/// Without a cut all that happened is counted, and nothing else.
fn all_is_counted<D: Device>(bench: &Bench<D>) -> Result<(), String> {
    let truth = bench.truth();
    let lifetime = bench.board().lifetime(bench.now()).ok_or("the past is not known")?;
    if !is_durable(&truth, &lifetime) {
        return Err(format!("not counted: {:?}", Delta(&truth.since(&lifetime))));
    }
    neither_lost_nor_invented(&bench.acknowledged, &lifetime, &truth)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::prove::sabotage::Sabotage;
    use crate::prove::sabotage::switches::Sabotaged;
    use crate::prove::{Proof, ProofOutcome, SearchPlan, spread};
    use rand_core::SeedableRng;
    use shaftbook_core::rules::Sound;
    use shaftbook_core::serial::Lap;
    use shaftbook_world::bench::core::Core;
    use shaftbook_world::bench::firmware::Firmware;

    const ALL: [Schedule; 6] = [
        Schedule::Uncut,
        Schedule::EachByte { nested: 0 },
        Schedule::EachByte { nested: 4 },
        Schedule::Drawn,
        Schedule::Warned,
        Schedule::Flapping { power_ups: 20 },
    ];

    /// A quarter of an hour: two needles, a colour change, jumps, a break, an oiled hook, a
    /// service.
    const WORKLOAD: [Step; 9] = [
        Step::Sew { needle: 3, stitches: 40, period_ms: 75 },
        Step::Trim { times: 2 },
        Step::Renew { components: 1 << 2 },
        Step::Sew { needle: 4, stitches: 30, period_ms: 60 },
        Step::Break { needle: 4 },
        Step::Jump { jumps: 5, period_ms: 60 },
        Step::Service,
        Step::Sew { needle: 4, stitches: 40, period_ms: 1_900 },
        Step::Stand { seconds: 61 },
    ];

    fn under<D: Device>(schedule: Schedule, before: &(impl Fn() + Sync)) -> ProofOutcome {
        let plan = SearchPlan::new(1, true);
        spread(Proof::NeverBackwards, &plan, &|_, _| {}, |run| {
            if run.number < 4 {
                before();
                let mut rng = Pcg32::seed_from_u64(run.seed);
                let mut bench: Bench<D> = Bench::fitted(run.seed, Lap::new(1));
                schedule.live(run, &mut bench, &WORKLOAD, &mut rng);
            }
        })
    }

    #[test]
    fn one_workload_holds_under_every_schedule_on_core_and_firmware() {
        for schedule in ALL {
            for outcome in
                [under::<Core<Sound>>(schedule, &|| {}), under::<Firmware<Sound>>(schedule, &|| {})]
            {
                assert!(outcome.failure.is_none(), "{schedule:?}: {:?}", outcome.failure);
                assert!(outcome.cases >= 4, "{schedule:?}: {} cases", outcome.cases);
            }
        }
    }

    #[test]
    fn every_schedule_finds_a_broken_board() {
        for (schedule, name) in [
            (Schedule::Uncut, "both-edges"),
            (Schedule::EachByte { nested: 0 }, "service-in-two-steps"),
            (Schedule::EachByte { nested: 4 }, "crc-ignored"),
            (Schedule::Drawn, "standstill-not-stored"),
            (Schedule::Warned, "warning-ignored"),
            (Schedule::Flapping { power_ups: 20 }, "past-forgotten"),
        ] {
            let broken: &Sabotage = name.parse().expect("a broken board");
            let outcome = under::<Core<Sabotaged>>(schedule, &|| broken.take_effect());
            assert!(outcome.failure.is_some(), "{schedule:?} does not find {name}");
        }
    }
}
