//! The thirty symbols, as they are shown and read aloud.
//!
//! ```text
//! symbol  0                                      23 24       29
//!         ┌────────────────────────────────────────┬──────────┐
//!         │ state, 120 bits (`state`)              │ parity   │  + MASK, symbol by symbol
//!         └────────────────────────────────────────┴──────────┘
//! ```
//!
//! The parity is that of [`crate::reed_solomon`] over the 24 symbols before it. Then each
//! symbol is added (XOR) to its symbol of the mask, which is fixed and different at each place.
//!
//! The mask is there because a Reed–Solomon word does not tell at which place it begins.
//! Without it, thirty zeros would be a good code, and so would a code that has lost a zero at
//! its beginning and gained one at its end.

use core::fmt;

use shaftbook_care::machine::Machine;

use crate::alphabet::{LETTERS, letter};
use crate::reed_solomon::parity;
use crate::rules::ReadRules;
use crate::state::{DATA, ReadOut};

/// Symbols in a code.
pub const SYMBOLS: usize = 30;
/// Parity symbols among them.
pub const PARITY: usize = SYMBOLS - DATA;
/// Symbols in a group.
pub const GROUP: usize = 5;

/// What the mask is made of: the first 150 bits of SHA-256 over it.
pub const MASK_LABEL: &str = "Shaftbook read-out code, version 1";
/// Added to the thirty symbols: `6VRX4 NE0A0 166HV N96C9 R5AFT KQSF8`.
pub const MASK: [u8; SYMBOLS] = [
    6, 27, 24, 29, 4, 21, 14, 0, 10, 0, 1, 6, 6, 17, 27, 21, 9, 6, 12, 9, 24, 5, 10, 15, 26, 19,
    23, 25, 15, 8,
];

/// A read-out code: thirty symbols of 5 bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Code([u8; SYMBOLS]);

impl Code {
    /// The code of a machine; `None` until its past is known.
    #[must_use]
    pub fn of<R: ReadRules>(machine: &Machine<'_, R>) -> Option<Self> {
        ReadOut::of(machine).map(|read_out| Self::saying(&read_out))
    }

    /// The code that says `read_out`.
    #[must_use]
    pub fn saying(read_out: &ReadOut) -> Self {
        let data = read_out.to_symbols();
        let parity: [u8; PARITY] = parity(&data);
        let mut word = [0; SYMBOLS];
        for (symbol, of) in word.iter_mut().zip(data.iter().chain(&parity)) {
            *symbol = *of;
        }
        Self::masked(&word)
    }

    /// The code of a Reed–Solomon word.
    pub(crate) fn masked(word: &[u8; SYMBOLS]) -> Self {
        Self(core::array::from_fn(|n| (word[n] ^ MASK[n]) & 31))
    }

    /// Its symbols, 0 to 31 each, as shown.
    #[must_use]
    pub const fn symbols(&self) -> &[u8; SYMBOLS] {
        &self.0
    }

    /// Its symbols as ASCII letters and digits.
    #[must_use]
    pub fn ascii(&self) -> [u8; SYMBOLS] {
        self.0.map(|symbol| LETTERS[usize::from(symbol & 31)])
    }
}

impl fmt::Display for Code {
    /// Six groups of five, a space between them.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, symbol) in self.0.iter().enumerate() {
            if n != 0 && n % GROUP == 0 {
                f.write_str(" ")?;
            }
            write!(f, "{}", letter(*symbol))?;
        }
        Ok(())
    }
}

/// A symbol's group and its place in it, both from 1; `place` is from 0.
#[must_use]
pub const fn group_and_place(place: usize) -> (usize, usize) {
    (place / GROUP + 1, place % GROUP + 1)
}
