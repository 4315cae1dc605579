//! What a person heard and wrote down: thirty symbols, or the reason why it is no code.
//!
//! Invariants: any text gives thirty symbols or one named error; no symbol is dropped or added
//! to make it fit. Work: the text is read once.

use core::fmt;

use crate::alphabet::{Stranger, Written, read};
use crate::code::{GROUP, SYMBOLS};

/// Groups in a code.
const GROUPS: usize = SYMBOLS / GROUP;

/// A group that is short or long.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct OddGroup {
    /// Which, from 1.
    pub number: usize,
    /// How many symbols it has.
    pub symbols: usize,
}

/// Thirty symbols as they were heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Heard {
    symbols: [Option<u8>; SYMBOLS],
    odd_group: Option<OddGroup>,
}

/// Why a text is not thirty symbols.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HeardError {
    /// A character that is not in the alphabet.
    Stranger(Stranger),
    /// Too few or too many symbols: one was dropped or doubled.
    Count {
        /// How many there are.
        heard: usize,
        /// In how many groups.
        groups: usize,
        /// The first group that is not five long, if there is more than one group.
        odd_group: Option<OddGroup>,
    },
}

impl Heard {
    /// Reads `text`: spaces, dashes and case do not matter, O is 0, I and L are 1, `?`
    /// is a symbol that was not heard.
    ///
    /// # Errors
    /// [`HeardError`]: the first character that is no symbol, or a wrong count.
    pub fn parse(text: &str) -> Result<Self, HeardError> {
        let mut symbols = [None; SYMBOLS];
        let (mut heard, mut in_group) = (0, 0);
        let mut groups = Groups::default();
        for character in text.chars() {
            let symbol = match read(character) {
                Written::Gap => {
                    groups.close(in_group);
                    in_group = 0;
                    continue;
                }
                Written::Symbol(symbol) => Some(symbol),
                Written::Unheard => None,
                Written::Stranger => {
                    let (place, in_group) = (heard + 1, (groups.closed + 1, in_group + 1));
                    return Err(HeardError::Stranger(Stranger { character, place, in_group }));
                }
            };
            if let Some(place) = symbols.get_mut(heard) {
                *place = symbol;
            }
            (heard, in_group) = (heard + 1, in_group + 1);
        }
        groups.close(in_group);
        let odd_group = groups.odd.filter(|_| groups.closed > 1);
        if heard != SYMBOLS {
            return Err(HeardError::Count { heard, groups: groups.closed, odd_group });
        }
        Ok(Self { symbols, odd_group })
    }

    /// The symbols, 0 to 31 each; `None` is one that was not heard.
    #[must_use]
    pub const fn symbols(&self) -> &[Option<u8>; SYMBOLS] {
        &self.symbols
    }

    /// The first group that is not five long, though there are thirty symbols.
    #[must_use]
    pub const fn odd_group(&self) -> Option<OddGroup> {
        self.odd_group
    }
}

/// Groups closed, and the first of them that is not five long.
#[derive(Default)]
struct Groups {
    closed: usize,
    odd: Option<OddGroup>,
}

impl Groups {
    fn close(&mut self, symbols: usize) {
        if symbols > 0 {
            self.closed += 1;
            if symbols != GROUP && self.odd.is_none() {
                self.odd = Some(OddGroup { number: self.closed, symbols });
            }
        }
    }
}

impl fmt::Display for OddGroup {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = if self.symbols < GROUP { "short" } else { "long" };
        write!(f, "group {} is {size}: {} instead of {GROUP}", self.number, self.symbols)
    }
}

impl fmt::Display for HeardError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Stranger(stranger) => write!(f, "{stranger}; ? if unheard"),
            Self::Count { heard, groups, odd_group } => {
                write!(f, "{heard} symbols, a code has {SYMBOLS}: ")?;
                match odd_group {
                    Some(odd) => write!(f, "{odd}; ask for that group once more"),
                    None if groups > 1 && groups < GROUPS => {
                        write!(f, "only {groups} groups of {GROUPS}; ask for the missing one")
                    }
                    None => f.write_str("ask for it once more, group by group"),
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CODE: &str = "01234 56789 ABCDE FGHJK MNPQR STVWX";

    fn refused(text: &str) -> HeardError {
        Heard::parse(text).unwrap_err()
    }

    fn count(heard: usize, groups: usize, odd: Option<(usize, usize)>) -> HeardError {
        let odd_group = odd.map(|(number, symbols)| OddGroup { number, symbols });
        HeardError::Count { heard, groups, odd_group }
    }

    #[test]
    fn thirty_symbols_are_read_however_they_are_set() {
        let code = Heard::parse(CODE).unwrap();
        assert_eq!(code.symbols()[29], Some(29));
        for text in [
            "0123456789ABCDEFGHJKMNPQRSTVWXYZ".get(..30).unwrap(),
            "oi234-56789-abcde-fghjk-mnpqr-stvwx",
            "  OL234\t56789\nABCDE – FGHJK — MNPQR STVWX\n",
        ] {
            assert_eq!(Heard::parse(text).unwrap().symbols(), code.symbols(), "{text}");
        }
        let heard = Heard::parse("0123? 56789 ABCDE FGHJK MNPQR STVW?").unwrap();
        assert_eq!((heard.symbols()[4], heard.symbols()[28]), (None, Some(28)));
        assert_eq!((heard.symbols()[29], heard.odd_group()), (None, None));
    }

    #[test]
    fn a_dropped_or_doubled_symbol_is_refused_and_its_group_named() {
        assert_eq!(refused(""), count(0, 0, None));
        assert_eq!(refused("0123456789ABCDEFGHJKMNPQRSTVW"), count(29, 1, None));
        assert_eq!(refused("01234 5678 ABCDE FGHJK MNPQR STVWX"), count(29, 6, Some((2, 4))));
        assert_eq!(refused("01234 56789 ABCDE FGHJK MNPQR STVWXX"), count(31, 6, Some((6, 6))));
        assert_eq!(refused("01234 56789 ABCDE FGHJK MNPQR"), count(25, 5, None));
        let odd = Heard::parse("01234 5678 ABCDEE FGHJK MNPQR STVWX").unwrap().odd_group();
        assert_eq!(odd, Some(OddGroup { number: 2, symbols: 4 }));
    }

    #[test]
    fn a_stranger_is_named_with_its_place() {
        let stranger = |character, place, in_group| {
            HeardError::Stranger(Stranger { character, place, in_group })
        };
        assert_eq!(refused("01234 56U89"), stranger('U', 8, (2, 3)));
        assert_eq!(refused("*"), stranger('*', 1, (1, 1)));
    }
}
