//! The slots that failed and are never written again.

use heapless::Vec;

/// Most slots that can be retired; after that the memory counts as worn out.
pub const RETIRED_MAX: usize = 64;

/// A set of slots, at most [`RETIRED_MAX`], kept sorted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Retired {
    slots: Vec<u16, RETIRED_MAX>,
}

impl Retired {
    /// Whether `slot` is retired.
    #[must_use]
    pub fn contains(&self, slot: u16) -> bool {
        !self.slots.is_empty() && self.slots.binary_search(&slot).is_ok()
    }

    /// Retires `slot`; `false` when there is no room to remember it.
    pub fn insert(&mut self, slot: u16) -> bool {
        match self.slots.binary_search(&slot) {
            Ok(_) => true,
            Err(place) => self.slots.insert(place, slot).is_ok(),
        }
    }

    /// How many are retired.
    #[must_use]
    pub fn len(&self) -> usize {
        self.slots.len()
    }

    /// Whether none is retired.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.slots.is_empty()
    }

    /// The retired slots, in order.
    pub fn iter(&self) -> impl Iterator<Item = u16> + '_ {
        self.slots.iter().copied()
    }
}
