//! A plain ring of records: what one would write oneself, as a baseline.
//!
//! ```text
//! 0          4                                  124   128
//! | sequence | the 120 used bytes of the value  | CRC |        256 slots of two pages
//! ```
//!
//! It uses no library and follows no advice. A sequence goes before the value and a CRC-32
//! (IEEE 802.3) behind it, each record has whole pages of its own, and the next slot is always
//! the one after the newest. At boot the newest is found by bisection, because from slot 0 on
//! the sequences rise by one from slot to slot, up to the newest.
//!
//! Invariant: the record before the one being written is never touched.
//!
//! Not done: passing over a slot that has gone bad, and reading back what was written.

use crate::Failure;
use crate::Part;
use crate::PartError;
use crate::USED_BYTES;
use crate::VALUE_BYTES;
use crate::Value;
use crate::ValueStore;

/// Length of a record, bytes: whole pages, so that no tear reaches a neighbour.
const RECORD_BYTES: usize = 4 + USED_BYTES + 4;
/// A record.
type Record = [u8; RECORD_BYTES];
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
    /// Reads the record in `slot`; its sequence, if it is whole and lies where that
    /// sequence belongs.
    fn read(&mut self, slot: u32, record: &mut Record) -> Result<Option<u32>, PartError> {
        self.part.read(slot * RECORD_BYTES as u32, record)?;
        let [a, b, c, d, ..] = *record;
        let sequence = u32::from_le_bytes([a, b, c, d]);
        let (covered, sum) = record.split_at(RECORD_BYTES - 4);
        let is_whole = !CHECKED || sum == crc32(covered).to_le_bytes();
        Ok((is_whole && sequence != u32::MAX && sequence % SLOTS == slot).then_some(sequence))
    }

    /// `record` of `sequence` is the newest.
    fn found(&mut self, sequence: u32, record: &Record) -> Value {
        self.next = sequence + 1;
        let mut value = [0; VALUE_BYTES];
        value[..USED_BYTES].copy_from_slice(&record[4..4 + USED_BYTES]);
        value
    }
}

impl<P: Part, const CHECKED: bool> ValueStore<P> for Ring<P, CHECKED> {
    const NAME: &'static str = "plain ring, CRC-32";

    fn new(part: P) -> Self {
        Self { part, next: 0 }
    }

    fn open(&mut self) -> Result<Option<Value>, Failure> {
        let mut newest = [0; RECORD_BYTES];
        // Slot 0 may be the one that was torn: then the lap before ended in the last slot,
        // or, on a part that is nearly new, there is nothing at all.
        let (mut low, mut high) = (0, SLOTS);
        let Some(first) = self.read(0, &mut newest)? else {
            return match self.read(SLOTS - 1, &mut newest)? {
                None => Ok(None),
                Some(sequence) => Ok(Some(self.found(sequence, &newest))),
            };
        };
        // `low` holds this lap's record; from `high` on there is none of this lap.
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if self.read(middle, &mut newest)? == Some(first + middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        self.read(low, &mut newest)?;
        Ok(Some(self.found(first + low, &newest)))
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
