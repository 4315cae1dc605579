//! Workload W: 40 hours of sewing on one head with 16 needles.
//!
//! It sews 900 stitches a minute and stores a checkpoint every 10 s: 14,400 checkpoints. The
//! thread colour changes now and then, the trimmer and thread breaks come at random, and the
//! board is switched off and on again 199 times, between two checkpoints. One seed decides all
//! of it.
//!
//! What it leaves out: pauses, services, journal entries, faults of the part.

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_core::counters::{Counters, NEEDLES_MAX};

/// Hours of sewing.
pub const HOURS: u32 = 40;
/// Checkpoints of the whole workload.
pub const CHECKPOINTS: usize = 14_400;
/// Power-ups but the first.
pub const REBOOTS: usize = 199;
/// From one checkpoint to the next, ms.
pub const INTERVAL_MS: u64 = 10_000;
/// Stitches from one checkpoint to the next: 900 a minute.
const STITCHES: u64 = 150;

/// One checkpoint: what is to be stored, and whether the board was switched off and on
/// before it.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// The lifetime counters.
    pub counters: Counters,
    /// Whether the power was off since the step before.
    pub reboots: bool,
}

/// The first `count` checkpoints of W by `seed`; all of them with [`CHECKPOINTS`].
#[must_use]
pub fn steps(seed: u64, count: usize) -> Vec<Step> {
    let mut rng = Pcg32::new(seed, 0x3E3);
    let mut reboots = vec![false; CHECKPOINTS];
    let mut left = REBOOTS;
    while left > 0 {
        let place = 1 + rng.next_u32() as usize % (CHECKPOINTS - 1);
        left -= usize::from(!std::mem::replace(&mut reboots[place], true));
    }
    let mut counters = Counters { power_ups: 1, ..Counters::default() };
    let mut needle = 0;
    reboots
        .into_iter()
        .take(count)
        .map(|reboots| {
            counters.power_ups += u32::from(reboots);
            counters.powered_ms += INTERVAL_MS;
            counters.running_ms += INTERVAL_MS;
            // A colour lasts some minutes; at its end the thread is trimmed.
            if rng.next_u32().is_multiple_of(12) {
                let before = u64::from(rng.next_u32()) % STITCHES;
                counters.needle_stitches[needle] += before;
                needle = rng.next_u32() as usize % NEEDLES_MAX;
                counters.needle_stitches[needle] += STITCHES - before;
                counters.trims += 1;
            } else {
                counters.needle_stitches[needle] += STITCHES;
            }
            if rng.next_u32().is_multiple_of(60) {
                counters.needle_breaks[needle] += 1;
            }
            Step { counters, reboots }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_forty_hours_at_nine_hundred_a_minute() {
        let steps = steps(1, CHECKPOINTS);
        let last = steps.last().expect("there are steps").counters;
        assert_eq!(steps.len(), CHECKPOINTS);
        assert_eq!(last.powered_ms, u64::from(HOURS) * 3_600_000);
        assert_eq!(last.stitches(), u64::from(HOURS) * 60 * 900);
        assert_eq!(steps.iter().filter(|step| step.reboots).count(), REBOOTS);
        assert_eq!(last.power_ups as usize, REBOOTS + 1);
        assert!(last.needle_stitches.iter().all(|stitches| *stitches > 0));
        assert!(steps.is_sorted_by(|a, b| a.counters.at_most(&b.counters)));
        assert!(crate::blob::encode(&last).is_some());
    }
}
