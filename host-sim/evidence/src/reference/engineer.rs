//! The engineer's side of an authorisation: challenges and replies, from `docs/SECURITY.md`
//! (*The exchange*), RFC 6287 and RFC 4226.

use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};

/// What a reply allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Allows {
    /// A service.
    Service = 1,
    /// A renewal of the engineer's components.
    Renewal = 2,
    /// A new fitting.
    Refit = 3,
}

/// What a challenge is bound to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bound {
    /// The board's identity.
    pub board: u64,
    /// What it asks for.
    pub allows: Allows,
    /// The places of the components to be renewed, a bit each.
    pub places: u32,
    /// Services done.
    pub services: u16,
    /// Replies tried since the last right one.
    pub tries: u8,
    /// Lifetime powered time, ms.
    pub powered_ms: u64,
    /// Lifetime stitches.
    pub stitches: u64,
}

impl Bound {
    /// The challenge's eight digits.
    #[must_use]
    pub fn challenge(&self) -> u32 {
        let mut of = self.board.to_le_bytes().to_vec();
        of.push(self.allows as u8);
        of.extend(self.places.to_le_bytes());
        of.extend(self.services.to_le_bytes());
        of.push(self.tries);
        of.extend(self.powered_ms.to_le_bytes());
        of.extend(self.stitches.to_le_bytes());
        (number(&Sha256::digest(of)[..4]) % 100_000_000) as u32
    }
}

/// The right reply to a challenge after so many services: suite `OCRA-1:HOTP-SHA256-8:C-QN08`.
#[must_use]
pub fn reply(key: &[u8; 32], allows: Allows, services: u16, challenge: u32) -> u32 {
    let mut of = b"OCRA-1:HOTP-SHA256-8:C-QN08\0".to_vec();
    let counter = (allows as u64) * (1 << 32) + u64::from(services);
    of.extend(counter.to_be_bytes());
    // The question in hexadecimal digits, from the left, filled up with zeros to 128 bytes.
    let mut digits: Vec<u8> = format!("{challenge:x}")
        .chars()
        .filter_map(|digit| digit.to_digit(16))
        .map(|digit| digit as u8)
        .collect();
    digits.resize(256, 0);
    of.extend(digits.chunks(2).map(|pair| pair[0] * 16 + pair[1]));
    // A key may have any length: there is no error.
    let Ok(mut mac) = Hmac::<Sha256>::new_from_slice(key) else { return 0 };
    mac.update(&of);
    let mac = mac.finalize().into_bytes();
    let offset = usize::from(mac[31] % 16);
    (number(&mac[offset..offset + 4]) % (1 << 31) % 100_000_000) as u32
}

fn number(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0, |value, byte| value << 8 | u64::from(*byte))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of `docs/SECURITY.md`.
    #[test]
    fn the_worked_example_comes_out() {
        let hex = "606b663ffc8a3da2592a650faa2463c77b2bf77d7b91e23a3035b7ee0c513d74";
        let byte = |n: usize| u8::from_str_radix(&hex[2 * n..2 * n + 2], 16).expect("hexadecimal");
        let key = std::array::from_fn(byte);
        for (allows, right) in [
            (Allows::Service, 28_852_404),
            (Allows::Renewal, 37_979_393),
            (Allows::Refit, 9_209_042),
        ] {
            assert_eq!(reply(&key, allows, 3, 12_345_678), right);
        }
    }
}
