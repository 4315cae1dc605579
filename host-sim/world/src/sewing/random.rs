//! The random numbers of the simulation: xoshiro256++ and PCG32 from one seed, and the few ways
//! in which the generator draws from them.
//!
//! Invariant: wherever a time comes out, only whole numbers are reckoned with, so that the same
//! seed gives the same bytes on every machine.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use rand_xoshiro::Xoshiro256PlusPlus;

/// A deterministic source of random draws.
#[derive(Clone, Debug)]
pub struct Random {
    source: Xoshiro256PlusPlus,
}

impl Random {
    /// The source of `seed`; `stream` keeps the parts of a simulation independent.
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Self {
        let mixed = seed ^ stream.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        Self { source: Xoshiro256PlusPlus::seed_from_u64(mixed) }
    }

    /// 32 random bits.
    #[inline]
    pub fn bits(&mut self) -> u32 {
        (self.source.next_u64() >> 32) as u32
    }

    /// A number from 0 to `below` − 1; 0 when `below` is 0. Its bias is under
    /// `below` / 2^32.
    #[inline]
    pub fn below(&mut self, below: u32) -> u32 {
        ((u64::from(self.bits()) * u64::from(below)) >> 32) as u32
    }

    /// `true` with the given chance.
    #[inline]
    pub fn chance(&mut self, chance: Chance) -> bool {
        u64::from(self.bits()) < chance.0
    }

    /// Stitches until an event that comes after each one with `chance`: at least 1;
    /// `u64::MAX` when it never comes.
    #[allow(clippy::cast_precision_loss, clippy::cast_sign_loss)] // 32 bits; positive.
    pub fn until(&mut self, chance: Chance) -> u64 {
        if chance.0 == 0 {
            return u64::MAX;
        }
        let p = chance.0 as f64 / TWO_TO_32;
        let uniform = (f64::from(self.bits()) + 0.5) / TWO_TO_32;
        let count = uniform.ln() / (-p).ln_1p();
        if count >= 1e18 { u64::MAX } else { 1 + count as u64 }
    }

    /// A whole number whose mean is `mean` (at least 0): its floor, or one more.
    #[allow(clippy::cast_sign_loss)] // At least 0.
    pub fn around(&mut self, mean: f64) -> u32 {
        let floor = mean.max(0.0).floor();
        floor as u32 + u32::from(self.chance(Chance::of(mean - floor)))
    }
}

const TWO_TO_32: f64 = 4_294_967_296.0;

/// The source of the pulse gaps: PCG32, with one word of state, as every shaft
/// pulse draws from it.
#[derive(Clone, Debug)]
pub struct Jitter {
    source: Pcg32,
}

impl Jitter {
    /// The source of `seed`.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self { source: Pcg32::seed_from_u64(seed) }
    }

    /// A number from 0 to `below` − 1; 0 when `below` is 0.
    #[inline]
    pub fn below(&mut self, below: u32) -> u32 {
        ((u64::from(self.source.next_u32()) * u64::from(below)) >> 32) as u32
    }
}

/// A probability in 32 bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Chance(u64);

impl Chance {
    /// The chance `p`, clamped to 0 to 1.
    #[must_use]
    #[allow(clippy::cast_sign_loss)] // Clamped.
    pub fn of(p: f64) -> Self {
        Self((p.clamp(0.0, 1.0) * TWO_TO_32) as u64)
    }

    /// Whether it can never happen.
    #[must_use]
    pub const fn is_never(self) -> bool {
        self.0 == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_extremes_are_exact() {
        let mut random = Random::new(1, 0);
        for _ in 0..1_000 {
            assert!(random.chance(Chance::of(1.0)));
            assert!(!random.chance(Chance::of(0.0)));
            assert!(random.below(7) < 7);
            assert_eq!(random.until(Chance::of(1.0)), 1);
        }
        assert_eq!(random.until(Chance::of(0.0)), u64::MAX);
    }

    #[test]
    fn the_mean_distance_of_breaks_is_one_over_the_chance() {
        let mut random = Random::new(7, 0);
        let total: u64 = (0..20_000).map(|_| random.until(Chance::of(0.001))).sum();
        // Standard error of the mean is 1,000 / sqrt(20,000) = 7.1: 5 of them.
        assert!((965..=1_035).contains(&(total / 20_000)), "{}", total / 20_000);
    }

    #[test]
    fn one_seed_one_sequence() {
        let draw = |seed, stream| Random::new(seed, stream).bits();
        assert_eq!(draw(5, 1), draw(5, 1));
        assert_ne!(draw(5, 1), draw(5, 2));
        assert_ne!(draw(5, 1), draw(6, 1));
    }
}
