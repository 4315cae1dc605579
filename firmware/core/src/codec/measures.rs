//! The block of counters that a checkpoint and a journal entry share: delta since
//! a snapshot, 342 bits; where each stands is in [`place`].
//!
//! Delta, not a value: the snapshot holds the whole value. A field that would
//! overflow is capped (so never above the truth); `checkpoint::room` says when a
//! new snapshot has to come first.

use super::fields::{Bits, Fields, width};
use crate::counters::{Counters, NEEDLES_MAX, field};

/// Consecutive counters (see [`field`]) of one width.
#[derive(Clone, Copy)]
pub(super) struct Run {
    /// First counter.
    first: u8,
    /// How many.
    count: u8,
    /// Bits of each.
    pub(super) width: u8,
    /// First bit of the first.
    at_bit: u16,
}

impl Run {
    /// `count` counters from `first` on, which share `place` equally.
    pub(super) const fn new(first: usize, count: usize, place: &Bits) -> Self {
        let width = width(place) / count as u32;
        assert!(width * count as u32 == place.end - place.start, "the place is not shared equally");
        Self {
            first: first as u8,
            count: count as u8,
            width: width as u8,
            at_bit: place.start as u16,
        }
    }

    /// Its counters.
    pub(super) fn counters(self) -> core::ops::Range<usize> {
        let first = usize::from(self.first);
        first..first + usize::from(self.count)
    }
}

/// Where the shared measures stand in a record.
pub mod place {
    use crate::codec::fields::Bits;

    /// Powered time, ms.
    pub const POWERED_MS: Bits = 54..79;
    /// Running time, ms.
    pub const RUNNING_MS: Bits = 79..103;
    /// Trims.
    pub const TRIMS: Bits = 103..115;
    /// Power-ups.
    pub const POWER_UPS: Bits = 115..124;
    /// Stitches: the unattributed, then those of needle 1 to 16, 16 bits each.
    pub const STITCHES: Bits = 124..396;
}

/// The shared measures.
pub(super) const SHARED: [Run; 5] = [
    Run::new(field::POWERED_MS, 1, &place::POWERED_MS),
    Run::new(field::RUNNING_MS, 1, &place::RUNNING_MS),
    Run::new(field::TRIMS, 1, &place::TRIMS),
    Run::new(field::POWER_UPS, 1, &place::POWER_UPS),
    Run::new(field::UNATTRIBUTED_STITCHES, 1 + NEEDLES_MAX, &place::STITCHES),
];

/// Passes counters. When writing, they become what a reader gets. With `wrap` (a
/// broken rule) too large a value is cut off instead of capped.
pub(super) fn pass(fields: &mut Fields<'_>, counters: &mut Counters, runs: &[Run], wrap: bool) {
    for run in runs {
        fields.check(u32::from(run.at_bit));
        for n in run.counters() {
            let value = counters.get(n);
            let value = if wrap { value & ((1 << run.width) - 1) } else { value };
            counters.set(n, fields.next(value, u32::from(run.width)));
        }
    }
}
