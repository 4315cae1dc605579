//! The lifetime counters as 128 bytes, for stores that keep bytes.
//!
//! ```text
//! 0          64       96        101       106         109     112     115         117
//! | stitches | breaks | powered | running | unattrib. | jumps | trims | power-ups | rest | spare
//! | 16 × u32 | 16×u16 | u40     | u40     | u24       | u24   | u24   | u16       | 3×u8 | 8 × 0
//! ```
//!
//! All are little-endian, and times are in ms. The rest is unattributed breaks, glitches and
//! missed edges. A counter that does not fit its place is an error, and is never cut short: the
//! places are chosen for the workload, not for a product. Eight bytes are spare, so that
//! somebody's own store finds room for a sequence and a checksum in two pages of 64 bytes.

use comparison_stores::{VALUE_BYTES, Value};
use shaftbook_core::counters::{Counters, NEEDLES_MAX};

/// The counters as bytes; `None` when one is too big for its place.
#[must_use]
pub fn encode(counters: &Counters) -> Option<Value> {
    let mut value = [0; VALUE_BYTES];
    let mut at = 0;
    let mut put = |figure: u64, count: usize| {
        let bytes = figure.to_le_bytes();
        value[at..at + count].copy_from_slice(&bytes[..count]);
        at += count;
        bytes[count..].iter().all(|byte| *byte == 0).then_some(())
    };
    for stitches in counters.needle_stitches {
        put(stitches, 4)?;
    }
    for breaks in counters.needle_breaks {
        put(breaks.into(), 2)?;
    }
    put(counters.powered_ms, 5)?;
    put(counters.running_ms, 5)?;
    put(counters.unattributed_stitches, 3)?;
    put(counters.jumps, 3)?;
    put(counters.trims, 3)?;
    put(counters.power_ups.into(), 2)?;
    put(counters.unattributed_breaks.into(), 1)?;
    put(counters.glitches.into(), 1)?;
    put(counters.missed_edges.into(), 1)?;
    Some(value)
}

/// The counters in `value`. Any bytes are counters.
#[must_use]
pub fn decode(value: &Value) -> Counters {
    let mut at = 0;
    let mut take = |count: usize| {
        let mut bytes = [0; 8];
        bytes[..count].copy_from_slice(&value[at..at + count]);
        at += count;
        u64::from_le_bytes(bytes)
    };
    let mut counters = Counters::default();
    for needle in 0..NEEDLES_MAX {
        counters.needle_stitches[needle] = take(4);
    }
    for needle in 0..NEEDLES_MAX {
        counters.needle_breaks[needle] = take(2) as u32;
    }
    counters.powered_ms = take(5);
    counters.running_ms = take(5);
    counters.unattributed_stitches = take(3);
    counters.jumps = take(3);
    counters.trims = take(3);
    counters.power_ups = take(2) as u32;
    counters.unattributed_breaks = take(1) as u32;
    counters.glitches = take(1) as u32;
    counters.missed_edges = take(1) as u32;
    counters
}

#[cfg(test)]
mod tests {
    use super::*;
    use comparison_stores::USED_BYTES;

    #[test]
    fn every_value_is_some_counters_and_comes_back() {
        for seed in 0..200_u8 {
            let mut value = [0; VALUE_BYTES];
            for (at, byte) in value[..USED_BYTES].iter_mut().enumerate() {
                *byte = (at as u8).wrapping_mul(seed).wrapping_add(seed.rotate_left(3));
            }
            assert_eq!(encode(&decode(&value)), Some(value), "seed {seed}");
        }
    }

    #[test]
    fn a_counter_that_does_not_fit_is_refused() {
        let fits = Counters { missed_edges: 255, ..Counters::default() };
        assert_eq!(encode(&fits).map(|value| decode(&value)), Some(fits));
        assert_eq!(encode(&Counters { missed_edges: 256, ..Counters::default() }), None);
        assert_eq!(encode(&Counters { jumps: 1 << 24, ..Counters::default() }), None);
    }
}
