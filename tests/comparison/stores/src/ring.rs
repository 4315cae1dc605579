//! A plain ring of records: what one would write oneself, as a baseline.
//!
//! ```text
//! 0          4                                  124   128
//! | sequence | the 120 used bytes of the value  | CRC |        256 slots of two pages
//! ```
//!
//! No library and no advice to follow: sequence and CRC-32 (IEEE 802.3) stand around the
//! value, each record has its own whole pages, and the next slot is always the one after
//! the newest. At boot the newest is found by bisection: from slot 0 on the sequences rise
//! by one a slot up to the newest.
//!
//! Invariant: the record before the one being written is never touched.
//! Not done: a slot that has gone bad, and reading back what was written.

use crate::{Failure, Part, PartError, USED_BYTES, VALUE_BYTES, Value, ValueStore};

/// Length of a record, bytes: whole pages, so that no tear reaches a neighbour.
const RECORD_BYTES: usize = 4 + USED_BYTES + 4;
/// Slots on the part.
const SLOTS: u32 = crate::PART_BYTES / RECORD_BYTES as u32;

/// The ring. `CHECKED` false leaves the CRC out: only to show that the judge sees it.
#[derive(Debug)]
pub struct Ring<P, const CHECKED: bool = true> {
    part: P,
    /// Sequence of the next record; its slot is this modulo [`SLOTS`].
    next: u32,
}

impl<P: Part, const CHECKED: bool> Ring<P, CHECKED> {
    /// The record in `slot`: its sequence and value, if it is whole and lies where that
    /// sequence belongs.
    fn read(part: &mut P, slot: u32) -> Result<Option<(u32, Value)>, PartError> {
        let mut record = [0; RECORD_BYTES];
        part.read(slot * RECORD_BYTES as u32, &mut record)?;
        let (covered, sum) = record.split_at(RECORD_BYTES - 4);
        let (sequence, bytes) = covered.split_at(4);
        let sequence = sequence.try_into().map_or(u32::MAX, u32::from_le_bytes);
        let is_whole = !CHECKED || sum == crc32(covered).to_le_bytes();
        let mut value = [0; VALUE_BYTES];
        value[..USED_BYTES].copy_from_slice(bytes);
        Ok((is_whole && sequence != u32::MAX && sequence % SLOTS == slot)
            .then_some((sequence, value)))
    }
}

impl<P: Part, const CHECKED: bool> ValueStore<P> for Ring<P, CHECKED> {
    const NAME: &'static str = "plain ring, CRC-32";

    fn power_up(mut part: P) -> Result<(Self, Option<Value>), Failure> {
        // Slot 0 may be the one that was torn: then the lap before ended in the last slot,
        // or, on a part that is nearly new, there is nothing at all.
        let Some(first) = Self::read(&mut part, 0)? else {
            let last = Self::read(&mut part, SLOTS - 1)?;
            let next = last.map_or(0, |(sequence, _)| sequence + 1);
            return Ok((Self { part, next }, last.map(|(_, value)| value)));
        };
        // `low` holds this lap's record; from `high` on there is none of this lap.
        let (mut low, mut high, mut newest) = (0, SLOTS, first);
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            match Self::read(&mut part, middle)? {
                Some(found) if found.0 == first.0 + middle => (low, newest) = (middle, found),
                _ => high = middle,
            }
        }
        Ok((Self { part, next: newest.0 + 1 }, Some(newest.1)))
    }

    fn store(&mut self, value: &Value) -> Result<(), Failure> {
        let mut record = [0; RECORD_BYTES];
        record[..4].copy_from_slice(&self.next.to_le_bytes());
        record[4..4 + USED_BYTES].copy_from_slice(&value[..USED_BYTES]);
        let sum = crc32(&record[..4 + USED_BYTES]);
        record[4 + USED_BYTES..].copy_from_slice(&sum.to_le_bytes());
        self.part.program(self.next % SLOTS * RECORD_BYTES as u32, &record)?;
        self.next += 1;
        Ok(())
    }
}

/// CRC-32 of IEEE 802.3, bit by bit: a table would weigh 1 KiB.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
            if sum & 1 == 1 { sum >> 1 ^ 0xEDB8_8320 } else { sum >> 1 }
        })
    })
}
