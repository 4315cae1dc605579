//! The workshop key, and how the key of each board is derived from it.

use std::fmt;

use hkdf::Hkdf;
use sha2::Sha256;
use shaftbook_core::authority::{KEY_BYTES, Key};
use shaftbook_readout::tag::BoardTag;
use zeroize::Zeroizing;

/// Bytes in a workshop key.
pub const WORKSHOP_KEY_BYTES: usize = 32;
/// What a derived key is for: the first part of HKDF's info. It never changes.
const CONTEXT: &[u8] = b"shaftbook board key 1\0";

/// The secret of a workshop: it opens every board that was fitted with it. Wiped from
/// memory when dropped; `Debug` does not show it.
pub struct WorkshopKey(Zeroizing<[u8; WORKSHOP_KEY_BYTES]>);

impl WorkshopKey {
    /// A new key from the operating system's generator.
    ///
    /// # Errors
    /// The system has no such generator.
    pub fn random() -> Result<Self, getrandom::Error> {
        let mut bytes = Zeroizing::new([0; WORKSHOP_KEY_BYTES]);
        getrandom::fill(bytes.as_mut_slice())?;
        Ok(Self(bytes))
    }

    /// The key of these bytes.
    #[must_use]
    pub fn new(bytes: Zeroizing<[u8; WORKSHOP_KEY_BYTES]>) -> Self {
        Self(bytes)
    }

    /// Its bytes, for the key file.
    pub(super) fn bytes(&self) -> &[u8; WORKSHOP_KEY_BYTES] {
        &self.0
    }

    /// The key of the board with this tag: HKDF-SHA256 (RFC 5869) of the workshop key,
    /// without salt; the info is a fixed context and the tag's eight characters.
    ///
    /// # Panics
    /// Never: HKDF gives up to 8,160 bytes.
    #[must_use]
    pub fn board_key(&self, tag: BoardTag) -> Key {
        let tag: String = tag.to_string().chars().filter(|c| *c != '-').collect();
        let mut bytes = Zeroizing::new([0; KEY_BYTES]);
        Hkdf::<Sha256>::new(None, self.bytes())
            .expand_multi_info(&[CONTEXT, tag.as_bytes()], bytes.as_mut_slice())
            .expect("32 bytes are fewer than 8,160");
        Key::new(*bytes)
    }
}

impl fmt::Debug for WorkshopKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("WorkshopKey(not shown)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shaftbook_core::identity::BoardId;

    /// RFC 5869 appendix A.1 (from memory).
    #[test]
    fn hkdf_is_that_of_rfc_5869_test_case_1() {
        let salt: [u8; 13] = std::array::from_fn(|n| n as u8);
        let info: [u8; 10] = std::array::from_fn(|n| 0xF0 + n as u8);
        let mut okm = [0; 42];
        Hkdf::<Sha256>::new(Some(&salt), &[0x0B; 22]).expand(&info, &mut okm).unwrap();
        let expected = "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf\
                        34007208d5b887185865";
        let expected: Vec<u8> =
            (0..42).map(|n| u8::from_str_radix(&expected[2 * n..2 * n + 2], 16).unwrap()).collect();
        assert_eq!(okm[..], expected[..]);
    }

    /// By the words of RFC 5869 §2.2 and §2.3 on HMAC alone: another tool can be built so.
    #[test]
    fn a_boards_key_is_two_macs_of_the_workshop_key() {
        use hmac::{Hmac, KeyInit, Mac};
        let mac = |key: &[u8], data: &[u8]| {
            let mut mac = Hmac::<Sha256>::new_from_slice(key).unwrap();
            mac.update(data);
            mac.finalize().into_bytes()
        };
        let tag = BoardTag::of(BoardId(0x5EED));
        let text = tag.to_string().replace('-', "");
        assert_eq!(text.len(), 8);
        let pseudorandom = mac(&[0; 32], &[0x42; 32]);
        let expected = mac(&pseudorandom, format!("shaftbook board key 1\0{text}\u{1}").as_bytes());
        let workshop = WorkshopKey::new(Zeroizing::new([0x42; 32]));
        assert_eq!(workshop.board_key(tag).bytes()[..], expected[..]);
    }

    #[test]
    fn each_board_and_each_workshop_has_keys_of_its_own() {
        let workshops = [1, 2].map(|n| WorkshopKey::new(Zeroizing::new([n; 32])));
        let mut seen = std::collections::BTreeSet::new();
        for workshop in &workshops {
            for id in 0..50 {
                seen.insert(*workshop.board_key(BoardTag::of(BoardId(id))).bytes());
            }
        }
        assert_eq!(seen.len(), 100);
    }

    #[test]
    fn two_new_keys_differ_and_neither_is_shown() {
        let [a, b] = [(); 2].map(|()| WorkshopKey::random().unwrap());
        assert_ne!(a.bytes(), b.bytes());
        assert_eq!(format!("{a:?}"), "WorkshopKey(not shown)");
    }
}
