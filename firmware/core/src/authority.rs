//! The engineer's authorisation: challenge and response.
//!
//! The board shows a challenge of eight digits; the engineer's bench tool, which
//! can derive the board's key, answers with eight digits. Method: OCRA (RFC 6287),
//! suite [`SUITE`], with the number of services done as the counter, so that a
//! reply is good for one service of one board.
//!
//! Invariants: a key is never shown; replies are compared in constant time.
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

/// What a challenge is bound to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ChallengeBasis {
    /// The board.
    pub id: BoardId,
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
        hash.update(self.services.to_le_bytes());
        hash.update([self.tries]);
        hash.update(self.powered_ms.to_le_bytes());
        hash.update(self.stitches.to_le_bytes());
        let digest = hash.finalize();
        let word = digest.first_chunk::<4>().map_or(0, |w| u32::from_be_bytes(*w));
        EightDigits(word % EightDigits::END)
    }
}

/// The right reply to `challenge` for service number `services`.
#[must_use]
pub fn reply(key: &Key, services: u16, challenge: EightDigits) -> EightDigits {
    let Ok(mac) = Hmac::<Sha256>::new_from_slice(key.bytes()) else {
        // HMAC takes keys of any length; a reply that nobody can know is safe.
        return EightDigits(0);
    };
    EightDigits(ocra(mac, SUITE, Some(u64::from(services)), challenge))
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
mod tests {
    use super::*;
    use sha1::Sha1;
    use sha2::Sha512;

    const KEY_64: &[u8; 64] = b"1234567890123456789012345678901234567890123456789012345678901234";

    /// RFC 6287 appendix C, suite OCRA-1:HOTP-SHA1-6:QN08, 20-byte key.
    #[test]
    fn the_one_way_vectors_with_sha_1_of_rfc_6287() {
        let expected = [
            237_653, 243_178, 653_583, 740_991, 608_993, 388_898, 816_933, 224_598, 750_600,
            294_470,
        ];
        for (n, code) in expected.into_iter().enumerate() {
            let mac = Hmac::<Sha1>::new_from_slice(&KEY_64[..20]).unwrap();
            let question = EightDigits(n as u32 * 11_111_111);
            assert_eq!(ocra(mac, "OCRA-1:HOTP-SHA1-6:QN08", None, question) % 1_000_000, code);
        }
    }

    /// RFC 6287 appendix C, suite OCRA-1:HOTP-SHA512-8:C-QN08, 64-byte key.
    #[test]
    fn the_counter_vectors_with_sha_512_of_rfc_6287() {
        let expected = [
            7_016_083, 63_947_962, 70_123_924, 25_341_727, 33_203_315, 34_205_738, 44_343_969,
            51_946_085, 20_403_879, 31_409_299,
        ];
        for (n, code) in expected.into_iter().enumerate() {
            let mac = Hmac::<Sha512>::new_from_slice(KEY_64).unwrap();
            let question = EightDigits(n as u32 * 11_111_111);
            let counter = Some(n as u64);
            assert_eq!(ocra(mac, "OCRA-1:HOTP-SHA512-8:C-QN08", counter, question), code);
        }
    }

    /// RFC 4226 appendix D: HOTP values for counters 0 to 9.
    #[test]
    fn the_truncation_gives_the_values_of_rfc_4226() {
        let expected = [
            755_224, 287_082, 359_152, 969_429, 338_314, 254_676, 287_922, 162_583, 399_871,
            520_489,
        ];
        for (n, code) in expected.into_iter().enumerate() {
            let mut mac = Hmac::<Sha1>::new_from_slice(&KEY_64[..20]).unwrap();
            mac.update(&(n as u64).to_be_bytes());
            assert_eq!(truncate(&mac.finalize().into_bytes()) % 1_000_000, code);
        }
    }

    /// RFC 4231, test cases 1 and 2, first and last four bytes.
    #[test]
    fn the_mac_is_hmac_sha_256_of_rfc_4231() {
        for (key, data, first, last) in [
            (&[0x0B; 20][..], &b"Hi There"[..], 0xB034_4C61_u32, 0x2E32_CFF7_u32),
            (&b"Jefe"[..], &b"what do ya want for nothing?"[..], 0x5BDC_C146, 0x64EC_3843),
        ] {
            let mut mac = Hmac::<Sha256>::new_from_slice(key).unwrap();
            mac.update(data);
            let bytes = mac.finalize().into_bytes();
            assert_eq!(bytes[..4], first.to_be_bytes());
            assert_eq!(bytes[28..], last.to_be_bytes());
        }
    }

    #[test]
    fn a_key_is_not_shown() {
        extern crate std;
        assert_eq!(std::format!("{:?}", Key::new([0x41; KEY_BYTES])), "Key(not shown)");
    }
}
