//! Little-endian bit fields, written and read by the same walk: bit `n` of a record
//! is bit `n % 8` of byte `n / 8`.
//!
//! Each layout is one function that passes every field through a [`Fields`]: when
//! writing, the field goes into the bytes, and what comes back is what a reader will
//! get (a value too large for its field is capped, never wrapped); when reading, it
//! comes out of them. So encoder and decoder cannot disagree.
//!
//! Each field has a name and a place ([`Bits`]). The walk goes from field to field, so
//! that a small board adds up no places; a debug build checks that each field is passed
//! at its place.
//!
//! Never panics on what is in the bytes: writing past the end is dropped and reading past
//! the end gives zeros; [`Fields::is_complete`] tells.

use core::ops::Range;

/// Where a field stands: its bits, from the start of its record, stream or list item.
pub type Bits = Range<u32>;

/// The place of a field of `count` whole bytes from byte `first` on.
#[must_use]
pub const fn bytes(first: u32, count: u32) -> Bits {
    first * 8..(first + count) * 8
}

/// How many bits a field has.
#[must_use]
pub const fn width(place: &Bits) -> u32 {
    place.end - place.start
}

/// What is walked over.
#[derive(Debug)]
enum Walked<'a> {
    Read(&'a [u8]),
    Written(&'a mut [u8]),
}

/// A walk over the fields of a record.
#[derive(Debug)]
pub struct Fields<'a> {
    walked: Walked<'a>,
    at_bit: usize,
    /// Where the list item under way begins.
    #[cfg(debug_assertions)]
    item_bit: usize,
}

// A place is known when the board is compiled: what is left of these is the width.
#[allow(clippy::inline_always)]
impl<'a> Fields<'a> {
    const fn new(walked: Walked<'a>, at_bit: usize) -> Self {
        Self {
            walked,
            at_bit,
            #[cfg(debug_assertions)]
            item_bit: 0,
        }
    }

    /// A walk that writes into `bytes`, which must be zeros, from bit `at_bit` on.
    #[must_use]
    pub fn writer(bytes: &'a mut [u8], at_bit: usize) -> Self {
        Self::new(Walked::Written(bytes), at_bit)
    }

    /// A walk that reads from `bytes`, from bit `at_bit` on.
    #[must_use]
    pub fn reader(bytes: &'a [u8], at_bit: usize) -> Self {
        Self::new(Walked::Read(bytes), at_bit)
    }

    /// Whether this walk writes.
    #[must_use]
    pub fn is_writing(&self) -> bool {
        matches!(self.walked, Walked::Written(_))
    }

    /// A list item begins: the places of its fields count from here.
    #[inline(always)]
    pub fn begin_item(&mut self) {
        #[cfg(debug_assertions)]
        {
            self.item_bit = self.at_bit;
        }
    }

    /// A mistake in a layout, which no bytes can make: the walk is not at `at_bit`.
    #[inline(always)]
    pub(super) fn check(&self, at_bit: u32) {
        #[cfg(debug_assertions)]
        assert_eq!(self.at_bit - self.item_bit, at_bit as usize, "a field is not at its place");
        let _ = at_bit;
    }

    /// The same; or a field of `bits` has a place of another width.
    #[inline(always)]
    fn check_whole(&self, place: &Bits, bits: u32) {
        self.check(place.start);
        debug_assert_eq!(width(place), bits, "a field is not as wide as its place");
    }

    /// The next `width` bits (0 to 56), of a field that has no fixed place.
    #[inline(never)]
    pub(super) fn next(&mut self, value: u64, width: u32) -> u64 {
        let largest = (1_u64 << width) - 1;
        let (first, shift) = (self.at_bit / 8, (self.at_bit % 8) as u32);
        self.at_bit += width as usize;
        let bytes = match &mut self.walked {
            Walked::Written(bytes) => {
                let value = if value > largest { largest } else { value };
                let mut rest = value << shift;
                for byte in bytes.iter_mut().skip(first) {
                    if rest == 0 {
                        break;
                    }
                    *byte |= rest as u8;
                    rest >>= 8;
                }
                return value;
            }
            Walked::Read(bytes) => *bytes,
        };
        let mut value = 0_u64;
        let mut at_bit = 0;
        for byte in bytes.iter().skip(first) {
            if at_bit >= shift + width {
                break;
            }
            value |= u64::from(*byte) << at_bit;
            at_bit += 8;
        }
        value >> shift & largest
    }

    fn next_32(&mut self, value: u32, width: u32) -> u32 {
        self.next(u64::from(value), width) as u32
    }

    fn next_byte(&mut self, value: &mut u8) {
        *value = self.next_32(u32::from(*value), 8) as u8;
    }

    fn next_half(&mut self, value: &mut u16) {
        *value = self.next_32(u32::from(*value), 16) as u16;
    }

    fn next_word(&mut self, value: &mut u32) {
        *value = self.next_32(*value, 32);
    }

    fn next_long(&mut self, value: &mut u64) {
        *value = self.next(*value, 48);
    }

    /// The field at `place`, of at most 32 bits: the value that a reader gets.
    #[inline(always)]
    pub fn narrow(&mut self, value: u32, place: Bits) -> u32 {
        self.check(place.start);
        self.next_32(value, width(&place))
    }

    /// The field of 8 bits at `place`.
    #[inline(always)]
    pub fn byte(&mut self, value: &mut u8, place: Bits) {
        self.check_whole(&place, 8);
        self.next_byte(value);
    }

    /// The field of 16 bits at `place`.
    #[inline(always)]
    pub fn half(&mut self, value: &mut u16, place: Bits) {
        self.check_whole(&place, 16);
        self.next_half(value);
    }

    /// The field of 32 bits at `place`.
    #[inline(always)]
    pub fn word(&mut self, value: &mut u32, place: Bits) {
        self.check_whole(&place, 32);
        self.next_word(value);
    }

    /// The field of 48 bits at `place`.
    #[inline(always)]
    pub fn long(&mut self, value: &mut u64, place: Bits) {
        self.check_whole(&place, 48);
        self.next_long(value);
    }

    /// Goes on at bit `at_bit`: round a field that is passed last, as it is about the others.
    #[inline(always)]
    pub(super) fn go_on_at(&mut self, at_bit: u32) {
        self.at_bit = at_bit as usize;
        #[cfg(debug_assertions)]
        {
            self.item_bit = 0;
        }
    }

    /// All that is walked over.
    pub(super) fn bytes(&self) -> &[u8] {
        match &self.walked {
            Walked::Read(bytes) => bytes,
            Walked::Written(bytes) => bytes,
        }
    }

    /// Bits passed so far, from the start of the bytes.
    #[must_use]
    pub fn position(&self) -> usize {
        self.at_bit
    }

    /// Whether every field so far was inside the bytes.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        self.at_bit <= self.bytes().len() * 8
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
                prop_assert_eq!(writer.next(value, *width), value);
            }
            let mut reader = Fields::reader(&bytes, 3);
            for (value, width) in &fields {
                prop_assert_eq!(reader.next(0, *width), value & ((1 << width) - 1));
            }
        }
    }

    #[test]
    fn a_value_too_large_is_capped_not_wrapped() {
        let mut bytes = [0_u8; 2];
        assert_eq!(Fields::writer(&mut bytes, 0).narrow(256, 0..8), 255);
        assert_eq!(bytes, [255, 0]);
    }

    #[test]
    fn the_ends_are_soft() {
        let mut bytes = [0_u8; 1];
        let mut writer = Fields::writer(&mut bytes, 4);
        writer.narrow(0xFFF, 4..16);
        assert!(!writer.is_complete());
        assert_eq!(bytes, [0xF0]);
        assert_eq!(Fields::reader(&bytes, 4).narrow(0, 4..16), 0xF);
    }

    #[test]
    #[should_panic(expected = "a field is not as wide as its place")]
    fn a_field_of_another_width_than_its_place_is_found_by_a_debug_build() {
        Fields::reader(&[0; 2], 0).byte(&mut 0, 0..16);
    }

    #[test]
    #[should_panic(expected = "a field is not at its place")]
    fn a_field_out_of_its_place_is_found_by_a_debug_build() {
        Fields::reader(&[0; 2], 0).narrow(0, 1..8);
    }
}
