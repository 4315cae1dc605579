//! The slots that failed and are never written again.

/// Most slots that can be retired; after that the memory counts as worn out.
pub const RETIRED_MAX: usize = 64;
/// Most slots of a ring.
const SLOTS_MAX: u16 = 1_024;

/// A set of slots, at most [`RETIRED_MAX`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Retired {
    /// Bit `n % 8` of byte `n / 8`: slot `n`.
    bits: [u8; SLOTS_MAX as usize / 8],
    count: u8,
}

impl Retired {
    /// Whether `slot` is retired.
    #[must_use]
    pub fn contains(&self, slot: u16) -> bool {
        self.count > 0
            && self.bits.get(usize::from(slot / 8)).is_some_and(|b| b >> (slot % 8) & 1 == 1)
    }

    /// Retires `slot`; `false` when there is no room to remember it.
    pub fn insert(&mut self, slot: u16) -> bool {
        if self.contains(slot) {
            return true;
        }
        match self.bits.get_mut(usize::from(slot / 8)) {
            Some(byte) if usize::from(self.count) < RETIRED_MAX => {
                *byte |= 1 << (slot % 8);
                self.count += 1;
                true
            }
            _ => false,
        }
    }

    /// How many are retired.
    #[must_use]
    pub fn len(&self) -> usize {
        usize::from(self.count)
    }

    /// Whether none is retired.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// The first retired slot from `slot` on; one past the last possible if there is
    /// none.
    #[must_use]
    pub fn first_from(&self, slot: u16) -> u16 {
        let mut slot = slot;
        while slot < SLOTS_MAX && !self.contains(slot) {
            slot += 1;
        }
        slot
    }

    /// The retired slots, in order.
    pub fn iter(&self) -> impl Iterator<Item = u16> + '_ {
        (0..SLOTS_MAX).filter(|slot| self.contains(*slot)).take(self.len())
    }
}

impl Default for Retired {
    fn default() -> Self {
        Self { bits: [0; SLOTS_MAX as usize / 8], count: 0 }
    }
}
