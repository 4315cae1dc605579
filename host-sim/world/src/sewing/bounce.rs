//! The bounce of one edge: at which times after it the line falls back and returns.
//!
//! Invariants: the times are in order, no two are the same, and their number is even, so that
//! the line ends at the level of the edge; both kinds draw the same numbers in the same order.

use super::random::Random;

/// Up to so many µs a bounce fits into the bits of one word ([`short`]).
pub const SHORT_MAX_US: u32 = 63;
/// Most further edges of one bounce.
pub const EDGES_MAX: usize = 8;

/// The times of any bounce, µs after its edge, each 1 to `bounce_us`.
pub fn times(random: &mut Random, bounce_us: u32) -> heapless::Vec<u32, EDGES_MAX> {
    let mut times = heapless::Vec::new();
    for _ in 0..edges(random) {
        let after_us = 1 + random.below(bounce_us);
        // Kept in order; a time that came before is left out.
        if let Err(place) = times.binary_search(&after_us) {
            // There are at most so many: there is room.
            let _ = times.insert(place, after_us);
        }
    }
    times.truncate(times.len() & !1);
    times
}

/// The times of a bounce of at most [`SHORT_MAX_US`], as the bits of a word: bit *n* is *n* µs
/// after the edge. To set a bit puts it in order, and twice is once.
#[inline]
pub fn short(random: &mut Random, bounce_us: u32) -> u64 {
    let mut times = 0_u64;
    for _ in 0..edges(random) {
        times |= 1 << (1 + random.below(bounce_us));
    }
    // The last goes if they are odd; without a branch, which nobody could foretell.
    let is_odd = u64::from(times.count_ones() % 2);
    times ^ (is_odd << (times | 1).ilog2())
}

#[inline]
fn edges(random: &mut Random) -> u32 {
    2 * random.below(5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_kinds_give_the_same_times() {
        let mut lengths = [0; EDGES_MAX + 1];
        for seed in 0..5_000 {
            let bounce_us = 2 + (seed as u32) % (SHORT_MAX_US - 1);
            let (mut one, mut other) = (Random::new(seed, 4), Random::new(seed, 4));
            let times = times(&mut one, bounce_us);
            let bits = short(&mut other, bounce_us);
            let from_bits: Vec<u32> = (0..64).filter(|n| bits >> n & 1 == 1).collect();
            assert_eq!(&times[..], &from_bits[..], "seed {seed}");
            assert_eq!(one.bits(), other.bits(), "as many draws, seed {seed}");
            assert!(times.is_sorted_by(|a, b| a < b) && times.iter().all(|t| *t <= bounce_us));
            lengths[times.len()] += 1;
        }
        assert!((0..=EDGES_MAX).all(|n| (lengths[n] > 0) == (n % 2 == 0)), "{lengths:?}");
    }
}
