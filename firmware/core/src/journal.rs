//! Journal entries: the only way in which anything but a counter changes.

use crate::component::COMPONENTS_MAX;
use crate::counters::Counters;
use crate::serial::Serial;

/// Number of a journal entry, counting on from the fitting: 20 bits.
pub type EntryNumber = Serial<20>;

/// What an entry records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Event {
    /// The components in `renewed` took a new baseline.
    Renewed = 1,
    /// A service: a new interval baseline, and `renewed` renewed with it.
    Served = 2,
    /// The memory slot in `subject` was retired.
    SlotRetired = 3,
    /// A reply to the service challenge was entered. Stored *before* it is judged, so
    /// that cutting the power does not give a free try.
    ReplyTried = 4,
    /// The fault whose number is in `subject` was first seen.
    FaultSeen = 5,
    /// The component at place `subject` came due by the calendar. Stored so that it is
    /// still due if the clock is dead at the next power-up.
    DueByDay = 6,
}

impl Event {
    /// The event that `code` stands for on the part.
    #[must_use]
    pub const fn from_code(code: u8) -> Option<Self> {
        Some(match code {
            1 => Self::Renewed,
            2 => Self::Served,
            3 => Self::SlotRetired,
            4 => Self::ReplyTried,
            5 => Self::FaultSeen,
            6 => Self::DueByDay,
            _ => return None,
        })
    }
}

/// The `subject` of an [`Event::Renewed`] that an engineer's reply authorised.
pub const AUTHORISED: u16 = 1;

/// A set of components, by their place in the profile (0 to 31).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ComponentSet(pub u32);

impl ComponentSet {
    /// The set with only the component at `place`; empty if there is no such place.
    #[must_use]
    pub const fn only(place: usize) -> Self {
        if place < COMPONENTS_MAX { Self(1 << place) } else { Self(0) }
    }

    /// Whether the component at `place` is in the set.
    #[must_use]
    pub const fn contains(self, place: usize) -> bool {
        place < COMPONENTS_MAX && self.0 >> place & 1 == 1
    }

    /// Both sets together.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

/// One journal entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Entry {
    /// Its number.
    pub number: EntryNumber,
    /// What happened.
    pub event: Event,
    /// What it happened to, 0 to 1,023: see [`Event`].
    pub subject: u16,
    /// Components that took a new baseline.
    pub renewed: ComponentSet,
    /// Calendar day number, 1 (1 January 2020) to 65,535, where a clock is fitted.
    pub day: Option<u16>,
    /// The lifetime measures at that moment (jumps, breaks, glitches and missed
    /// edges are not kept: nothing is measured by them).
    pub at: Counters,
}
