//! How long bus bytes and program cycles take.

/// Durations of the bus and of the part, all in ns of simulated time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timing {
    /// A byte with its acknowledge: 9 clock periods.
    pub byte_ns: u64,
    /// A start or repeated start: one clock period (assumption).
    pub start_ns: u64,
    /// A stop and the free time after it: two clock periods (assumption).
    pub stop_ns: u64,
    /// Longest program cycle. 5 ms (24LC256, M24256; from memory).
    pub program_max_ns: u64,
    /// Shortest program cycle; each cycle is drawn between the two. 60 % of the
    /// longest (assumption: datasheets give only the longest).
    pub program_min_ns: u64,
    /// What a transaction costs while the bus is held: the controller's time-out
    /// (assumption).
    pub held_ns: u64,
}

impl Timing {
    /// A 400 kHz bus, program cycles of 3 to 5 ms, 1 ms to give up on a held bus.
    pub const FAST_MODE: Self = Self::at_hz(400_000);

    /// The same on a bus of `hz` clock periods a second (at least 1).
    #[must_use]
    pub const fn at_hz(hz: u32) -> Self {
        let period_ns = 1_000_000_000 / if hz == 0 { 1 } else { hz as u64 };
        Self {
            byte_ns: 9 * period_ns,
            start_ns: period_ns,
            stop_ns: 2 * period_ns,
            program_max_ns: 5_000_000,
            program_min_ns: 3_000_000,
            held_ns: 1_000_000,
        }
    }

    /// The duration of one cycle, from an evenly distributed `draw`.
    #[must_use]
    #[inline]
    pub const fn program_ns(&self, draw: u32) -> u64 {
        let spread_ns = self.program_max_ns.saturating_sub(self.program_min_ns);
        self.program_max_ns - ((spread_ns * draw as u64) >> 32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_400_khz_a_byte_takes_22_5_us() {
        assert_eq!(Timing::FAST_MODE.byte_ns, 22_500);
        assert_eq!(Timing::at_hz(100_000).byte_ns, 90_000);
    }

    #[test]
    fn cycles_are_drawn_between_shortest_and_longest() {
        let timing = Timing::FAST_MODE;
        assert_eq!(timing.program_ns(0), 5_000_000);
        assert_eq!(timing.program_ns(1 << 31), 4_000_000);
        assert_eq!(timing.program_ns(u32::MAX), 3_000_001);
    }
}
