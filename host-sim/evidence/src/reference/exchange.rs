//! The exchange with the engineer (`docs/SECURITY.md`, *The exchange*).

use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};

/// The suite of the replies.
const SUITE: &str = "OCRA-1:HOTP-SHA256-8:C-QN08";
/// Eight digits.
const END: u32 = 100_000_000;

/// What a challenge is made of.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// The board.
    pub id: u64,
    /// 1 a service, 2 a renewal, 3 a new fitting.
    pub purpose: u8,
    /// Components to be renewed.
    pub components: u32,
    /// Services done.
    pub services: u16,
    /// Replies tried.
    pub tries: u8,
    /// Powered time, ms.
    pub powered_ms: u64,
    /// Stitches.
    pub stitches: u64,
}

/// The challenge.
#[must_use]
pub fn challenge(asked: &Asked) -> u32 {
    let mut bytes = asked.id.to_le_bytes().to_vec();
    bytes.push(asked.purpose);
    bytes.extend(asked.components.to_le_bytes());
    bytes.extend(asked.services.to_le_bytes());
    bytes.push(asked.tries);
    bytes.extend(asked.powered_ms.to_le_bytes());
    bytes.extend(asked.stitches.to_le_bytes());
    let hash = Sha256::digest(bytes);
    let number = hash.iter().take(4).fold(0_u64, |number, byte| number << 8 | u64::from(*byte));
    (number % u64::from(END)) as u32
}

/// The right reply: OCRA (RFC 6287) with a counter and a question of eight digits.
///
/// # Errors
/// Never: a key may have any length.
pub fn reply(key: &[u8], purpose: u8, services: u16, challenge: u32) -> Result<u32, String> {
    let mut message = SUITE.as_bytes().to_vec();
    message.push(0);
    message.extend(u32::from(purpose).to_be_bytes());
    message.extend([0, 0]);
    message.extend(services.to_be_bytes());
    // The question: hexadecimal digits from the left, filled up with zeros to 128 bytes.
    let mut digits = format!("{challenge:X}");
    while digits.len() < 256 {
        digits.push('0');
    }
    let digit = |n: usize| u8::from_str_radix(&digits[n..n + 2], 16).unwrap_or(0);
    message.extend((0..256).step_by(2).map(digit));
    let mut mac = Hmac::<Sha256>::new_from_slice(key).map_err(|error| error.to_string())?;
    mac.update(&message);
    let mac = mac.finalize().into_bytes();
    let from = usize::from(mac[31] & 15);
    let word = mac[from..from + 4].iter().fold(0_u32, |word, byte| word << 8 | u32::from(*byte));
    Ok((word & 0x7FFF_FFFF) % END)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of `docs/SECURITY.md`.
    #[test]
    fn the_worked_example_comes_out() {
        let hex = "606b663ffc8a3da2592a650faa2463c77b2bf77d7b91e23a3035b7ee0c513d74";
        let byte = |n: usize| u8::from_str_radix(&hex[2 * n..2 * n + 2], 16).expect("hexadecimal");
        let key: Vec<u8> = (0..32).map(byte).collect();
        for (purpose, right) in [(1, 28_852_404), (2, 37_979_393), (3, 9_209_042)] {
            assert_eq!(reply(&key, purpose, 3, 12_345_678), Ok(right));
        }
    }
}
