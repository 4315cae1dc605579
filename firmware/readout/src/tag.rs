//! A board's tag: eight symbols that a person can read aloud and write down.

use core::fmt;

use sha2::{Digest, Sha256};
use shaftbook_core::identity::BoardId;

/// The first 35 bits of SHA-256 over the identity, and a check symbol.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct BoardTag([u8; 8]);

impl BoardTag {
    /// The tag of a board.
    #[must_use]
    pub fn of(id: BoardId) -> Self {
        let digest = Sha256::digest(id.0.to_be_bytes());
        let word = digest.first_chunk::<8>().map_or(0, |w| u64::from_be_bytes(*w));
        let mut symbols = [0; 8];
        for (n, symbol) in symbols.iter_mut().take(7).enumerate() {
            *symbol = (word >> (59 - 5 * n)) as u8 & 31;
        }
        symbols[7] = symbols[..7].iter().fold(0, |sum, s| sum ^ s);
        Self(symbols)
    }
}

impl fmt::Display for BoardTag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, symbol) in self.0.iter().enumerate() {
            if n == 4 {
                f.write_str("-")?;
            }
            let symbol = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ".get(usize::from(*symbol));
            write!(f, "{}", char::from(*symbol.unwrap_or(&b'?')))?;
        }
        Ok(())
    }
}
