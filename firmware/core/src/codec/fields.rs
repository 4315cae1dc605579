//! Little-endian bit fields, written and read by the same walk: bit `n` of a record
//! is bit `n % 8` of byte `n / 8`.
//!
//! Each layout is one function that passes every field through a [`Fields`]: when
//! writing, the field goes into the bytes, and what comes back is what a reader will
//! get (a value too large for its field is capped, never wrapped); when reading, it
//! comes out of them. So encoder and decoder cannot disagree.
//!
//! Never panics: writing past the end is dropped and reading past the end gives
//! zeros; [`Fields::is_complete`] tells.

/// A walk over the fields of a record.
#[derive(Debug)]
pub struct Fields<'a> {
    bytes: &'a mut [u8],
    at_bit: usize,
    writing: bool,
}

impl<'a> Fields<'a> {
    /// A walk that writes into `bytes`, which must be zeros, from bit `at_bit` on.
    #[must_use]
    pub fn writer(bytes: &'a mut [u8], at_bit: usize) -> Self {
        Self { bytes, at_bit, writing: true }
    }

    /// A walk that reads from `bytes`, which stay as they are, from bit `at_bit` on.
    #[must_use]
    pub fn reader(bytes: &'a mut [u8], at_bit: usize) -> Self {
        Self { bytes, at_bit, writing: false }
    }

    /// Whether this walk writes.
    #[must_use]
    pub fn is_writing(&self) -> bool {
        self.writing
    }

    /// The next field, of `width` bits (0 to 56): the value that a reader gets.
    #[inline(never)]
    pub fn wide(&mut self, value: u64, width: u32) -> u64 {
        let largest = (1_u64 << width) - 1;
        let (first, shift) = (self.at_bit / 8, (self.at_bit % 8) as u32);
        self.at_bit += width as usize;
        if self.writing {
            let value = if value > largest { largest } else { value };
            let mut rest = value << shift;
            for byte in self.bytes.iter_mut().skip(first) {
                if rest == 0 {
                    break;
                }
                *byte |= rest as u8;
                rest >>= 8;
            }
            return value;
        }
        let mut value = 0_u64;
        let mut at_bit = 0;
        for byte in self.bytes.iter().skip(first) {
            if at_bit >= shift + width {
                break;
            }
            value |= u64::from(*byte) << at_bit;
            at_bit += 8;
        }
        value >> shift & largest
    }

    /// The same for a field of at most 32 bits.
    pub fn narrow(&mut self, value: u32, width: u32) -> u32 {
        self.wide(u64::from(value), width) as u32
    }

    /// A field of 8 bits.
    pub fn byte(&mut self, value: &mut u8) {
        *value = self.narrow(u32::from(*value), 8) as u8;
    }

    /// A field of 16 bits.
    pub fn half(&mut self, value: &mut u16) {
        *value = self.narrow(u32::from(*value), 16) as u16;
    }

    /// A field of 32 bits.
    pub fn word(&mut self, value: &mut u32) {
        *value = self.narrow(*value, 32);
    }

    /// A field of 48 bits.
    pub fn long(&mut self, value: &mut u64) {
        *value = self.wide(*value, 48);
    }

    /// Bits passed so far, from the start of the bytes.
    #[must_use]
    pub fn position(&self) -> usize {
        self.at_bit
    }

    /// Whether every field so far was inside the bytes.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.at_bit <= self.bytes.len() * 8
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn fields_come_back(fields in prop::collection::vec((any::<u64>(), 0_u32..=56), 0..12)) {
            let mut bytes = [0_u8; 96];
            let mut writer = Fields::writer(&mut bytes, 3);
            for (value, width) in &fields {
                let value = value & ((1 << width) - 1);
                prop_assert_eq!(writer.wide(value, *width), value);
            }
            let mut reader = Fields::reader(&mut bytes, 3);
            for (value, width) in &fields {
                prop_assert_eq!(reader.wide(0, *width), value & ((1 << width) - 1));
            }
        }
    }

    #[test]
    fn a_value_too_large_is_capped_not_wrapped() {
        let mut bytes = [0_u8; 2];
        assert_eq!(Fields::writer(&mut bytes, 0).wide(256, 8), 255);
        assert_eq!(bytes, [255, 0]);
    }

    #[test]
    fn the_ends_are_soft() {
        let mut bytes = [0_u8; 1];
        let mut writer = Fields::writer(&mut bytes, 4);
        writer.wide(0xFFF, 12);
        assert!(!writer.is_complete());
        assert_eq!(bytes, [0xF0]);
        assert_eq!(Fields::reader(&mut bytes, 4).wide(0, 12), 0xF);
    }
}
