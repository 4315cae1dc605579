//! The thirty symbols.

use core::fmt;

use shaftbook_care::machine::Machine;

/// Symbols in a code.
pub const SYMBOLS: usize = 30;

/// A read-out code: thirty symbols of 5 bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Code([u8; SYMBOLS]);

impl Code {
    /// The code of a machine; `None` until its past is known.
    #[must_use]
    pub fn of(machine: &Machine<'_>) -> Option<Self> {
        machine.lifetime.map(|_| Self([0; SYMBOLS]))
    }

    /// Its symbols as ASCII letters and digits.
    #[must_use]
    pub fn ascii(&self) -> [u8; SYMBOLS] {
        self.0.map(|s| *b"0123456789ABCDEFGHJKMNPQRSTVWXYZ".get(usize::from(s)).unwrap_or(&b'?'))
    }
}

impl fmt::Display for Code {
    /// Six groups of five, a space between them.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, symbol) in self.ascii().iter().enumerate() {
            if n != 0 && n % 5 == 0 {
                f.write_str(" ")?;
            }
            write!(f, "{}", char::from(*symbol))?;
        }
        Ok(())
    }
}
