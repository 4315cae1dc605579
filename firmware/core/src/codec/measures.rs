//! The block of counters that a checkpoint and a journal entry share: delta since
//! a snapshot, 346 bits.
//!
//! ```text
//! powered_ms 25 │ running_ms 24 │ trims 16 │ power-ups 9 │ unattributed 16 │ 16 × needle 16
//! ```
//!
//! Delta, not a value: the snapshot holds the whole value. A field that would
//! overflow is capped (so never above the truth); [`room`] says when a new
//! snapshot has to come first.

use super::fields::Fields;
use crate::counters::{Counters, NEEDLES_MAX, field};

/// Consecutive counters (see [`field`]) of one width.
#[derive(Clone, Copy)]
pub(super) struct Run {
    /// First counter.
    pub first: usize,
    /// How many.
    pub count: usize,
    /// Bits of each.
    pub width: u32,
}

impl Run {
    pub(super) const fn new(first: usize, count: usize, width: u32) -> Self {
        Self { first, count, width }
    }
}

/// The shared measures.
pub(super) const SHARED: [Run; 5] = [
    Run::new(field::POWERED_MS, 1, 25),
    Run::new(field::RUNNING_MS, 1, 24),
    Run::new(field::TRIMS, 1, 16),
    Run::new(field::POWER_UPS, 1, 9),
    Run::new(field::UNATTRIBUTED_STITCHES, 1 + NEEDLES_MAX, 16),
];

/// What a checkpoint has besides: jumps; glitches and missed edges are capped, not
/// exact.
pub(super) const OTHERS: [Run; 3] = [
    Run::new(field::JUMPS, 1, 16),
    Run::new(field::GLITCHES, 1, 16),
    Run::new(field::MISSED_EDGES, 1, 8),
];

/// Passes counters. When writing, they become what a reader gets. With `wrap` (a
/// broken rule) too large a value is cut off instead of capped.
pub(super) fn pass(fields: &mut Fields<'_>, counters: &mut Counters, runs: &[Run], wrap: bool) {
    for run in runs {
        for n in run.first..run.first + run.count {
            let value = counters.get(n);
            let value = if wrap { value & ((1 << run.width) - 1) } else { value };
            counters.set(n, fields.wide(value, run.width));
        }
    }
}

/// How full the fullest field would be, in 1/256 of its range; 256 and more
/// does not fit. Glitches and missed edges are left out: they are capped, not exact.
#[must_use]
pub fn room(delta: &Counters) -> u32 {
    let mut most = 0;
    for run in SHARED.iter().chain(&OTHERS[..1]) {
        for n in run.first..run.first + run.count {
            let value = delta.get(n).min(1 << run.width) as u32;
            most = most.max(value >> (run.width - 8));
        }
    }
    // 121/16 is just over 256/34: 33 breaks fit, 34 do not.
    most.max((delta.breaks().min(256) * 121) >> 4)
}
