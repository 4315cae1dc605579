//! The engineer's authorisation: challenge and response.
//!
//! The board shows a challenge of eight digits; the engineer's bench tool, which
//! can derive the board's key, answers with eight digits. Method: OCRA (RFC 6287),
//! suite [`SUITE`]. The counter C is what the engineer means to allow:
//!
//! ```text
//! bit  63                32 31       16 15             0
//!     |       purpose      |  0        |  services done |
//! ```
//!
//! so that a reply is good for one [`Purpose`] at one service count of one board.
//!
//! Invariants: a key is never shown; replies are compared in constant time; the
//! replies for two purposes or two service counts have nothing to do with each other.
//!
//! Not done here: limiting the tries (`service`), deriving keys (the bench tool).

use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};

use crate::identity::BoardId;

/// Bytes in a board's key.
pub const KEY_BYTES: usize = 32;
/// The OCRA suite: HMAC-SHA-256, eight digits, counter and eight-digit question.
pub const SUITE: &str = "OCRA-1:HOTP-SHA256-8:C-QN08";

/// A board's secret key. `Debug` does not show it.
#[derive(Clone, PartialEq, Eq)]
pub struct Key([u8; KEY_BYTES]);

impl Key {
    /// A key of these bytes.
    #[must_use]
    pub const fn new(bytes: [u8; KEY_BYTES]) -> Self {
        Self(bytes)
    }

    /// The bytes, for storing on the board's own part.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; KEY_BYTES] {
        &self.0
    }
}

impl core::fmt::Debug for Key {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("Key(not shown)")
    }
}

/// Eight digits, 0 to 99,999,999: a challenge or a reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EightDigits(u32);

impl EightDigits {
    /// One more than the largest.
    pub const END: u32 = 100_000_000;

    /// These eight digits; `None` for more digits.
    #[must_use]
    pub const fn new(value: u32) -> Option<Self> {
        if value < Self::END { Some(Self(value)) } else { None }
    }

    /// The number.
    #[must_use]
    pub const fn get(self) -> u32 {
        self.0
    }

    /// Whether both are the same, in a time that does not depend on where they
    /// differ.
    #[must_use]
    pub fn same_in_constant_time(self, other: Self) -> bool {
        let differing = self.0 ^ other.0;
        // 0 only for equal numbers, without a branch on single digits.
        core::hint::black_box(differing) == 0
    }
}

/// What a reply allows. The numbers are part of the reply: they never change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Purpose {
    /// A service.
    Service = 1,
    /// Renewal of components that only the engineer may renew.
    Renewal = 2,
    /// A new fitting of a board that is already fitted.
    Refit = 3,
}

impl Purpose {
    /// The OCRA counter: the purpose in the high 32 bits, services done in the low 16.
    #[must_use]
    pub const fn counter(self, services: u16) -> u64 {
        (self as u64) << 32 | services as u64
    }
}

/// What a challenge is bound to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ChallengeBasis {
    /// The board.
    pub id: BoardId,
    /// What the reply is to allow.
    pub purpose: Purpose,
    /// The components that it is to renew, a bit each; 0 for another purpose.
    pub components: u32,
    /// Services done before this one.
    pub services: u16,
    /// Replies tried since the last right one.
    pub tries: u8,
    /// Lifetime powered time, ms.
    pub powered_ms: u64,
    /// Lifetime stitches.
    pub stitches: u64,
}

impl ChallengeBasis {
    /// The challenge: the first four bytes of SHA-256 over the basis, modulo 10^8.
    #[must_use]
    pub fn challenge(&self) -> EightDigits {
        let mut hash = Sha256::new();
        hash.update(self.id.0.to_le_bytes());
        hash.update([self.purpose as u8]);
        hash.update(self.components.to_le_bytes());
        hash.update(self.services.to_le_bytes());
        hash.update([self.tries]);
        hash.update(self.powered_ms.to_le_bytes());
        hash.update(self.stitches.to_le_bytes());
        let digest = hash.finalize();
        let word = digest.first_chunk::<4>().map_or(0, |w| u32::from_be_bytes(*w));
        EightDigits(word % EightDigits::END)
    }
}

/// The right reply to `challenge` for `purpose`, after `services` services.
#[must_use]
pub fn reply(key: &Key, purpose: Purpose, services: u16, challenge: EightDigits) -> EightDigits {
    let Ok(mac) = Hmac::<Sha256>::new_from_slice(key.bytes()) else {
        // HMAC takes keys of any length; a reply that nobody can know is safe.
        return EightDigits(0);
    };
    EightDigits(ocra(mac, SUITE, Some(purpose.counter(services)), challenge))
}

/// RFC 6287 §5–7 for suites with an optional counter and a numeric question of
/// eight digits. The truncation is that of RFC 4226 §5.3, to eight digits.
fn ocra<M: Mac>(mut mac: M, suite: &str, counter: Option<u64>, question: EightDigits) -> u32 {
    mac.update(suite.as_bytes());
    mac.update(&[0]);
    if let Some(counter) = counter {
        mac.update(&counter.to_be_bytes());
    }
    mac.update(&question_bytes(question));
    mac.update(&[0; 124]);
    truncate(&mac.finalize().into_bytes()) % EightDigits::END
}

/// The question as hexadecimal digits from the left, without leading zeros; RFC
/// 6287 fills up to 128 bytes with zeros, of which these are the first four.
fn question_bytes(question: EightDigits) -> [u8; 4] {
    let digits = (u32::BITS - question.0.leading_zeros()).div_ceil(4).max(1);
    (question.0 << (32 - 4 * digits)).to_be_bytes()
}

/// Dynamic truncation, RFC 4226 §5.3, before the modulo.
fn truncate(mac: &[u8]) -> u32 {
    let offset = usize::from(mac.last().copied().unwrap_or(0) & 0xF);
    let word = mac.get(offset..offset + 4).and_then(<[u8]>::first_chunk);
    word.map_or(0, |w| u32::from_be_bytes(*w) & 0x7FFF_FFFF)
}

#[cfg(test)]
mod tests;
