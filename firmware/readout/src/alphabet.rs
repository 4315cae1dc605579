//! The thirty-two letters and digits, and what a person may write for them.
//!
//! I, L, O and U are left out: I and L look like 1, O like 0, and U sounds like a vowel
//! in a word and looks like V. If a person writes them nevertheless, I and L are read as 1
//! and O as 0; a U is not guessed.

use core::fmt;

/// The letter or digit of each symbol.
pub const LETTERS: [u8; 32] = *b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// The letter or digit of `symbol`, of which only the low 5 bits count.
#[must_use]
pub fn letter(symbol: u8) -> char {
    char::from(LETTERS[usize::from(symbol & 31)])
}

/// What one written character stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Written {
    /// A symbol, 0 to 31.
    Symbol(u8),
    /// `?`: a symbol that was not heard.
    Unheard,
    /// A space or dash between groups.
    Gap,
    /// Nothing of the alphabet.
    Stranger,
}

/// What `character` stands for: small letters are as good as capitals, O is 0, I and L
/// are 1.
#[must_use]
pub fn read(character: char) -> Written {
    let symbol = match character.to_ascii_uppercase() {
        'O' => 0,
        'I' | 'L' => 1,
        '?' => return Written::Unheard,
        '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' => return Written::Gap,
        gap if gap.is_whitespace() => return Written::Gap,
        other => match LETTERS.iter().position(|l| char::from(*l) == other) {
            Some(symbol) => symbol as u8,
            None => return Written::Stranger,
        },
    };
    Written::Symbol(symbol)
}

/// A character that is not in the alphabet, and where it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stranger {
    /// The character.
    pub character: char,
    /// Its place among the symbols, from 1; spaces and dashes do not count.
    pub place: usize,
    /// Its group, from 1, and its place in the group, from 1.
    pub in_group: (usize, usize),
}

impl fmt::Display for Stranger {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (group, place) = self.in_group;
        if self.character.is_control() {
            write!(f, "a control character")?;
        } else {
            write!(f, "`{}`", self.character)?;
        }
        write!(f, " at symbol {} (group {group}, place {place}) ", self.place)?;
        match self.character {
            'U' | 'u' => f.write_str("is never used: listen again, it may be V"),
            _ => f.write_str("is no letter or digit of the alphabet"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_letter_reads_as_its_symbol_large_or_small() {
        for symbol in 0..32 {
            assert_eq!(read(letter(symbol)), Written::Symbol(symbol));
            assert_eq!(read(letter(symbol).to_ascii_lowercase()), Written::Symbol(symbol));
        }
    }

    #[test]
    fn the_usual_confusions_are_taken_and_all_else_is_a_stranger() {
        for (written, symbol) in [('o', 0), ('O', 0), ('i', 1), ('I', 1), ('l', 1), ('L', 1)] {
            assert_eq!(read(written), Written::Symbol(symbol));
        }
        for gap in [' ', '\t', '\n', '\u{A0}', '-', '–', '—', '−'] {
            assert_eq!(read(gap), Written::Gap, "{gap:?}");
        }
        assert_eq!(read('?'), Written::Unheard);
        for stranger in ['U', 'u', '.', '*', 'é', 'А', '０', '\0', '😀'] {
            assert_eq!(read(stranger), Written::Stranger, "{stranger:?}");
        }
    }
}
