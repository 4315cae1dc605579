//! One copy of a journal entry, in one slot.
//!
//! ```text
//! bits   width  field
//!  24     10    slot of the snapshot's first member
//!  34     10    slot of the entry before it since that snapshot (= that slot: none)
//!  44    346    shared measures at that moment, as growth since the snapshot
//! 390     20    number
//! 410      4    event
//! 414     10    subject
//! 424     32    components renewed, bit n = place n in the profile
//! 456     16    calendar day, 0 = no clock
//! 472      1    copy: 0 first, 1 second
//! ```

use super::bits::{BitReader, BitWriter};
use super::frame::{PAYLOAD_BIT, PAYLOAD_END_BIT, Record};
use super::measures;
use crate::journal::{ComponentSet, Entry, EntryNumber, Event};
use crate::rules::Rules;

/// A journal entry as it stands in a slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StoredEntry {
    /// Slot of the first member of the snapshot that `entry.at` adds to.
    pub base_slot: u16,
    /// Slot of the first copy of the entry before this one since that snapshot.
    pub previous_slot: Option<u16>,
    /// Whether this is the second copy.
    pub second_copy: bool,
    /// The entry; its `at` holds *growth* since the snapshot.
    pub entry: Entry,
}

impl StoredEntry {
    /// The payload, in an otherwise zero record.
    #[must_use]
    pub fn encode<R: Rules>(&self) -> Record {
        let mut record = [0; 64];
        let mut writer = BitWriter::new(&mut record, PAYLOAD_BIT);
        writer.put(u64::from(self.base_slot), 10);
        writer.put(u64::from(self.previous_slot.unwrap_or(self.base_slot)), 10);
        measures::encode::<R>(&mut writer, &self.entry.at);
        writer.put(u64::from(self.entry.number.get()), 20);
        writer.put(self.entry.event as u64, 4);
        writer.put(u64::from(self.entry.subject), 10);
        writer.put(u64::from(self.entry.renewed.0), 32);
        writer.put(u64::from(self.entry.day.unwrap_or(0)), 16);
        writer.put(u64::from(self.second_copy), 1);
        debug_assert!(writer.position() <= PAYLOAD_END_BIT);
        record
    }

    /// The entry in a record whose frame has been opened; `None` for an event this
    /// version does not know.
    #[must_use]
    pub fn decode(record: &Record) -> Option<Self> {
        let mut reader = BitReader::new(record, PAYLOAD_BIT);
        let base_slot = reader.take(10) as u16;
        let previous_slot = reader.take(10) as u16;
        let at = measures::decode(&mut reader);
        let number = EntryNumber::new(reader.take(20) as u32);
        let event = Event::from_code(reader.take(4) as u8)?;
        let subject = reader.take(10) as u16;
        let renewed = ComponentSet(reader.take(32) as u32);
        let day = Some(reader.take(16) as u16).filter(|d| *d != 0);
        let second_copy = reader.take(1) == 1;
        Some(Self {
            base_slot,
            previous_slot: (previous_slot != base_slot).then_some(previous_slot),
            second_copy,
            entry: Entry { number, event, subject, renewed, day, at },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::counters::Counters;
    use crate::rules::Sound;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn an_entry_comes_back(
            slots in (0..1_024_u16, 0..1_024_u16), number in 0..1_u32 << 20, event in 1..=5_u8,
            subject in 0..1_024_u16, renewed: u32, day: u16, second_copy: bool,
            needle_stitches in prop::array::uniform16(0..1_u64 << 16), running_ms in 0..1_u64 << 24,
        ) {
            let stored = StoredEntry {
                base_slot: slots.0,
                previous_slot: (slots.0 != slots.1).then_some(slots.1),
                second_copy,
                entry: Entry {
                    number: EntryNumber::new(number),
                    event: Event::from_code(event).unwrap(),
                    subject,
                    renewed: ComponentSet(renewed),
                    day: Some(day).filter(|d| *d != 0),
                    at: Counters { running_ms, needle_stitches, ..Counters::default() },
                },
            };
            prop_assert_eq!(StoredEntry::decode(&stored.encode::<Sound>()), Some(stored));
        }
    }
}
