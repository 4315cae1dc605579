//! Where records go: the part as a ring of slots, written in turn, lap after lap.
//!
//! A slot is the larger of a record and a page, so that tearing one page never
//! touches two records. A [`Place`] is a slot in a lap; later places come after
//! earlier ones in the sense of RFC 1982.

use crate::codec::frame::RECORD_BYTES;
use crate::medium::Geometry;
use crate::retired::{RETIRED_MAX, Retired};
use crate::rules::Rules;
use crate::serial::Lap;

/// A slot in a lap.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Place {
    /// Lap round the ring.
    pub lap: Lap,
    /// Slot, 0 to `slots` − 1.
    pub slot: u16,
}

impl Place {
    /// Whether this place was written after `other`.
    #[must_use]
    pub fn is_after<R: Rules>(self, other: Self) -> bool {
        if self.lap == other.lap {
            self.slot > other.slot
        } else {
            R::lap_is_newer(self.lap, other.lap)
        }
    }
}

/// The part as a ring of slots.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ring {
    slots: u16,
    slot_bytes: u16,
}

impl Ring {
    /// The ring on the reference part.
    pub const REFERENCE: Self = Self { slots: 512, slot_bytes: RECORD_BYTES as u16 };

    /// The ring on a part of this shape; `None` for a shape that is not supported.
    #[must_use]
    pub fn new(geometry: Geometry) -> Option<Self> {
        if !geometry.is_supported() {
            return None;
        }
        let slot_bytes = geometry.page_bytes.max(RECORD_BYTES as u16);
        // A power of two: no division.
        let slots = (geometry.size_bytes >> slot_bytes.trailing_zeros()) as u16;
        Some(Self { slots, slot_bytes })
    }

    /// Number of slots, 64 to 1,024.
    #[must_use]
    pub const fn slots(self) -> u16 {
        self.slots
    }

    /// The slot `ahead` (at most a lap) after `slot`.
    #[must_use]
    pub const fn ahead(self, slot: u16, ahead: u16) -> u16 {
        let sum = slot + ahead;
        if sum < self.slots { sum } else { sum - self.slots }
    }

    /// First address of `slot`.
    #[must_use]
    pub const fn address(self, slot: u16) -> u32 {
        slot as u32 * self.slot_bytes as u32
    }

    /// The place after `place`.
    #[must_use]
    pub fn after<R: Rules>(self, place: Place) -> Place {
        let slots = R::slots_used(self.slots);
        if place.slot + 1 < slots {
            Place { slot: place.slot + 1, ..place }
        } else {
            Place { slot: 0, lap: place.lap.plus(1) }
        }
    }

    /// The first place after `place` that is not retired. Work: at most
    /// `RETIRED_MAX` steps.
    #[must_use]
    pub fn usable_after<R: Rules>(self, place: Place, retired: &Retired) -> Place {
        let mut next = self.after::<R>(place);
        for _ in 0..RETIRED_MAX {
            if !retired.contains(next.slot) {
                break;
            }
            next = self.after::<R>(next);
        }
        next
    }

    /// The place before `place`.
    #[must_use]
    pub const fn before(self, place: Place) -> Place {
        if place.slot > 0 {
            Place { slot: place.slot - 1, ..place }
        } else {
            Place { slot: self.slots - 1, lap: place.lap.previous() }
        }
    }

    /// Slots from `from` on to `to`, 0 to `slots` − 1.
    #[must_use]
    pub const fn distance(self, from: u16, to: u16) -> u16 {
        if to >= from { to - from } else { to + self.slots - from }
    }

    /// The last place at which `slot` was written when `newest` was the newest.
    #[must_use]
    pub const fn last_written(self, slot: u16, newest: Place) -> Place {
        let lap = if slot <= newest.slot { newest.lap } else { newest.lap.previous() };
        Place { lap, slot }
    }
}
