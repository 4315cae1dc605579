//! The block of counters that a checkpoint and a journal entry share: growth since
//! a snapshot, 346 bits.
//!
//! ```text
//! powered_ms 25 │ running_ms 24 │ trims 16 │ power-ups 9 │ unattributed 16 │ 16 × needle 16
//! ```
//!
//! Growth, not a value: the snapshot holds the whole value. A field that would
//! overflow is capped (so never above the truth); [`room`] says when a new
//! snapshot has to come first.

use super::bits::{BitReader, BitWriter};
use crate::counters::Counters;
use crate::rules::Rules;

const POWERED_BITS: u32 = 25;
const RUNNING_BITS: u32 = 24;
const TRIM_BITS: u32 = 16;
const POWER_UP_BITS: u32 = 9;
/// Width of a stitch or jump field.
pub(super) const STITCH_BITS: u32 = 16;

/// Writes the growth of the shared measures.
pub(super) fn encode<R: Rules>(writer: &mut BitWriter<'_>, growth: &Counters) {
    let mut put = |value: u64, width: u32| {
        let value = if R::CAP_DELTAS { value } else { value & ((1 << width) - 1) };
        writer.put(value, width);
    };
    put(growth.powered_ms, POWERED_BITS);
    put(growth.running_ms, RUNNING_BITS);
    put(growth.trims, TRIM_BITS);
    put(u64::from(growth.power_ups), POWER_UP_BITS);
    put(growth.unattributed_stitches, STITCH_BITS);
    for stitches in growth.needle_stitches {
        put(stitches, STITCH_BITS);
    }
}

/// Reads the growth of the shared measures; the other fields are 0.
pub(super) fn decode(reader: &mut BitReader<'_>) -> Counters {
    Counters {
        powered_ms: reader.take(POWERED_BITS),
        running_ms: reader.take(RUNNING_BITS),
        trims: reader.take(TRIM_BITS),
        power_ups: reader.take(POWER_UP_BITS) as u32,
        unattributed_stitches: reader.take(STITCH_BITS),
        needle_stitches: core::array::from_fn(|_| reader.take(STITCH_BITS)),
        ..Counters::default()
    }
}

/// How full the fullest field would be, in 1/256 of its range; 256 and more
/// does not fit. Glitches and missed edges are left out: they are capped, not exact.
#[must_use]
pub fn room(growth: &Counters) -> u64 {
    let fill = |value: u64, width: u32| value.saturating_mul(256) >> width;
    let stitches = growth
        .needle_stitches
        .iter()
        .fold(growth.unattributed_stitches.max(growth.jumps), |most, n| most.max(*n));
    fill(growth.powered_ms, POWERED_BITS)
        .max(fill(growth.running_ms, RUNNING_BITS))
        .max(fill(growth.trims, TRIM_BITS))
        .max(fill(u64::from(growth.power_ups), POWER_UP_BITS))
        .max(fill(stitches, STITCH_BITS))
        .max(u64::from(growth.breaks()).saturating_mul(256) / (super::checkpoint::BREAKS_MAX + 1))
}
