//! Which needle sews: from code lines or from a voltage.
//!
//! Invariants: a position counts once it has held for the debounce time; while the
//! reading is changing, unknown or ambiguous there is no needle, and what is sewn
//! then is unattributed, never guessed.

use crate::counters::Needle;
use crate::rules::Rules;
use crate::settings::{NeedleSource, Settings};
use crate::time::Instant;

/// The needle position as read and as believed.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NeedlePosition {
    /// What the code lines read last, wired or not: settings that come later may know it.
    code: u8,
    reading: Option<Needle>,
    since: Instant,
    debounced: Option<Needle>,
}

impl NeedlePosition {
    /// Not read yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { code: u8::MAX, reading: None, since: Instant::ZERO, debounced: None }
    }

    /// The needle at `now`; `None` while unknown, ambiguous or changing.
    #[inline]
    #[must_use]
    pub fn needle(&self, now: Instant, settings: &Settings) -> Option<Needle> {
        let certain = now.since_us(self.since) >= u64::from(settings.needle_debounce_ms) * 1_000;
        if certain || self.reading == self.debounced { self.reading } else { None }
    }

    /// The needle that was believed last, however unsure the reading is now.
    #[must_use]
    pub fn last_debounced(&self) -> Option<Needle> {
        self.debounced
    }

    /// The wiring is now that of `settings`, on lines that read what they read: a needle above
    /// `highest` was never read by a wiring before it.
    pub fn wiring<R: Rules>(&mut self, highest: u8, settings: &Settings) {
        let known = |needle: Option<Needle>| needle.filter(|n| n.number() <= highest);
        self.debounced = known(self.debounced);
        self.reading = if settings.needle_source == NeedleSource::Code && R::code_read_anew() {
            self.coded(settings)
        } else {
            known(self.reading)
        };
    }

    /// The code lines now read `code`.
    pub fn code(&mut self, at: Instant, code: u8, settings: &Settings) {
        let is_new = code != self.code;
        self.code = code;
        match settings.needle_source {
            NeedleSource::Code => self.read(at, self.coded(settings), settings),
            NeedleSource::Level => return,
            NeedleSource::NotWired => {}
        }
        if is_new {
            // Also from one unknown needle to another, as later settings may know them.
            self.since = at;
        }
    }

    fn coded(&self, settings: &Settings) -> Option<Needle> {
        let needle = Needle::new(self.code.saturating_add(1));
        needle.filter(|n| n.number() <= settings.needles)
    }

    /// The position voltage now reads `level_mv`.
    pub fn level(&mut self, at: Instant, level_mv: u16, settings: &Settings) {
        if settings.needle_source == NeedleSource::Level {
            self.read(at, self.nearest(level_mv, settings), settings);
        }
    }

    fn read(&mut self, at: Instant, reading: Option<Needle>, settings: &Settings) {
        if reading != self.reading {
            if let Some(needle) = self.needle(at, settings) {
                self.debounced = Some(needle);
            }
            self.reading = reading;
            self.since = at;
        }
    }

    /// The needle whose band holds `level_mv`: its guard band, or, for the needle
    /// already selected, the guard band widened by the hysteresis.
    fn nearest(&self, level_mv: u16, settings: &Settings) -> Option<Needle> {
        let within = |needle: Needle, band_mv: u32| {
            let level = settings.needle_level_mv.get(needle.index()).copied().unwrap_or(u16::MAX);
            u32::from(level.abs_diff(level_mv)) <= band_mv
        };
        let guard_mv = u32::from(settings.needle_guard_mv);
        let hold_mv = guard_mv + u32::from(settings.needle_hysteresis_mv);
        self.reading.filter(|needle| within(*needle, hold_mv)).or_else(|| {
            (1..=settings.needles).filter_map(Needle::new).find(|n| within(*n, guard_mv))
        })
    }
}

impl Default for NeedlePosition {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(ms: u64) -> Instant {
        Instant::from_us(ms * 1_000)
    }

    #[test]
    fn a_code_counts_once_it_is_debounced_and_not_while_it_changes() {
        let settings = Settings { needles: 6, ..Settings::default() };
        let mut position = NeedlePosition::new();
        position.code(ms(0), 2, &settings);
        assert_eq!(position.needle(ms(19), &settings), None);
        assert_eq!(position.needle(ms(20), &settings), Needle::new(3));
        position.code(ms(100), 3, &settings);
        assert_eq!(position.needle(ms(101), &settings), None, "changing");
        position.code(ms(102), 2, &settings);
        assert_eq!(position.needle(ms(103), &settings), Needle::new(3), "it was a flicker");
        position.code(ms(200), 6, &settings);
        assert_eq!(position.needle(ms(300), &settings), None, "there is no needle 7");
    }

    #[test]
    fn a_voltage_selects_within_the_guard_band_and_holds_with_hysteresis() {
        let mut settings = Settings {
            needles: 3,
            needle_source: NeedleSource::Level,
            needle_guard_mv: 50,
            needle_hysteresis_mv: 30,
            needle_debounce_ms: 0,
            ..Settings::default()
        };
        settings.needle_level_mv[..3].copy_from_slice(&[500, 1_000, 1_500]);
        assert_eq!(settings.check(), Ok(()));
        let mut position = NeedlePosition::new();
        for (at, mv, needle) in [
            (1, 940, None),
            (2, 951, Needle::new(2)),
            (3, 925, Needle::new(2)),
            (4, 919, None),
            (5, 925, None),
            (6, 1_450, Needle::new(3)),
        ] {
            position.level(ms(at), mv, &settings);
            assert_eq!(position.needle(ms(at), &settings), needle, "{mv} mV");
        }
    }
}
