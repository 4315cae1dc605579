//! The field GF(32): sums and products of 5-bit symbols.
//!
//! A symbol is a polynomial over GF(2) of degree 4 or less, modulo the primitive
//! polynomial x⁵ + x² + 1 ([`PRIMITIVE`], 0x25); 2 (the polynomial x) generates all 31
//! symbols that are not 0. The sum of two symbols, and their difference, is their XOR.
//!
//! Invariant: whatever goes in, 0 to 31 comes out; bits above the fifth are ignored.

/// x⁵ + x² + 1.
pub const PRIMITIVE: u8 = 0x25;
/// Symbols that are not 0: the order of the generator.
pub const ORDER: usize = 31;

const POWERS: [u8; ORDER] = powers();
const LOGS: [u8; 32] = logs();

const fn powers() -> [u8; ORDER] {
    let (mut table, mut n, mut symbol) = ([0; ORDER], 0, 1);
    while n < ORDER {
        table[n] = symbol;
        symbol <<= 1;
        if symbol & 32 != 0 {
            symbol ^= PRIMITIVE;
        }
        n += 1;
    }
    table
}

const fn logs() -> [u8; 32] {
    let (mut table, mut n) = ([0; 32], 0);
    while n < ORDER {
        table[POWERS[n] as usize] = n as u8;
        n += 1;
    }
    table
}

fn log(symbol: u8) -> usize {
    usize::from(LOGS[usize::from(symbol & 31)])
}

/// The generator 2, `n` times multiplied with itself.
#[must_use]
pub fn power(n: usize) -> u8 {
    POWERS[n % ORDER]
}

/// `a` · `b`.
#[must_use]
pub fn times(a: u8, b: u8) -> u8 {
    match (a & 31, b & 31) {
        (0, _) | (_, 0) => 0,
        (a, b) => power(log(a) + log(b)),
    }
}

/// `a` / `b`; `None` when `b` is 0.
#[must_use]
pub fn over(a: u8, b: u8) -> Option<u8> {
    match (a & 31, b & 31) {
        (_, 0) => None,
        (0, _) => Some(0),
        (a, b) => Some(power(log(a) + ORDER - log(b))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Shift and subtract, without tables.
    fn slow_times(a: u8, b: u8) -> u8 {
        let mut product =
            (0..5).fold(0_u16, |sum, n| sum ^ ((u16::from(a) << n) * u16::from(b >> n & 1)));
        for n in (5..10).rev() {
            if product >> n & 1 == 1 {
                product ^= u16::from(PRIMITIVE) << (n - 5);
            }
        }
        product as u8
    }

    #[test]
    fn every_product_is_that_of_the_polynomials() {
        for a in 0..32 {
            for b in 0..32 {
                assert_eq!(times(a, b), slow_times(a, b), "{a} times {b}");
            }
        }
    }

    #[test]
    fn dividing_undoes_multiplying_and_nothing_is_divided_by_0() {
        for a in 0..32 {
            assert_eq!(over(a, 0), None);
            for b in 1..32 {
                assert_eq!(over(times(a, b), b), Some(a));
            }
        }
    }

    #[test]
    fn the_generator_gives_every_symbol_but_0_once() {
        let mut seen = [false; 32];
        for n in 0..ORDER {
            assert!(!core::mem::replace(&mut seen[usize::from(power(n))], true));
        }
        assert!(!seen[0]);
        assert_eq!(power(ORDER), 1);
    }

    #[test]
    fn whatever_goes_in_a_symbol_comes_out() {
        for a in 0..=u8::MAX {
            for b in 0..=u8::MAX {
                assert!(times(a, b) < 32 && over(a, b).is_none_or(|q| q < 32));
            }
        }
    }
}
