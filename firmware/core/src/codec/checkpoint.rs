//! A checkpoint: all lifetime counters in one slot, as growth since a snapshot.
//!
//! ```text
//! bits   width  field
//!  24     10    slot of the snapshot's first member
//!  34     10    slot of the newest journal entry since it (= that slot: none)
//!  44    346    shared measures
//! 390     16    jumps
//! 406     16    glitches (capped)
//! 422      8    missed edges (capped)
//! 430     50    thread breaks: for each needle and last the unattributed, that
//!               many ones and a zero; at most 33 ones
//! ```

use super::bits::{BitReader, BitWriter};
use super::frame::{PAYLOAD_BIT, PAYLOAD_END_BIT, Record};
use super::measures::{self, STITCH_BITS};
use crate::counters::{Counters, NEEDLES_MAX};
use crate::rules::Rules;

const SLOT_BITS: u32 = 10;
const GLITCH_BITS: u32 = 16;
const MISSED_BITS: u32 = 8;
/// Most thread breaks between two snapshots that a checkpoint can hold.
pub const BREAKS_MAX: u64 = 33;

/// A decoded checkpoint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Checkpoint {
    /// Slot of the first member of the snapshot that `growth` adds to.
    pub base_slot: u16,
    /// Slot of the newest journal entry since that snapshot.
    pub entry_slot: Option<u16>,
    /// What was counted since that snapshot.
    pub growth: Counters,
}

impl Checkpoint {
    /// The payload, in an otherwise zero record.
    #[must_use]
    pub fn encode<R: Rules>(&self) -> Record {
        let mut record = [0; 64];
        let mut writer = BitWriter::new(&mut record, PAYLOAD_BIT);
        writer.put(u64::from(self.base_slot), SLOT_BITS);
        writer.put(u64::from(self.entry_slot.unwrap_or(self.base_slot)), SLOT_BITS);
        measures::encode::<R>(&mut writer, &self.growth);
        writer.put(self.growth.jumps, STITCH_BITS);
        writer.put(u64::from(self.growth.glitches), GLITCH_BITS);
        writer.put(u64::from(self.growth.missed_edges), MISSED_BITS);
        let mut left = BREAKS_MAX as u32;
        for breaks in self.growth.needle_breaks.into_iter().chain([self.growth.unattributed_breaks])
        {
            let breaks = breaks.min(left);
            left -= breaks;
            writer.put((1 << breaks) - 1, breaks + 1);
        }
        debug_assert!(writer.position() <= PAYLOAD_END_BIT);
        record
    }

    /// The checkpoint in a record whose frame has been opened.
    #[must_use]
    pub fn decode(record: &Record) -> Self {
        let mut reader = BitReader::new(record, PAYLOAD_BIT);
        let base_slot = reader.take(SLOT_BITS) as u16;
        let entry_slot = reader.take(SLOT_BITS) as u16;
        let mut growth = measures::decode(&mut reader);
        growth.jumps = reader.take(STITCH_BITS);
        growth.glitches = reader.take(GLITCH_BITS) as u32;
        growth.missed_edges = reader.take(MISSED_BITS) as u32;
        let mut bits = reader.take(BREAKS_MAX as u32 + NEEDLES_MAX as u32 + 1);
        for breaks in growth.needle_breaks.iter_mut().chain([&mut growth.unattributed_breaks]) {
            *breaks = bits.trailing_ones();
            bits = bits.checked_shr(*breaks + 1).unwrap_or(0);
        }
        Self { base_slot, entry_slot: (entry_slot != base_slot).then_some(entry_slot), growth }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::Sound;
    use proptest::prelude::*;

    fn growth() -> impl Strategy<Value = Counters> {
        let times = (0..1_u64 << 25, 0..1_u64 << 24, 0..1_u64 << 16, 0..512_u32);
        let rest = (0..1_u64 << 16, 0..1_u64 << 16, 0..1_u32 << 16, 0..256_u32);
        let needles = prop::array::uniform16(0..1_u64 << 16);
        let breaks = prop::collection::vec(0..17_usize, 0..=33);
        (times, rest, needles, breaks).prop_map(|(t, r, needle_stitches, breaks)| {
            let mut growth = Counters {
                powered_ms: t.0,
                running_ms: t.1,
                trims: t.2,
                power_ups: t.3,
                unattributed_stitches: r.0,
                jumps: r.1,
                glitches: r.2,
                missed_edges: r.3,
                needle_stitches,
                ..Counters::default()
            };
            for needle in breaks {
                *growth.needle_breaks.get_mut(needle).unwrap_or(&mut growth.unattributed_breaks) +=
                    1;
            }
            growth
        })
    }

    proptest! {
        #[test]
        fn a_checkpoint_comes_back(
            growth in growth(), base_slot in 0..1_024_u16, entry in 0..1_024_u16,
        ) {
            let checkpoint = Checkpoint {
                base_slot,
                entry_slot: (entry != base_slot).then_some(entry),
                growth,
            };
            prop_assert!(measures::room(&growth) < 256);
            prop_assert_eq!(Checkpoint::decode(&checkpoint.encode::<Sound>()), checkpoint);
        }

        #[test]
        fn growth_that_does_not_fit_is_capped_below_the_truth(
            scale in 1..1_u64 << 40, breaks in 0..100_u32,
        ) {
            let growth = Counters {
                powered_ms: scale,
                running_ms: scale / 2,
                needle_stitches: [scale / 100; NEEDLES_MAX],
                needle_breaks: [breaks; NEEDLES_MAX],
                unattributed_breaks: breaks,
                jumps: scale,
                ..Counters::default()
            };
            let checkpoint = Checkpoint { base_slot: 1, entry_slot: None, growth };
            let back = Checkpoint::decode(&checkpoint.encode::<Sound>()).growth;
            prop_assert!(back.at_most(&growth));
            prop_assert_eq!(back == growth, measures::room(&growth) < 256);
        }

        #[test]
        fn any_bytes_decode_without_a_panic(record in prop::array::uniform32(any::<[u8; 2]>())) {
            let flat: Vec<u8> = record.into_iter().flatten().collect();
            let _ = Checkpoint::decode(&flat.try_into().unwrap());
        }
    }

    extern crate std;
    use std::vec::Vec;
}
