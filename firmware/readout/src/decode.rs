//! From what was heard to what was meant, or a refusal.
//!
//! Of the six parity symbols, [`KEPT`] are never used up for correction. So what is corrected
//! is at most two wrong symbols, or four unheard ones, or one wrong symbol beside one or two
//! unheard ones.
//!
//! Any two codes differ in at least seven symbols, and what is accepted differs from its code
//! in at most two wrong ones. So four wrong symbols never come near another code. What cannot be
//! corrected is refused, never guessed.

use core::fmt;

use heapless::Vec;

use crate::code::{Code, MASK, PARITY, SYMBOLS};
use crate::heard::Heard;
use crate::reed_solomon::{Uncorrectable, correct};
use crate::state::{DATA, ReadOut, StateError};

/// Parity symbols that are kept for detection.
pub const KEPT: usize = 2;

/// A symbol that was corrected or filled in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Mended {
    /// Its place, 0 to 29.
    pub place: usize,
    /// What was heard, 0 to 31; `None` for nothing.
    pub heard: Option<u8>,
    /// What was meant, 0 to 31.
    pub meant: u8,
}

/// A code that was understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decoded {
    /// What it says.
    pub read_out: ReadOut,
    /// The code as it was meant.
    pub code: Code,
    /// What was corrected or filled in, first place first.
    pub mended: Vec<Mended, PARITY>,
}

/// Why a code was not understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Refused {
    /// More symbols were not heard than can be filled in.
    Unheard(usize),
    /// More symbols are wrong than may be corrected, besides this many not heard.
    Wrong(usize),
    /// It was corrected, but says what this program does not understand.
    State(StateError),
}

/// Decodes what was heard.
///
/// # Errors
/// [`Refused`].
pub fn decode(heard: &Heard) -> Result<Decoded, Refused> {
    decode_keeping(heard, KEPT)
}

/// Decodes what was heard, with `kept` parity symbols kept for detection: only for
/// showing what happens when it is not [`KEPT`].
///
/// # Errors
/// [`Refused`].
pub fn decode_keeping(heard: &Heard, kept: usize) -> Result<Decoded, Refused> {
    let heard = heard.symbols();
    let masked: [Option<u8>; SYMBOLS] =
        core::array::from_fn(|n| heard[n].map(|symbol| symbol ^ MASK[n]));
    let unheard = heard.iter().filter(|symbol| symbol.is_none()).count();
    let word = correct::<SYMBOLS, PARITY>(&masked, kept).map_err(|why| match why {
        Uncorrectable::Unheard => Refused::Unheard(unheard),
        Uncorrectable::Wrong => Refused::Wrong(unheard),
    })?;
    let data: [u8; DATA] = core::array::from_fn(|n| word[n]);
    let read_out = ReadOut::from_symbols(&data).map_err(Refused::State)?;
    let code = Code::masked(&word);
    let mut mended = Vec::new();
    for (place, (heard, meant)) in heard.iter().zip(code.symbols()).enumerate() {
        if *heard != Some(*meant) {
            // There is room: no more are mended than there are parity symbols.
            let _ = mended.push(Mended { place, heard: *heard, meant: *meant });
        }
    }
    Ok(Decoded { read_out, code, mended })
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let again = "ask for it once more, group by group";
        match self {
            Self::Unheard(unheard) => {
                let most = PARITY - KEPT;
                write!(
                    f,
                    "{unheard} symbols were not heard, at most {most} can be filled in: {again}"
                )
            }
            Self::Wrong(0) => write!(f, "three or more symbols are wrong: {again}"),
            Self::Wrong(unheard @ (1 | 2)) => {
                write!(f, "{unheard} not heard and two or more wrong: {again}")
            }
            Self::Wrong(unheard) => write!(f, "{unheard} not heard and one or more wrong: {again}"),
            Self::State(StateError::Version(version)) => {
                write!(f, "a code of version {version}, which this program does not know: {again}")
            }
            Self::State(StateError::Contradiction) => {
                write!(f, "what it says cannot be, so too much is wrong: {again}")
            }
            Self::State(StateError::Fault(n)) => write_unknown(f, "fault", *n),
            Self::State(StateError::Kind(n)) => write_unknown(f, "component", *n),
            Self::State(StateError::Hint(n)) => write_unknown(f, "hint", *n),
        }
    }
}

fn write_unknown(f: &mut fmt::Formatter<'_>, what: &str, number: u8) -> fmt::Result {
    write!(
        f,
        "it names {what} {number}, which this program does not know: ask for it once more; \
         if it stays, the board is newer than this program"
    )
}
