//! A checkpoint: all lifetime counters in one slot, as delta since a snapshot.
//!
//! Pointers, the [shared measures](super::measures), then what stands in [`place`]. Thread
//! breaks are, for each needle and last for the unattributed, that many ones and a zero; at
//! most 27 ones.

use super::fields::{Fields, width};
use super::frame::{PAYLOAD_BIT, RECORD_BYTES, Record};
use super::measures::{self, Run, SHARED};
use crate::counters::{Counters, NEEDLES_MAX, field};
use crate::rules::Rules;

/// Where the fields of a checkpoint stand in its record.
pub mod place {
    use crate::codec::fields::Bits;

    /// Slot of the snapshot's first member.
    pub const BASE_SLOT: Bits = 24..34;
    /// That snapshot's [`binding`](crate::codec::snapshot::binding).
    pub const BINDING: Bits = 34..44;
    /// Both in one: the [name](super::name) of the snapshot.
    pub const SNAPSHOT: Bits = BASE_SLOT.start..BINDING.end;
    /// Slot of the newest journal entry since it (= that slot: none); in an entry, of the
    /// entry before it.
    pub const ENTRY_SLOT: Bits = 44..54;
    /// Jumps.
    pub const JUMPS: Bits = 396..412;
    /// Glitches, capped.
    pub const GLITCHES: Bits = 412..428;
    /// Missed edges, capped.
    pub const MISSED_EDGES: Bits = 428..436;
    /// Thread breaks.
    pub const BREAKS: Bits = 436..480;
}

/// What a checkpoint has besides the shared measures.
const OTHERS: [Run; 3] = [
    Run::new(field::JUMPS, 1, &place::JUMPS),
    Run::new(field::GLITCHES, 1, &place::GLITCHES),
    Run::new(field::MISSED_EDGES, 1, &place::MISSED_EDGES),
];

/// Most thread breaks between two snapshots that a checkpoint can hold.
pub const BREAKS_MAX: u32 = 27;

// Each of them a one, and each group a zero.
const _: () = assert!(width(&place::BREAKS) as usize == BREAKS_MAX as usize + 1 + NEEDLES_MAX);

/// How checkpoints and entries name a snapshot: the slot of its first member, and what it must
/// hold ([`binding`](super::snapshot::binding)) in the bits above.
#[must_use]
pub fn name(base_slot: u16, binding: u16) -> u32 {
    u32::from(base_slot) + (u32::from(binding) << width(&place::BASE_SLOT))
}

/// The slot in such a name.
#[must_use]
pub fn base_slot_of(name: u32) -> u16 {
    name as u16 & ((1 << width(&place::BASE_SLOT)) - 1)
}

/// Where a checkpoint or an entry points.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pointers {
    /// [Name](name) of the snapshot that delta is added to.
    pub snapshot: u32,
    /// Slot of the newest (for an entry: the previous) journal entry since that
    /// snapshot; the same as its base slot: there is none.
    pub entry_slot: u16,
}

impl Pointers {
    /// Pointers to a snapshot and, if there is one, to an entry since it.
    #[must_use]
    pub fn new(base_slot: u16, binding: u16, entry_slot: Option<u16>) -> Self {
        Self { snapshot: name(base_slot, binding), entry_slot: entry_slot.unwrap_or(base_slot) }
    }

    /// Slot of the first member of the snapshot.
    #[must_use]
    pub fn base_slot(&self) -> u16 {
        base_slot_of(self.snapshot)
    }

    /// What the snapshot must hold: its [`binding`](super::snapshot::binding).
    #[must_use]
    pub fn binding(&self) -> u16 {
        (self.snapshot >> width(&place::BASE_SLOT)) as u16
    }

    /// The entry, if there is one.
    #[must_use]
    pub fn entry(&self) -> Option<u16> {
        Some(self.entry_slot).filter(|slot| *slot != self.base_slot())
    }

    /// The pointers of a record.
    #[must_use]
    pub fn of(record: &Record) -> Self {
        let mut pointers = Self::default();
        pointers.pass(&mut Fields::reader(record, PAYLOAD_BIT));
        pointers
    }

    pub(super) fn pass(&mut self, fields: &mut Fields<'_>) {
        self.snapshot = fields.narrow(self.snapshot, place::SNAPSHOT);
        self.entry_slot = fields.narrow(u32::from(self.entry_slot), place::ENTRY_SLOT) as u16;
    }
}

/// Passes a checkpoint's payload. When writing, `delta` becomes what a reader gets.
pub fn pass<R: Rules>(fields: &mut Fields<'_>, pointers: &mut Pointers, delta: &mut Counters) {
    pointers.pass(fields);
    measures::pass(fields, delta, &SHARED, !R::cap_deltas());
    measures::pass(fields, delta, &OTHERS, false);
    fields.check(place::BREAKS.start);
    let mut left = BREAKS_MAX;
    for n in field::NEEDLE_BREAKS..=field::END {
        // The unattributed breaks come last.
        let n = if n < field::END { n } else { field::UNATTRIBUTED_BREAKS };
        let mut breaks = 0;
        if fields.is_writing() {
            breaks = delta.get(n).min(u64::from(left)) as u32;
            fields.next((1 << breaks) - 1, breaks + 1);
        } else {
            while breaks < left && fields.next(0, 1) == 1 {
                breaks += 1;
            }
            if breaks == left {
                // The zero after the last of all.
                fields.next(0, 1);
            }
        }
        left -= breaks;
        delta.set(n, u64::from(breaks));
    }
}

/// How full the fullest field would be, in 1/256 of its range; 256 and more
/// does not fit. Glitches and missed edges are left out: they are capped, not exact.
#[must_use]
pub fn room<R: Rules>(delta: &Counters) -> u32 {
    let mut most = 0;
    for run in SHARED.iter().chain(&OTHERS[..1]) {
        for n in run.counters() {
            let value = delta.get(n).min(1 << run.width) as u32;
            most = most.max(value >> (run.width - 8));
        }
    }
    // 75/8 is a little over 256/28: 27 breaks fit, 28 do not, and 24 ask for a snapshot.
    let breaks = if R::every_field_asks() { delta.breaks() } else { 0 };
    most.max((breaks.min(256) * 75) >> 3)
}

/// A decoded checkpoint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Checkpoint {
    /// Slot of the first member of the snapshot that `delta` adds to.
    pub base_slot: u16,
    /// That snapshot's [`binding`](super::snapshot::binding).
    pub binding: u16,
    /// Slot of the newest journal entry since that snapshot.
    pub entry_slot: Option<u16>,
    /// What was counted since that snapshot.
    pub delta: Counters,
}

impl Checkpoint {
    /// Where it points.
    #[must_use]
    pub fn pointers(&self) -> Pointers {
        Pointers::new(self.base_slot, self.binding, self.entry_slot)
    }

    /// The payload, in an otherwise zero record.
    #[must_use]
    pub fn encode<R: Rules>(&self) -> Record {
        let mut record = [0; RECORD_BYTES];
        let mut delta = self.delta;
        let mut pointers = self.pointers();
        pass::<R>(&mut Fields::writer(&mut record, PAYLOAD_BIT), &mut pointers, &mut delta);
        record
    }

    /// The checkpoint in a record whose frame has been opened.
    #[must_use]
    pub fn decode(record: &Record) -> Self {
        let (mut pointers, mut delta) = (Pointers::default(), Counters::default());
        let mut fields = Fields::reader(record, PAYLOAD_BIT);
        pass::<crate::rules::Sound>(&mut fields, &mut pointers, &mut delta);
        Self {
            base_slot: pointers.base_slot(),
            binding: pointers.binding(),
            entry_slot: pointers.entry(),
            delta,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::Sound;
    use proptest::prelude::*;

    fn delta() -> impl Strategy<Value = Counters> {
        let times = (0..1_u64 << 25, 0..1_u64 << 24, 0..1_u64 << 12, 0..512_u32);
        let rest = (0..1_u64 << 16, 0..1_u64 << 16, 0..1_u32 << 16, 0..256_u32);
        let needles = prop::array::uniform16(0..1_u64 << 16);
        let breaks = prop::collection::vec(0..17_usize, 0..=27);
        (times, rest, needles, breaks).prop_map(|(t, r, needle_stitches, breaks)| {
            let mut delta = Counters {
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
                *delta.needle_breaks.get_mut(needle).unwrap_or(&mut delta.unattributed_breaks) += 1;
            }
            delta
        })
    }

    proptest! {
        #[test]
        fn a_checkpoint_comes_back(
            delta in delta(), base_slot in 0..1_024_u16, binding in 0..1_024_u16,
            entry in 0..1_024_u16,
        ) {
            let checkpoint = Checkpoint {
                base_slot,
                binding,
                entry_slot: (entry != base_slot).then_some(entry),
                delta,
            };
            prop_assert!(room::<Sound>(&delta) < 256);
            prop_assert_eq!(Checkpoint::decode(&checkpoint.encode::<Sound>()), checkpoint);
        }

        #[test]
        fn delta_that_does_not_fit_is_capped_below_the_truth(
            scale in 1..1_u64 << 40, breaks in 0..100_u32,
        ) {
            let delta = Counters {
                powered_ms: scale,
                running_ms: scale / 2,
                needle_stitches: [scale / 100; NEEDLES_MAX],
                needle_breaks: [breaks; NEEDLES_MAX],
                unattributed_breaks: breaks,
                jumps: scale,
                trims: scale / 3,
                ..Counters::default()
            };
            let checkpoint = Checkpoint { base_slot: 1, binding: 2, entry_slot: None, delta };
            let back = Checkpoint::decode(&checkpoint.encode::<Sound>()).delta;
            prop_assert!(back.at_most(&delta));
            // Capped, not wrapped: the most that the field holds.
            let capped = |value: u64, width: u32| value.min((1 << width) - 1);
            prop_assert_eq!(back.powered_ms, capped(delta.powered_ms, 25));
            prop_assert_eq!(back.running_ms, capped(delta.running_ms, 24));
            prop_assert_eq!(back.needle_stitches[15], capped(delta.needle_stitches[15], 16));
            prop_assert_eq!(back.jumps, capped(delta.jumps, 16));
            prop_assert_eq!(back.trims, capped(delta.trims, 12));
            prop_assert_eq!(back.breaks(), delta.breaks().min(27));
            prop_assert_eq!(back == delta, room::<Sound>(&delta) < 256);
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
