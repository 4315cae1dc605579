//! Little-endian bit fields: bit `n` of a record is bit `n % 8` of byte `n / 8`.
//!
//! Neither type panics: writing past the end is dropped and reading past the end
//! gives zeros; the layouts are checked by tests, not at run time.

/// Writes bit fields into a byte slice that starts as zeros.
#[derive(Debug)]
pub struct BitWriter<'a> {
    bytes: &'a mut [u8],
    at_bit: usize,
}

impl<'a> BitWriter<'a> {
    /// A writer whose first field starts at bit `at_bit`.
    #[must_use]
    pub fn new(bytes: &'a mut [u8], at_bit: usize) -> Self {
        Self { bytes, at_bit }
    }

    /// Appends the low `width` bits (0 to 56) of `value`; a larger value is capped
    /// at the largest that fits.
    pub fn put(&mut self, value: u64, width: u32) {
        let largest = (1_u64 << width) - 1;
        let mut rest = if value > largest { largest } else { value } << (self.at_bit % 8);
        let mut byte = self.at_bit / 8;
        while rest != 0 {
            if let Some(b) = self.bytes.get_mut(byte) {
                *b |= rest as u8;
            }
            rest >>= 8;
            byte += 1;
        }
        self.at_bit += width as usize;
    }

    /// The bit at which the next field starts.
    #[must_use]
    pub fn position(&self) -> usize {
        self.at_bit
    }
}

/// Reads bit fields from a byte slice.
#[derive(Clone, Debug)]
pub struct BitReader<'a> {
    bytes: &'a [u8],
    at_bit: usize,
}

impl<'a> BitReader<'a> {
    /// A reader whose first field starts at bit `at_bit`.
    #[must_use]
    pub fn new(bytes: &'a [u8], at_bit: usize) -> Self {
        Self { bytes, at_bit }
    }

    /// Takes the next `width` bits (0 to 56).
    pub fn take(&mut self, width: u32) -> u64 {
        let mut value = 0_u64;
        let first = self.at_bit / 8;
        let shift = (self.at_bit % 8) as u32;
        let count = (shift + width).div_ceil(8) as usize;
        for n in (0..count).rev() {
            value = value << 8 | u64::from(self.bytes.get(first + n).copied().unwrap_or(0));
        }
        self.at_bit += width as usize;
        value >> shift & ((1 << width) - 1)
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
            let mut writer = BitWriter::new(&mut bytes, 3);
            for (value, width) in &fields {
                writer.put(value & ((1 << width) - 1), *width);
            }
            let mut reader = BitReader::new(&bytes, 3);
            for (value, width) in &fields {
                prop_assert_eq!(reader.take(*width), value & ((1 << width) - 1));
            }
        }
    }

    #[test]
    fn a_value_too_large_is_capped_not_wrapped() {
        let mut bytes = [0_u8; 2];
        BitWriter::new(&mut bytes, 0).put(256, 8);
        assert_eq!(bytes, [255, 0]);
    }

    #[test]
    fn the_ends_are_soft() {
        let mut bytes = [0_u8; 1];
        BitWriter::new(&mut bytes, 4).put(0xFFF, 12);
        assert_eq!(bytes, [0xF0]);
        assert_eq!(BitReader::new(&bytes, 4).take(12), 0xF);
    }
}
