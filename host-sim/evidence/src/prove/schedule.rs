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
