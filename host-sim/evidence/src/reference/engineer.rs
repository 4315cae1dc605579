//! The engineer's side of an authorisation: challenges and replies, from `docs/SECURITY.md`, RFC
//! 6287, RFC 4226, RFC 2104 and FIPS 180-4.

use std::sync::LazyLock;

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
        (number(&sha_256(&of)[..4]) % 100_000_000) as u32
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
    let mac = hmac(key, &of);
    let offset = usize::from(mac[31] % 16);
    (number(&mac[offset..offset + 4]) % (1 << 31) % 100_000_000) as u32
}

fn number(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0, |value, byte| value << 8 | u64::from(*byte))
}

/// RFC 2104, of a key shorter than a block.
fn hmac(key: &[u8; 32], of: &[u8]) -> [u8; 32] {
    let padded = |with: u8| (0..64).map(move |n| key.get(n).copied().unwrap_or(0) ^ with);
    let inner: Vec<u8> = padded(0x36).chain(of.iter().copied()).collect();
    let outer: Vec<u8> = padded(0x5C).chain(sha_256(&inner)).collect();
    sha_256(&outer)
}

/// FIPS 180-4, sections 5.3.3 and 4.2.2: the first 32 bits of the fractions of the square roots of
/// the first eight primes, and of the cube roots of the first 64.
static FRACTIONS: LazyLock<([u32; 8], [u32; 64])> = LazyLock::new(|| {
    let is_prime = |n: &u128| (2..*n).all(|by| !n.is_multiple_of(by));
    let primes: Vec<u128> = (2..).filter(is_prime).take(64).collect();
    let fraction = |prime: u128, power: u32| {
        let wanted = prime << (32 * power);
        let root = (0..40).rev().fold(0_u128, |root, bit| {
            let more = root | 1 << bit;
            if more.pow(power) <= wanted { more } else { root }
        });
        root as u32
    };
    let of = |n: usize, power| fraction(primes[n], power);
    (std::array::from_fn(|n| of(n, 2)), std::array::from_fn(|n| of(n, 3)))
});

/// FIPS 180-4, section 6.2.
fn sha_256(of: &[u8]) -> [u8; 32] {
    let (mut state, constants) = (FRACTIONS.0, &FRACTIONS.1);

    let mut message = of.to_vec();
    message.push(0x80);
    message.resize((message.len() + 8).next_multiple_of(64) - 8, 0);
    message.extend((of.len() as u64 * 8).to_be_bytes());
    for block in message.chunks(64) {
        let mut words: Vec<u32> = block.chunks(4).map(|word| number(word) as u32).collect();
        for t in 16..64 {
            let (w15, w2) = (words[t - 15], words[t - 2]);
            let s0 = w15.rotate_right(7) ^ w15.rotate_right(18) ^ w15 >> 3;
            let s1 = w2.rotate_right(17) ^ w2.rotate_right(19) ^ w2 >> 10;
            let sum = s1.wrapping_add(words[t - 7]).wrapping_add(s0);
            words.push(sum.wrapping_add(words[t - 16]));
        }
        // The document's working variables a to h.
        let mut it = state;
        for (word, constant) in words.iter().zip(constants) {
            let s1 = it[4].rotate_right(6) ^ it[4].rotate_right(11) ^ it[4].rotate_right(25);
            let chosen = (it[4] & it[5]) ^ (!it[4] & it[6]);
            let first = it[7].wrapping_add(s1).wrapping_add(chosen);
            let first = first.wrapping_add(*constant).wrapping_add(*word);
            let s0 = it[0].rotate_right(2) ^ it[0].rotate_right(13) ^ it[0].rotate_right(22);
            let most = (it[0] & it[1]) ^ (it[0] & it[2]) ^ (it[1] & it[2]);
            let second = s0.wrapping_add(most);
            it.rotate_right(1);
            it[4] = it[4].wrapping_add(first);
            it[0] = first.wrapping_add(second);
        }
        for (sum, more) in state.iter_mut().zip(it) {
            *sum = sum.wrapping_add(more);
        }
    }
    let mut hash = [0; 32];
    hash.chunks_mut(4).zip(state).for_each(|(to, word)| to.copy_from_slice(&word.to_be_bytes()));
    hash
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4's example "abc" (NIST, "SHA256.pdf").
    #[test]
    fn the_published_example_begins_so() {
        assert_eq!(number(&sha_256(b"abc")[..4]), 0xBA78_16BF);
    }
}
