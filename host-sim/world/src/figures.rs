//! Counters as people and programs read them: named figures, thousands set apart.

use schemars::JsonSchema;
use serde::Serialize;
use shaftbook_core::counters::Counters;

/// Counters with the needles the head has, for output.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CounterFigures {
    /// All stitches.
    pub stitches: u64,
    /// Stitches of each needle, needle 1 first.
    pub needle_stitches: Vec<u64>,
    /// Stitches sewn while the needle was unknown or ambiguous.
    pub unattributed_stitches: u64,
    /// Jumps.
    pub jumps: u64,
    /// Trims.
    pub trims: u64,
    /// All thread breaks.
    pub breaks: u32,
    /// Thread breaks of each needle.
    pub needle_breaks: Vec<u32>,
    /// Thread breaks while the needle was unknown or ambiguous.
    pub unattributed_breaks: u32,
    /// Running time, ms.
    pub running_ms: u64,
    /// Powered time, ms.
    pub powered_ms: u64,
    /// Power-ups.
    pub power_ups: u32,
    /// Shaft pulses rejected as glitch or bounce.
    pub glitches: u32,
    /// Edges lost because the capture queue was full.
    pub missed_edges: u32,
}

impl CounterFigures {
    /// The figures of a head with `needles` needles (1 to 16).
    #[must_use]
    pub fn of(counters: &Counters, needles: u8) -> Self {
        let needles = usize::from(needles).min(counters.needle_stitches.len());
        Self {
            stitches: counters.stitches(),
            needle_stitches: counters.needle_stitches[..needles].to_vec(),
            unattributed_stitches: counters.unattributed_stitches,
            jumps: counters.jumps,
            trims: counters.trims,
            breaks: counters.breaks(),
            needle_breaks: counters.needle_breaks[..needles].to_vec(),
            unattributed_breaks: counters.unattributed_breaks,
            running_ms: counters.running_ms,
            powered_ms: counters.powered_ms,
            power_ups: counters.power_ups,
            glitches: counters.glitches,
            missed_edges: counters.missed_edges,
        }
    }
}

/// `number` with commas between the thousands.
#[must_use]
pub fn grouped(number: impl Into<i128>) -> String {
    let number = number.into();
    let digits = number.unsigned_abs().to_string();
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    if number < 0 { format!("-{text}") } else { text }
}

/// A time in ms as `H h MM min SS.mmm s`.
#[must_use]
pub fn hours(ms: u64) -> String {
    let (s, ms) = (ms / 1_000, ms % 1_000);
    format!("{} h {:02} min {:02}.{ms:03} s", s / 3_600, s / 60 % 60, s % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_times_as_people_read_them() {
        assert_eq!(grouped(0), "0");
        assert_eq!(grouped(999), "999");
        assert_eq!(grouped(1_000), "1,000");
        assert_eq!(grouped(-1_234_567), "-1,234,567");
        assert_eq!(hours(3_723_004), "1 h 02 min 03.004 s");
    }
}
