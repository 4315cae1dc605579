//! The timescale of a capture: how long a tick is, and whether pulses can be told
//! apart with it.

use shaftbook_core::settings::Settings;
use vcd::TimescaleUnit;

/// Length of one tick of a capture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scale {
    count: u32,
    unit: TimescaleUnit,
}

impl Scale {
    /// `count` units a tick; `None` when `count` is 0.
    #[must_use]
    pub fn new(count: u32, unit: TimescaleUnit) -> Option<Self> {
        (count > 0).then_some(Self { count, unit })
    }

    /// `ticks` in µs, rounded down; `None` above 2^64 µs.
    #[must_use]
    pub fn us(self, ticks: u64) -> Option<u64> {
        let us = u128::from(ticks) * u128::from(self.count) * 1_000_000
            / u128::from(self.unit.divisor());
        u64::try_from(us).ok()
    }

    /// Whether a tick is longer than `us` µs.
    #[must_use]
    pub fn is_longer_than_us(self, us: u64) -> bool {
        u128::from(self.count) * 1_000_000 > u128::from(us) * u128::from(self.unit.divisor())
    }

    /// The longest tick, µs, that resolves the shaft pulses of `settings`: four in the
    /// shortest plausible period.
    #[must_use]
    pub fn longest_us(settings: &Settings) -> u64 {
        u64::from(settings.shortest_period_us() / 4)
    }
}

impl std::fmt::Display for Scale {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.count, self.unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_become_us_from_fs_to_s() {
        let us = |count, unit, ticks| Scale::new(count, unit).unwrap().us(ticks);
        assert_eq!(us(1, TimescaleUnit::S, 3), Some(3_000_000));
        assert_eq!(us(100, TimescaleUnit::US, 7), Some(700));
        assert_eq!(us(1, TimescaleUnit::NS, 1_999), Some(1));
        assert_eq!(us(10, TimescaleUnit::PS, 100_000), Some(1));
        assert_eq!(us(1, TimescaleUnit::FS, u64::MAX), Some(18_446_744_073));
        assert_eq!(us(1, TimescaleUnit::S, u64::MAX), None);
        assert_eq!(Scale::new(0, TimescaleUnit::S), None);
    }

    #[test]
    fn a_tick_must_fit_four_times_into_the_shortest_period() {
        // 2,000 rev/min: 30 ms, 60 % of it 18 ms, a quarter 4.5 ms.
        assert_eq!(Scale::longest_us(&Settings::default()), 4_500);
        let ms = |count| Scale::new(count, TimescaleUnit::MS).unwrap();
        assert!(!ms(4).is_longer_than_us(4_500));
        assert!(ms(5).is_longer_than_us(4_500));
    }
}
