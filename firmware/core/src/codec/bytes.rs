//! Little-endian byte streams, for the snapshot.
//!
//! Neither type panics. A writer that runs out of room and a reader that runs out
//! of bytes remember it; callers ask once, at the end.

/// Appends little-endian fields to a fixed buffer.
#[derive(Debug)]
pub struct ByteWriter<'a> {
    bytes: &'a mut [u8],
    length: usize,
}

impl<'a> ByteWriter<'a> {
    /// A writer at the start of `bytes`.
    #[must_use]
    pub fn new(bytes: &'a mut [u8]) -> Self {
        Self { bytes, length: 0 }
    }

    /// Appends the low `width` bytes (1 to 8) of `value`, capped at the largest
    /// that fits.
    pub fn put(&mut self, value: u64, width: usize) {
        let largest = u64::MAX >> (64 - 8 * width.clamp(1, 8));
        for byte in value.min(largest).to_le_bytes().into_iter().take(width) {
            if let Some(b) = self.bytes.get_mut(self.length) {
                *b = byte;
            }
            self.length += 1;
        }
    }

    /// Bytes written, or `None` when they did not fit.
    #[must_use]
    pub fn finish(self) -> Option<usize> {
        (self.length <= self.bytes.len()).then_some(self.length)
    }
}

/// Takes little-endian fields from a slice.
#[derive(Clone, Debug)]
pub struct ByteReader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> ByteReader<'a> {
    /// A reader at the start of `bytes`.
    #[must_use]
    pub fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }

    /// Takes a field of `width` bytes (1 to 8); zeros past the end.
    pub fn take(&mut self, width: usize) -> u64 {
        let mut value = 0;
        for n in (0..width).rev() {
            value = value << 8 | u64::from(self.bytes.get(self.at + n).copied().unwrap_or(0));
        }
        self.at += width;
        value
    }

    /// Whether every field taken so far was inside the slice.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.at <= self.bytes.len()
    }
}
