//! Time without a clock: wrapping hardware ticks made monotonic.
//!
//! Purpose: the board's timers wrap (32-bit µs after 71.6 min, 16-bit µs after
//! 65.5 ms). Everything else in the core sees an [`Instant`], 64-bit µs since
//! reset, which does not wrap in 584,542 years.
//!
//! Invariants: an extended instant never differs from the one before by more
//! than half a wrap; a stamp taken slightly before the newest one (an interrupt
//! overtaken by the main loop) comes out slightly before it, not a wrap later.
//!
//! Not done here: calendar time.

use core::ops::Sub;

/// A moment, in µs since the board's reset. Monotonic; never wraps in practice.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Instant(u64);

impl Instant {
    /// The reset itself.
    pub const ZERO: Self = Self(0);
    /// Later than anything: "no deadline".
    pub const NEVER: Self = Self(u64::MAX);

    /// The moment `us` µs after reset.
    #[must_use]
    pub const fn from_us(us: u64) -> Self {
        Self(us)
    }

    /// µs since reset.
    #[must_use]
    pub const fn as_us(self) -> u64 {
        self.0
    }

    /// This moment plus `us` µs; stays at [`Instant::NEVER`] instead of wrapping.
    #[must_use]
    pub const fn plus_us(self, us: u64) -> Self {
        Self(self.0.saturating_add(us))
    }

    /// µs from `earlier` to this moment; 0 when `earlier` is the later one.
    #[must_use]
    pub const fn since_us(self, earlier: Self) -> u64 {
        self.0.saturating_sub(earlier.0)
    }
}

impl Sub for Instant {
    type Output = u64;

    /// µs from `earlier` to `self`, saturating at 0.
    fn sub(self, earlier: Self) -> u64 {
        self.since_us(earlier)
    }
}

/// Extends a free-running µs timer of `BITS` bits (16 or 32) to an [`Instant`].
///
/// Call [`TickClock::extend`] at least once in half a wrap (35.7 min at 32 bits,
/// 32.7 ms at 16 bits), with any stamp that is at most half a wrap old.
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TickClock<const BITS: u32> {
    newest_us: u64,
}

impl<const BITS: u32> TickClock<BITS> {
    const MASK: u64 = {
        assert!(BITS >= 2 && BITS <= 32, "a timer of 2 to 32 bits");
        (1 << BITS) - 1
    };
    const HALF: u64 = 1 << (BITS - 1);

    /// A clock that has just been reset; the timer reads 0 at reset.
    #[must_use]
    pub const fn new() -> Self {
        Self { newest_us: 0 }
    }

    /// The instant of timer reading `tick` (its bits above `BITS` are ignored).
    pub fn extend(&mut self, tick: u32) -> Instant {
        let ahead = u64::from(tick).wrapping_sub(self.newest_us) & Self::MASK;
        if ahead < Self::HALF {
            self.newest_us += ahead;
            Instant(self.newest_us)
        } else {
            // Behind the newest reading: an interrupt's stamp drained late.
            Instant(self.newest_us.saturating_sub(Self::MASK + 1 - ahead))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_32_bit_timer_wraps_after_71_6_minutes_unseen() {
        let mut clock = TickClock::<32>::new();
        let mut true_us = 0_u64;
        for _ in 0..10 {
            true_us += 20 * 60 * 1_000_000;
            assert_eq!(clock.extend(true_us as u32).as_us(), true_us);
        }
        assert!(true_us > 2 << 32, "wrapped twice");
    }

    #[test]
    fn a_16_bit_timer_wraps_after_65_5_ms_unseen() {
        let mut clock = TickClock::<16>::new();
        for step in 1..1_000_u64 {
            let true_us = step * 30_011;
            assert_eq!(clock.extend((true_us & 0xFFFF) as u32).as_us(), true_us);
        }
    }

    #[test]
    fn a_stamp_overtaken_by_the_main_loop_is_early_not_a_wrap_late() {
        let mut clock = TickClock::<16>::new();
        clock.extend(20_000);
        clock.extend(45_000);
        clock.extend(66_000 % 65_536);
        assert_eq!(clock.extend(65_990 % 65_536).as_us(), 65_990);
        assert_eq!(clock.extend(400 + 66_000 - 65_536).as_us(), 66_400);
    }
}
