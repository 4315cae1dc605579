//! One copy of a journal entry, in one slot.
//!
//! Pointers as in a [checkpoint](super::checkpoint), the [shared measures](super::measures)
//! at that moment, as delta since the snapshot, then what stands in [`place`].

use super::checkpoint::Pointers;
use super::fields::Fields;
use super::frame::{PAYLOAD_BIT, RECORD_BYTES, Record};
use super::measures;
use crate::counters::Counters;
use crate::journal::{ComponentSet, Entry, EntryNumber, Event};
use crate::rules::Rules;

/// Where the fields of an entry stand in its record, after the shared measures.
pub mod place {
    use crate::codec::fields::Bits;

    /// Number.
    pub const NUMBER: Bits = 396..416;
    /// Event.
    pub const EVENT: Bits = 416..420;
    /// Subject.
    pub const SUBJECT: Bits = 420..430;
    /// Components renewed, bit n = place n in the profile.
    pub const RENEWED: Bits = 430..462;
    /// Calendar day, 0 = no clock.
    pub const DAY: Bits = 462..478;
    /// Copy: 0 first, 1 second.
    pub const COPY: Bits = 478..479;
}

/// Passes the payload of a copy; `entry.at` holds delta. `None` for an event this
/// version does not know; `entry` is then of no use.
pub fn pass<R: Rules>(
    fields: &mut Fields<'_>,
    pointers: &mut Pointers,
    entry: &mut Entry,
    second_copy: &mut bool,
) -> Option<()> {
    pointers.pass(fields);
    measures::pass(fields, &mut entry.at, &measures::SHARED, !R::cap_deltas());
    entry.number = EntryNumber::new(fields.narrow(entry.number.get(), place::NUMBER));
    entry.event = Event::from_code(fields.narrow(entry.event as u32, place::EVENT) as u8)?;
    entry.subject = fields.narrow(u32::from(entry.subject), place::SUBJECT) as u16;
    fields.word(&mut entry.renewed.0, place::RENEWED);
    let mut day = entry.day.unwrap_or(0);
    fields.half(&mut day, place::DAY);
    entry.day = Some(day).filter(|d| *d != 0);
    *second_copy = fields.narrow(u32::from(*second_copy), place::COPY) == 1;
    Some(())
}

/// A journal entry as it stands in a slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StoredEntry {
    /// Slot of the first member of the snapshot that `entry.at` adds to.
    pub base_slot: u16,
    /// That snapshot's [`binding`](super::snapshot::binding).
    pub binding: u16,
    /// Slot of the first copy of the entry before this one since that snapshot.
    pub previous_slot: Option<u16>,
    /// Whether this is the second copy.
    pub second_copy: bool,
    /// The entry; its `at` holds *delta* since the snapshot.
    pub entry: Entry,
}

impl StoredEntry {
    /// Where it points.
    #[must_use]
    pub fn pointers(&self) -> Pointers {
        Pointers::new(self.base_slot, self.binding, self.previous_slot)
    }

    /// The payload, in an otherwise zero record.
    #[must_use]
    pub fn encode<R: Rules>(&self) -> Record {
        let mut record = [0; RECORD_BYTES];
        let mut copy = *self;
        let mut pointers = self.pointers();
        let mut fields = Fields::writer(&mut record, PAYLOAD_BIT);
        // Cannot fail: every event has a code.
        let _ = pass::<R>(&mut fields, &mut pointers, &mut copy.entry, &mut copy.second_copy);
        record
    }

    /// The entry in a record whose frame has been opened; `None` for an event this
    /// version does not know.
    #[must_use]
    pub fn decode(record: &Record) -> Option<Self> {
        let (mut pointers, mut second_copy) = (Pointers::default(), false);
        let mut entry = Entry {
            number: EntryNumber::default(),
            event: Event::Renewed,
            subject: 0,
            renewed: ComponentSet::default(),
            day: None,
            at: Counters::default(),
        };
        let mut fields = Fields::reader(record, PAYLOAD_BIT);
        pass::<crate::rules::Sound>(&mut fields, &mut pointers, &mut entry, &mut second_copy)?;
        Some(Self {
            base_slot: pointers.base_slot(),
            binding: pointers.binding(),
            previous_slot: pointers.entry(),
            second_copy,
            entry,
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
            slots in (0..1_024_u16, 0..1_024_u16), binding in 0..1_024_u16, number in 0..1_u32 << 20, event in 1..=6_u8,
            subject in 0..1_024_u16, renewed: u32, day: u16, second_copy: bool,
            needle_stitches in prop::array::uniform16(0..1_u64 << 16), running_ms in 0..1_u64 << 24,
        ) {
            let stored = StoredEntry {
                base_slot: slots.0,
                binding,
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
