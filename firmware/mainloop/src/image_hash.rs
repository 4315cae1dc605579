//! The hash of the firmware's own bytes, as they stand in the flash: what a person compares
//! with the list of a release, on the panel or at the service port.
//!
//! It is SHA-256 (FIPS 180-4, by crate `sha2`), of which four bytes are shown: enough to find
//! a wrong or damaged image, not to keep out one that was made to deceive.
//!
//! Invariant: a step is short, so that the hash of a whole image holds up no warning.

use sha2::{Digest, Sha256};

/// Bytes of a step: some 0.3 ms of an RP2040, less than a tile for the display takes.
pub const STEP_BYTES: usize = 256;

/// A hash that is being worked out.
#[derive(Clone, Debug, Default)]
pub struct ImageHash {
    digest: Sha256,
    done: usize,
    is_over: bool,
}

impl ImageHash {
    /// Whether there is more to do.
    #[must_use]
    pub const fn has_work(&self) -> bool {
        !self.is_over
    }

    /// Takes the next piece of `image`, the same in each call; at the end the first four
    /// bytes of the hash, big-endian. Of no bytes there is no hash.
    pub fn step(&mut self, image: &[u8]) -> Option<u32> {
        let rest = image.get(self.done..).unwrap_or_default();
        let piece = rest.get(..STEP_BYTES).unwrap_or(rest);
        self.digest.update(piece);
        self.done += piece.len();
        if self.done < image.len() {
            return None;
        }
        self.is_over = true;
        let hash = core::mem::take(&mut self.digest).finalize();
        let first = hash.first_chunk().map(|bytes| u32::from_be_bytes(*bytes));
        first.filter(|_| !image.is_empty())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hash(image: &[u8]) -> Option<u32> {
        let mut hash = ImageHash::default();
        loop {
            let shown = hash.step(image);
            if !hash.has_work() {
                return shown;
            }
            assert_eq!(shown, None);
        }
    }

    /// FIPS 180-4's examples (NIST, "SHA256.pdf"): "abc", and its message of 448 bits.
    #[test]
    fn the_published_examples_begin_so() {
        assert_eq!(hash(b"abc"), Some(0xBA78_16BF));
        let long = b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
        assert_eq!(hash(long), Some(0x248D_6A61));
    }

    /// A million times "a", from the same source.
    #[test]
    fn pieces_make_the_hash_of_the_whole() {
        assert_eq!(hash(&std::vec![b'a'; 1_000_000]), Some(0xCDC7_6E5C));
    }

    #[test]
    fn of_nothing_there_is_no_hash() {
        assert_eq!(hash(&[]), None);
    }
}
