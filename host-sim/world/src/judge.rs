//! The judge of a cut: what it may cost, and what may never be found after it.
//!
//! Purpose: what proofs, campaigns and `sew` hold boards to is written here once, apart from
//! the code that is judged. Proofs and campaigns take the figures that `docs/FAULT_MODEL.md`
//! promises of a new board ([`Bounds::PROMISED`]) and do not read them from the board's
//! settings, so that a setting that is changed by mistake is caught. `sew` takes what its
//! scenario chose ([`Bounds::chosen`]).

use shaftbook_core::codec::frame::RECORD_BYTES;
use shaftbook_core::component::Measure;
use shaftbook_core::counters::Counters;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::settings::Settings;

/// Longest from a power-fail warning to all that was counted being durable, µs.
pub const ANSWER_US: u64 = 20_000;
/// The same for each further page of a record on a part with short pages, µs: its program cycle,
/// and the pause before it is seen to have ended. (A checkpoint begun before the warning gives way
/// between two of its pages.)
const ANSWER_PAGE_US: u64 = 5_500;
/// The longest program cycle of a part that [`ANSWER_US`] is promised for, µs.
pub const PROMISED_PROGRAM_US: u32 = 5_000;
/// Hold-up from which on nothing may be lost, ms: the answer to the warning on a part with any
/// pages; twice [`ANSWER_US`] on one whose pages take a record.
pub const LONG_HOLD_UP_MS: u32 = 40;
const _: () = assert!(answer_us(16) <= LONG_HOLD_UP_MS as u64 * 1_000, "the shortest pages");

/// [`ANSWER_US`] on a part with pages of `page_bytes`.
#[must_use]
pub const fn answer_us(page_bytes: u16) -> u64 {
    ANSWER_US + ((RECORD_BYTES as u64).div_ceil(page_bytes as u64) - 1) * ANSWER_PAGE_US
}

/// [`LONG_HOLD_UP_MS`] on a part with pages of `page_bytes` whose program cycles take
/// `program_us` at most; longer than that only if they are slower than those of the parts that
/// the promise is for.
#[must_use]
pub const fn long_hold_up_ms(page_bytes: u16, program_us: u32) -> u32 {
    // One cycle under way, and those of the record.
    let cycles = 1 + (RECORD_BYTES as u64).div_ceil(page_bytes as u64);
    let slower_us = program_us.saturating_sub(PROMISED_PROGRAM_US) as u64 * cycles;
    let ms = (answer_us(page_bytes) + slower_us).div_ceil(1_000) as u32;
    if ms > LONG_HOLD_UP_MS { ms } else { LONG_HOLD_UP_MS }
}

/// The most that a cut without warning may cost, on a sound part: one checkpoint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Running time, ms.
    pub running_ms: u64,
    /// Trims.
    pub trims: u64,
    /// Powered time, ms.
    pub powered_ms: u64,
}

impl Bounds {
    /// What is promised of a new board.
    pub const PROMISED: Self = Self { running_ms: 10_000, trims: 64, powered_ms: 60_000 };

    /// What a machine was fitted with, where that is another choice than a new board's.
    #[must_use]
    pub fn chosen(settings: &Settings) -> Self {
        Self {
            running_ms: u64::from(settings.checkpoint_running_s) * 1_000,
            trims: u64::from(settings.checkpoint_trims),
            powered_ms: u64::from(settings.checkpoint_powered_s) * 1_000,
        }
    }

    /// Whether `lost` is within them.
    #[must_use]
    pub const fn hold(&self, lost: &Counters) -> bool {
        lost.running_ms <= self.running_ms
            && lost.trims <= self.trims
            && lost.powered_ms <= self.powered_ms
    }

    /// Twice as much: a damaged page may cost the checkpoint in it besides.
    #[must_use]
    pub const fn doubled(&self) -> Self {
        Self {
            running_ms: 2 * self.running_ms,
            trims: 2 * self.trims,
            powered_ms: 2 * self.powered_ms,
        }
    }
}

/// Nothing durable is ever lost, nothing is ever invented: what was found is at least what
/// was acknowledged and at most the truth.
///
/// # Errors
/// By how much it is not, in a sentence.
pub fn neither_lost_nor_invented(
    acknowledged: &Counters,
    found: &Counters,
    truth: &Counters,
) -> Result<(), String> {
    if !acknowledged.at_most(found) {
        let below = acknowledged.since(found);
        return Err(format!("below what was acknowledged by {:?}", Delta(&below)));
    }
    if !found.at_most(truth) {
        return Err(format!("above the truth by {:?}", Delta(&found.since(truth))));
    }
    Ok(())
}

/// Nothing was renewed or served in the future: no baseline is ahead of the lifetime counters
/// that it is measured by. (Calendar days are not among them.)
///
/// # Errors
/// Which is, in a sentence.
pub fn no_baseline_ahead(ledger: &Ledger, lifetime: &Counters) -> Result<(), String> {
    let interval = ledger.interval;
    if interval.powered_ms > lifetime.powered_ms || interval.running_ms > lifetime.running_ms {
        return Err(format!("the service interval begins ahead of the lifetime: {interval:?}"));
    }
    let by_counters =
        ledger.components.iter().filter(|fitted| fitted.component.measure != Measure::Days);
    for fitted in by_counters {
        let now = fitted.component.measure.value(lifetime, None);
        if fitted.baseline > now {
            let (kind, baseline) = (fitted.component.kind, fitted.baseline);
            return Err(format!("{kind:?} was renewed at {baseline}, and its measure is {now}"));
        }
    }
    Ok(())
}

/// Whether all that had happened by `truth` is in `durable`. Power-ups have their own
/// record, and glitches are not exact.
#[must_use]
pub fn is_durable(truth: &Counters, durable: &Counters) -> bool {
    let lost = truth.since(durable);
    Counters { glitches: 0, missed_edges: 0, power_ups: 0, ..lost } == Counters::default()
}

/// Counters of which only those that are not 0 are shown.
pub struct Delta<'a>(pub &'a Counters);

impl std::fmt::Debug for Delta<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let it = self.0;
        let figures = [
            ("powered_ms", it.powered_ms),
            ("running_ms", it.running_ms),
            ("stitches", it.stitches()),
            ("jumps", it.jumps),
            ("trims", it.trims),
            ("breaks", u64::from(it.breaks())),
            ("power_ups", u64::from(it.power_ups)),
            ("glitches", u64::from(it.glitches)),
            ("missed_edges", u64::from(it.missed_edges)),
        ];
        let shown: Vec<String> = figures
            .iter()
            .filter(|(_, figure)| *figure > 0)
            .map(|(name, figure)| format!("{name} {figure}"))
            .collect();
        f.write_str(&shown.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trims(trims: u64) -> Counters {
        Counters { trims, ..Counters::default() }
    }

    #[test]
    fn a_new_board_is_set_to_what_is_promised() {
        assert_eq!(Bounds::chosen(&Settings::default()), Bounds::PROMISED);
    }

    #[test]
    fn what_is_found_lies_between_what_was_acknowledged_and_the_truth() {
        assert_eq!(neither_lost_nor_invented(&trims(3), &trims(3), &trims(5)), Ok(()));
        assert_eq!(neither_lost_nor_invented(&trims(3), &trims(5), &trims(5)), Ok(()));
        let below = neither_lost_nor_invented(&trims(3), &trims(2), &trims(5));
        assert_eq!(below, Err("below what was acknowledged by trims 1".into()));
        let above = neither_lost_nor_invented(&trims(3), &trims(6), &trims(5));
        assert_eq!(above, Err("above the truth by trims 1".into()));
    }

    #[test]
    fn slow_parts_with_short_pages_need_a_longer_hold_up() {
        for page_bytes in [16, 32, 64, 128] {
            assert_eq!(long_hold_up_ms(page_bytes, 5_000), LONG_HOLD_UP_MS);
        }
        assert_eq!(long_hold_up_ms(64, 15_000), 40, "two cycles of 10 ms more");
        assert_eq!(long_hold_up_ms(64, 20_000), 50);
        assert_eq!(long_hold_up_ms(16, 20_000), 112, "36.5 ms and five cycles of 15 ms more");
    }

    #[test]
    fn the_bounds_are_in_them_and_one_more_is_not() {
        let most = Counters { running_ms: 10_000, trims: 64, powered_ms: 60_000, ..trims(64) };
        assert!(Bounds::PROMISED.hold(&most));
        for over in [
            Counters { running_ms: 10_001, ..most },
            Counters { trims: 65, ..most },
            Counters { powered_ms: 60_001, ..most },
        ] {
            assert!(!Bounds::PROMISED.hold(&over));
            assert!(Bounds::PROMISED.doubled().hold(&over));
        }
    }
}
