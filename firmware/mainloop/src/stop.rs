//! A panic or hard fault, kept over the watchdog's reset.
//!
//! Purpose: the firmware that stops writes four words where a reset leaves them as they are
//! (scratch registers, or memory that start-up does not clear). The firmware that starts next
//! reads them, tells the board, and clears them.
//!
//! Invariant: what was not written whole is not taken for a record: the noise in these words at
//! power-up passes for one with a chance of 1 in 2^64.

/// Words of a record.
pub const STOP_WORDS: usize = 4;
/// Says that a record follows.
const MARK: u32 = 0x5B0C_570D;

/// How the firmware stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StopKind {
    /// A panic; the place is its line number.
    Panic = 1,
    /// A hard fault; the place is the program counter.
    HardFault = 2,
}

/// A stop, as it is recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stop {
    /// How.
    pub kind: StopKind,
    /// Where: see [`StopKind`].
    pub place: u32,
}

impl Stop {
    /// The four words to keep.
    #[must_use]
    pub const fn to_words(self) -> [u32; STOP_WORDS] {
        let kind = self.kind as u32;
        [MARK, kind, self.place, check(kind, self.place)]
    }

    /// The record in `words`; `None` when there is none.
    #[must_use]
    pub const fn from_words(words: [u32; STOP_WORDS]) -> Option<Self> {
        let [mark, kind, place, sum] = words;
        if mark != MARK || sum != check(kind, place) {
            return None;
        }
        let kind = match kind {
            1 => StopKind::Panic,
            2 => StopKind::HardFault,
            _ => return None,
        };
        Some(Self { kind, place })
    }
}

const fn check(kind: u32, place: u32) -> u32 {
    !(MARK ^ kind.rotate_left(16) ^ place)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_written_is_read() {
        for kind in [StopKind::Panic, StopKind::HardFault] {
            let stop = Stop { kind, place: 0x1000_1234 };
            assert_eq!(Stop::from_words(stop.to_words()), Some(stop));
        }
    }

    #[test]
    fn half_a_record_is_none() {
        let words = Stop { kind: StopKind::Panic, place: 77 }.to_words();
        for n in 0..STOP_WORDS {
            let mut torn = words;
            torn[n] = 0;
            assert_eq!(Stop::from_words(torn), None, "word {n} was not written");
        }
        assert_eq!(Stop::from_words([0; STOP_WORDS]), None);
        assert_eq!(Stop::from_words([u32::MAX; STOP_WORDS]), None);
    }

    proptest! {
        #[test]
        fn noise_is_none(words: [u32; STOP_WORDS]) {
            prop_assert_eq!(Stop::from_words(words), None);
        }
    }
}
