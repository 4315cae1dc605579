//! A board's tag: eight symbols that a person can read aloud and write down.
//!
//! ```text
//! symbol  0 … 6                                            7
//!         ┌──────────────────────────────────────────────┬───────┐
//!         │ first 35 bits of SHA-256 of the identity,     │ check │
//!         │ 8 bytes, the highest first                    │       │
//!         └──────────────────────────────────────────────┴───────┘
//! ```
//!
//! In the sum, over GF(32), symbol `n` has the weight 2ⁿ⁺¹ and the check symbol the weight 1.
//! The check symbol is chosen so that the sum of all eight is [`SUM`].
//!
//! Invariants: one wrong symbol gives another sum, and so do two different symbols that are
//! swapped, because no weight is 0 and no two weights are the same. So both are always noticed.
//! Eight zeros are not a tag, because their sum is 0 and [`SUM`] is not.

use core::fmt;

use sha2::{Digest, Sha256};
use shaftbook_core::identity::BoardId;

use crate::alphabet::{Stranger, Written, letter, read};
use crate::gf32::{power, times};

/// Symbols in a tag.
pub const SYMBOLS: usize = 8;
/// What the weighed symbols of a tag add up to.
pub const SUM: u8 = 1;

/// The first 35 bits of SHA-256 over the identity, and a check symbol.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct BoardTag([u8; SYMBOLS]);

/// The first four symbols of a tag: as much of it as a read-out code carries. Of 1,000
/// boards, some two will have the same with a chance of 38 %; two given boards, with 1 in
/// 1,048,576.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct TagStart(u32);

/// Why a text is no tag.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TagError {
    /// A character that is not in the alphabet.
    Stranger(Stranger),
    /// Not eight symbols, but this many.
    Count(usize),
    /// The check symbol does not fit: a symbol is wrong, or two are swapped.
    Check,
}

impl BoardTag {
    /// The tag of a board.
    #[must_use]
    pub fn of(id: BoardId) -> Self {
        let digest = Sha256::digest(id.0.to_be_bytes());
        let word = digest.first_chunk::<8>().map_or(0, |w| u64::from_be_bytes(*w));
        let mut symbols = [0; SYMBOLS];
        for (n, symbol) in symbols.iter_mut().take(SYMBOLS - 1).enumerate() {
            *symbol = (word >> (59 - 5 * n)) as u8 & 31;
        }
        symbols[SYMBOLS - 1] = SUM ^ sum(symbols);
        Self(symbols)
    }

    /// The tag that `text` writes: spaces, dashes and case do not matter, O is 0, I and L
    /// are 1.
    ///
    /// # Errors
    /// [`TagError`], the first that applies.
    pub fn parse(text: &str) -> Result<Self, TagError> {
        let (mut symbols, mut heard) = ([0; SYMBOLS], 0);
        let (mut group, mut in_group) = (1, 0);
        for character in text.chars() {
            match read(character) {
                Written::Gap if in_group > 0 => (group, in_group) = (group + 1, 0),
                Written::Gap => {}
                Written::Symbol(symbol) => {
                    if let Some(place) = symbols.get_mut(heard) {
                        *place = symbol;
                    }
                    (heard, in_group) = (heard + 1, in_group + 1);
                }
                Written::Unheard | Written::Stranger => {
                    let in_group = (group, in_group + 1);
                    let place = heard + 1;
                    return Err(TagError::Stranger(Stranger { character, place, in_group }));
                }
            }
        }
        if heard != SYMBOLS {
            return Err(TagError::Count(heard));
        }
        if sum(symbols) == SUM { Ok(Self(symbols)) } else { Err(TagError::Check) }
    }

    /// Its symbols, 0 to 31 each.
    #[must_use]
    pub const fn symbols(&self) -> &[u8; SYMBOLS] {
        &self.0
    }

    /// Its first four symbols.
    #[must_use]
    pub fn start(&self) -> TagStart {
        TagStart(self.0.iter().take(4).fold(0, |bits, symbol| bits << 5 | u32::from(*symbol)))
    }
}

/// The weighed sum over GF(32).
fn sum(symbols: [u8; SYMBOLS]) -> u8 {
    let weighed = symbols.iter().enumerate().map(|(n, symbol)| match n {
        7 => *symbol,
        n => times(power(n + 1), *symbol),
    });
    weighed.fold(0, |sum, symbol| sum ^ symbol)
}

impl TagStart {
    /// Bits in it.
    pub const BITS: u32 = 20;

    /// The start with these bits, of which the low 20 count: the first symbol highest.
    #[must_use]
    pub const fn from_bits(bits: u32) -> Self {
        Self(bits & ((1 << Self::BITS) - 1))
    }

    /// Its bits, the first symbol highest.
    #[must_use]
    pub const fn bits(self) -> u32 {
        self.0
    }
}

impl fmt::Display for BoardTag {
    /// Two groups of four, a dash between them.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, symbol) in self.0.iter().enumerate() {
            if n == 4 {
                f.write_str("-")?;
            }
            write!(f, "{}", letter(*symbol))?;
        }
        Ok(())
    }
}

impl fmt::Display for TagStart {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        (0..4).rev().try_for_each(|n| write!(f, "{}", letter((self.0 >> (5 * n)) as u8)))
    }
}

impl fmt::Display for TagError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Stranger(stranger) => stranger.fmt(f),
            Self::Count(heard) => write!(f, "{heard} symbols: a board's tag has 8"),
            Self::Check => f.write_str("the check symbol does not fit: a symbol is wrong"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::fmt::Write;
    use proptest::prelude::*;

    fn written(tag: BoardTag) -> heapless::String<16> {
        let mut text = heapless::String::new();
        write!(text, "{tag}").unwrap();
        text
    }

    /// SHA-256 of eight zero bytes begins AF5570F5A1810B7A (Python's `hashlib`).
    #[test]
    fn the_tag_is_the_start_of_sha_256() {
        let tag = BoardTag::of(BoardId(0));
        let bits = tag.0[..7].iter().fold(0_u64, |bits, s| bits << 5 | u64::from(*s));
        assert_eq!(bits, 0xAF55_70F5_A181_0B7A >> 29);
        assert_eq!(u64::from(tag.start().bits()), 0xAF55_70F5_A181_0B7A >> 44);
        assert!(written(tag).starts_with("NXAQ-1"), "{tag}");
    }

    #[test]
    fn what_is_no_tag_is_named() {
        assert_eq!(BoardTag::parse(""), Err(TagError::Count(0)));
        assert_eq!(BoardTag::parse("0000-0000-0"), Err(TagError::Count(9)));
        assert_eq!(BoardTag::parse("0000-0000"), Err(TagError::Check));
        let stranger = Stranger { character: 'U', place: 6, in_group: (2, 2) };
        assert_eq!(BoardTag::parse("0000-0U00"), Err(TagError::Stranger(stranger)));
        let stranger = Stranger { character: '?', place: 1, in_group: (1, 1) };
        assert_eq!(BoardTag::parse(" ?000-0000"), Err(TagError::Stranger(stranger)));
    }

    proptest! {
        #[test]
        fn a_tag_reads_back_in_any_case_with_any_confusion(id: u64) {
            let tag = BoardTag::of(BoardId(id));
            let mut text = written(tag);
            prop_assert_eq!(BoardTag::parse(&text), Ok(tag));
            text.make_ascii_lowercase();
            prop_assert_eq!(BoardTag::parse(&text), Ok(tag));
            let mut confused = heapless::String::<16>::new();
            for c in text.chars() {
                let _ = confused.push(match c { '0' => 'o', '1' => 'l', '-' => ' ', c => c });
            }
            prop_assert_eq!(BoardTag::parse(&confused), Ok(tag));
        }

        #[test]
        fn one_wrong_symbol_or_a_swap_is_always_noticed(id: u64) {
            let tag = BoardTag::of(BoardId(id));
            for place in 0..SYMBOLS {
                for by in 1..32 {
                    let mut wrong = tag.0;
                    wrong[place] ^= by;
                    prop_assert_ne!(sum(wrong), SUM);
                }
                for other in 0..place {
                    let mut wrong = tag.0;
                    wrong.swap(place, other);
                    prop_assert_eq!(sum(wrong) == SUM, wrong == tag.0);
                }
            }
        }

        #[test]
        fn any_text_is_a_tag_or_a_named_error(text in "\\PC*") {
            if let Ok(tag) = BoardTag::parse(&text) {
                prop_assert_eq!(BoardTag::parse(&written(tag)), Ok(tag));
            }
        }
    }
}
