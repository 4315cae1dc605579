//! What all records share. A record fills one slot of 64 bytes:
//!
//! ```text
//! bit   0      3                    24                        480      512
//!       ┌──────┬────────────────────┬─────────────────────────┬────────┐
//!       │ kind │ lap                │ payload (456 bits)      │ CRC    │
//!       └──────┴────────────────────┴─────────────────────────┴────────┘
//! byte  0                           3                         60       64
//! ```
//!
//! The CRC is CRC-32C (crate `crc`, `CRC_32_ISCSI`), little-endian, over the
//! board's identity (8 bytes), the slot's number (2 bytes) and bytes 0 to 59. So a
//! record that landed in a wrong slot, or that another board wrote, does not pass.
//! CRC-32C has Hamming distance 6 at this length (512 to 1,024 bits: exhaustive
//! search; agrees with Koopman's tables where seen).
//!
//! A blank part (all ones) reads as kind 7 and a cleared one as kind 0: no record.

use crate::identity::BoardId;
use crate::rules::Rules;
use crate::serial::Lap;
use crc::{CRC_32_ISCSI, Crc};

/// Bytes in a record.
pub const RECORD_BYTES: usize = 64;
/// Bytes at the start of a record that give its kind and lap.
pub const HEADER_BYTES: usize = PAYLOAD_BIT / 8;

/// Where the fields of every record stand.
pub mod place {
    use crate::codec::fields::Bits;

    /// Kind.
    pub const KIND: Bits = 0..3;
    /// Lap.
    pub const LAP: Bits = 3..24;
    /// Payload, another for each kind.
    pub const PAYLOAD: Bits = 24..480;
    /// CRC.
    pub const CRC: Bits = 480..512;
}

/// First bit of the payload.
pub const PAYLOAD_BIT: usize = place::PAYLOAD.start as usize;
/// Bytes that the CRC covers.
const CRC_AT: usize = place::CRC.start as usize / 8;

/// A board saves the 1 KiB of the table; a host, which checks millions, the time.
#[cfg(target_os = "none")]
type Method = crc::NoTable;
#[cfg(not(target_os = "none"))]
type Method = crc::Table<16>;

const CRC: Crc<u32, Method> = Crc::<u32, Method>::new(&CRC_32_ISCSI);

/// The bytes of one record.
pub type Record = [u8; RECORD_BYTES];

/// What a record holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RecordKind {
    /// The lifetime counters, relative to a snapshot.
    Checkpoint = 1,
    /// One copy of a journal entry.
    Entry = 2,
    /// One member of a snapshot.
    Snapshot = 3,
}

/// Kind and lap of a record: a *hint* until the CRC has been checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Header {
    /// What the record holds.
    pub kind: RecordKind,
    /// The lap of the ring in which it was written.
    pub lap: Lap,
}

impl Header {
    /// The header in the first [`HEADER_BYTES`] bytes; `None` when they hold no
    /// record.
    #[must_use]
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let [b0, b1, b2] = *bytes.first_chunk()?;
        let word = u32::from_le_bytes([b0, b1, b2, 0]);
        let kind = match word & ((1 << place::LAP.start) - 1) {
            1 => RecordKind::Checkpoint,
            2 => RecordKind::Entry,
            3 => RecordKind::Snapshot,
            _ => return None,
        };
        Some(Self { kind, lap: Lap::new(word >> place::LAP.start) })
    }
}

/// Puts the header and the CRC round a payload that is already in `record`.
pub fn seal<R: Rules>(record: &mut Record, header: Header, id: BoardId, slot: u16) {
    let [b0, b1, b2, ..] = record;
    let word = header.kind as u32 | header.lap.get() << place::LAP.start;
    [*b0, *b1, *b2, _] = word.to_le_bytes();
    let crc = crc::<R>(record, id, slot);
    if let Some(place) = record.last_chunk_mut::<4>() {
        *place = crc.to_le_bytes();
    }
}

/// The header of a record whose CRC fits this board and this slot.
#[must_use]
pub fn open<R: Rules>(record: &Record, id: BoardId, slot: u16) -> Option<Header> {
    let header = Header::decode(record)?;
    let stored = record.last_chunk::<4>().map(|c| u32::from_le_bytes(*c));
    (!R::check_crc() || stored == Some(crc::<R>(record, id, slot))).then_some(header)
}

fn crc<R: Rules>(record: &Record, id: BoardId, slot: u16) -> u32 {
    let id = id.0.to_le_bytes();
    let slot = slot.to_le_bytes();
    let covered: &[u8] = if R::crc_of_all() {
        record.first_chunk::<CRC_AT>().map_or(&[], |c| c)
    } else {
        record.first_chunk::<{ CRC_AT / 2 }>().map_or(&[], |c| c)
    };
    crc_of([
        if R::key_by_board() { &id } else { &[] },
        if R::key_by_slot() { &slot } else { &[] },
        covered,
    ])
}

/// The CRC over these bytes, one part after the other.
#[inline(never)]
pub(super) fn crc_of(parts: [&[u8]; 3]) -> u32 {
    let mut digest = CRC.digest();
    for part in parts {
        digest.update(part);
    }
    digest.finalize()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::Sound;

    /// `RevEng` catalogue, CRC-32/ISCSI: check value of "123456789".
    #[test]
    fn the_crc_is_the_catalogues_crc_32c() {
        assert_eq!(CRC.checksum(b"123456789"), 0xE306_9283);
    }

    #[test]
    fn a_record_of_another_slot_or_board_or_with_any_flipped_bit_does_not_pass() {
        let header = Header { kind: RecordKind::Entry, lap: Lap::new(0x15_5AA5) };
        let mut record = [0x5A; RECORD_BYTES];
        seal::<Sound>(&mut record, header, BoardId(7), 300);
        assert_eq!(open::<Sound>(&record, BoardId(7), 300), Some(header));
        assert_eq!(open::<Sound>(&record, BoardId(7), 301), None);
        assert_eq!(open::<Sound>(&record, BoardId(6), 300), None);
        for bit in 0..RECORD_BYTES * 8 {
            let mut flipped = record;
            flipped[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(open::<Sound>(&flipped, BoardId(7), 300), None, "bit {bit}");
        }
    }

    #[test]
    fn blank_and_cleared_slots_are_no_records() {
        assert_eq!(Header::decode(&[0xFF; 3]), None);
        assert_eq!(Header::decode(&[0; 3]), None);
        assert_eq!(Header::decode(&[]), None);
    }
}
