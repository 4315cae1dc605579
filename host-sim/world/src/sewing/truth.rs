//! What truly happened, kept apart from the electrical signals.
//!
//! Invariants: nothing that happens on a wire (bounce, spikes, missed pulses, a
//! dead sensor) alters it; times are kept in µs and rounded down to ms only when
//! read, so that nothing is lost by rounding.
//!
//! What the words mean: running time is the sum of the gaps between two true shaft
//! pulses of one spell of power, where the gap is at most the run gap. A stitch
//! is complete with the last pulse of its revolution.

use shaftbook_core::counters::{Counters, NEEDLES_MAX};

/// The true totals since the first power-up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Truth {
    /// Power on to cut, µs, over all spells.
    pub powered_us: u64,
    /// Running time, µs, over all spells.
    pub running_us: u64,
    /// Stitches of each needle; index 0 is needle 1.
    pub needle_stitches: [u64; NEEDLES_MAX],
    /// Jumps (0 if the jump input is not wired: then they are stitches).
    pub jumps: u64,
    /// Actuations of the trimmer.
    pub trims: u64,
    /// Thread breaks of each needle (0 if the input is not wired).
    pub needle_breaks: [u32; NEEDLES_MAX],
    /// Power-ups.
    pub power_ups: u32,
    /// True shaft pulses.
    pub shaft_pulses: u64,
}

impl Truth {
    /// The same as counters. Unattributed, glitches and missed edges are 0: in
    /// truth there are none.
    #[must_use]
    pub fn counters(&self) -> Counters {
        Counters {
            powered_ms: self.powered_us / 1_000,
            running_ms: self.running_us / 1_000,
            needle_stitches: self.needle_stitches,
            jumps: self.jumps,
            trims: self.trims,
            needle_breaks: self.needle_breaks,
            power_ups: self.power_ups,
            ..Counters::default()
        }
    }
}
