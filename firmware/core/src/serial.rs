//! Serial-number arithmetic: which lap of the ring came later.
//!
//! Source: RFC 1982, sections 3.1 (addition) and 3.2 (comparison), with
//! `SERIAL_BITS` as a parameter. The ring uses 21 bits ([`Lap`]).

/// A serial number of `BITS` bits (2 to 31), RFC 1982.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Serial<const BITS: u32>(u32);

/// Number of a lap round the ring, as every record carries it: 21 bits.
pub type Lap = Serial<21>;

impl<const BITS: u32> Serial<BITS> {
    const MASK: u32 = {
        assert!(BITS >= 2 && BITS <= 31, "2 to 31 bits");
        (1 << BITS) - 1
    };

    /// Serial number `value`; bits above `BITS` are dropped.
    #[must_use]
    pub const fn new(value: u32) -> Self {
        Self(value & Self::MASK)
    }

    /// The number, 0 to 2^`BITS` − 1.
    #[must_use]
    pub const fn get(self) -> u32 {
        self.0
    }

    /// The sum, modulo 2^`BITS` (RFC 1982 §3.1).
    #[must_use]
    pub const fn plus(self, n: u32) -> Self {
        Self(self.0.wrapping_add(n) & Self::MASK)
    }

    /// The number before this one.
    #[must_use]
    pub const fn previous(self) -> Self {
        Self(self.0.wrapping_sub(1) & Self::MASK)
    }

    /// Whether `self` > `other` (RFC 1982 §3.2). For numbers exactly half the
    /// range apart, which the RFC leaves undefined, this is `false` both ways.
    #[must_use]
    pub const fn is_after(self, other: Self) -> bool {
        let ahead = self.0.wrapping_sub(other.0) & Self::MASK;
        ahead != 0 && ahead < 1 << (BITS - 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 1982 §5, the 8-bit examples (section text recalled, values recomputed).
    #[test]
    fn the_examples_of_rfc_1982_section_5() {
        type S = Serial<8>;
        for (a, b, sum) in [(255, 1, 0), (100, 100, 200), (200, 100, 44)] {
            assert_eq!(S::new(a).plus(b), S::new(sum), "{a} + {b}");
        }
        let after = [
            (1, 0),
            (44, 0),
            (100, 0),
            (100, 44),
            (200, 100),
            (255, 200),
            (0, 255),
            (100, 255),
            (0, 200),
            (44, 200),
        ];
        for (a, b) in after {
            assert!(S::new(a).is_after(S::new(b)), "{a} > {b}");
            assert!(!S::new(b).is_after(S::new(a)), "not {b} > {a}");
        }
        assert!(!S::new(0).is_after(S::new(128)) && !S::new(128).is_after(S::new(0)), "undefined");
    }
}
