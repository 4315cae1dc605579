//! How the board is wired and how it counts: set at fitting, kept on the part.
//!
//! Invariant: a [`Settings`] that passed [`Settings::check`] can be counted with;
//! nothing else reaches the counting code.

use crate::counters::NEEDLES_MAX;

/// Highest number of a language.
pub const LANGUAGE_MAX: u8 = 15;

/// How the needle position reaches the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NeedleSource {
    /// Not wired: every stitch is unattributed.
    NotWired,
    /// Four code lines; needle `n` reads as the binary number `n` − 1.
    Code,
    /// The position potentiometer's voltage, compared with calibrated levels.
    Level,
}

/// Which clock the service interval counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ServiceMeasure {
    /// Powered time: the default, as machines' own meters usually count it.
    Powered,
    /// Running time: only while the shaft turns.
    Running,
}

/// Why a [`Settings`] cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SettingsError {
    /// Pulses per revolution is not 1 to 64.
    PulsesPerRevolution,
    /// The number of needles is not 1 to 16.
    Needles,
    /// The highest speed is not 60 to 4,000 revolutions a minute.
    TopSpeed,
    /// The shaft's debounce time is longer than a quarter of the shortest pulse
    /// period, so a pulse at top speed would be rejected.
    ShaftDebounce,
    /// The run gap is not 100 to 60,000 ms.
    RunGap,
    /// A checkpoint interval is 0, or so long that the deltas could overflow
    /// (running over 60 s, trims over 255, powered over 3,600 s), or that of running time
    /// is not at least 1 s longer than the run gap.
    CheckpointInterval,
    /// Two needles' levels are so close that their guard bands touch.
    NeedleLevels,
    /// The service interval is 0 h.
    ServiceInterval,
    /// The language's number is over 15.
    Language,
}

/// Everything about wiring and counting that is chosen at fitting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Settings {
    /// Edges of one polarity that the shaft sensor gives in one revolution, 1 to 64.
    pub pulses_per_revolution: u8,
    /// Fastest the shaft can turn, revolutions/min, 60 to 4,000. A pulse that
    /// comes sooner than 60 % of that speed's period is a glitch.
    pub top_speed_rpm: u16,
    /// How long the shaft signal must hold a level to be believed, µs.
    pub shaft_debounce_us: u16,
    /// The same for trim, thread break and jump contacts, µs.
    pub contact_debounce_us: u16,
    /// Longest gap between pulses that still counts as running, ms. Default 2,000.
    pub run_gap_ms: u16,
    /// Needles on the head, 1 to 16.
    pub needles: u8,
    /// How the needle position is wired.
    pub needle_source: NeedleSource,
    /// How long a needle position must hold to be believed, ms.
    pub needle_debounce_ms: u8,
    /// Calibrated level of each needle, mV (only for [`NeedleSource::Level`]).
    pub needle_level_mv: [u16; NEEDLES_MAX],
    /// A reading this close to a level selects that needle, mV.
    pub needle_guard_mv: u16,
    /// A selected needle is kept until the reading leaves guard + this, mV.
    pub needle_hysteresis_mv: u16,
    /// Most running time between checkpoints, s, at least 1 s more than the run gap: any gap
    /// may turn out to be running time, so with less nearly every pulse would be stored.
    /// Default 10.
    pub checkpoint_running_s: u8,
    /// Most trims between checkpoints. Default 64.
    pub checkpoint_trims: u8,
    /// Most powered time between checkpoints, s. Default 60.
    pub checkpoint_powered_s: u16,
    /// Which time the service interval counts.
    pub service_measure: ServiceMeasure,
    /// The service interval, h. Default 500 (common practice, no source).
    pub service_interval_h: u16,
    /// Number of the panel's language, 0 to 15; the panel's text tables say which.
    pub language: u8,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            pulses_per_revolution: 1,
            top_speed_rpm: 2_000,
            shaft_debounce_us: 50,
            contact_debounce_us: 6_000,
            run_gap_ms: 2_000,
            needles: 15,
            needle_source: NeedleSource::Code,
            needle_debounce_ms: 20,
            needle_level_mv: [0; NEEDLES_MAX],
            needle_guard_mv: 60,
            needle_hysteresis_mv: 30,
            checkpoint_running_s: 10,
            checkpoint_trims: 64,
            checkpoint_powered_s: 60,
            service_measure: ServiceMeasure::Powered,
            service_interval_h: 500,
            language: 0,
        }
    }
}

impl Settings {
    /// Shortest plausible time between two shaft pulses, µs: 60 % of the period
    /// at top speed, so that a steady 1.6 × overspeed is still counted.
    #[must_use]
    pub const fn shortest_period_us(&self) -> u32 {
        let pulses_per_min = self.top_speed_rpm as u32 * self.pulses_per_revolution as u32;
        match 36_000_000_u32.checked_div(pulses_per_min) {
            Some(us) => us,
            None => u32::MAX,
        }
    }

    /// Whether the board can count with these settings.
    ///
    /// # Errors
    /// The first [`SettingsError`] that applies.
    pub fn check(&self) -> Result<(), SettingsError> {
        let within = |value: u16, least, most| value >= least && value <= most;
        if !within(self.pulses_per_revolution.into(), 1, 64) {
            return Err(SettingsError::PulsesPerRevolution);
        }
        if !within(self.needles.into(), 1, NEEDLES_MAX as u16) {
            return Err(SettingsError::Needles);
        }
        if !within(self.top_speed_rpm, 60, 4_000) {
            return Err(SettingsError::TopSpeed);
        }
        // Four debounce times in a pulse period: 60 s in µs, a quarter of it, over
        // pulses/min. Neither product can overflow.
        let debounce = u32::from(self.shaft_debounce_us) * u32::from(self.top_speed_rpm);
        if debounce > 15_000_000 || debounce * u32::from(self.pulses_per_revolution) > 15_000_000 {
            return Err(SettingsError::ShaftDebounce);
        }
        if !within(self.run_gap_ms, 100, 60_000) {
            return Err(SettingsError::RunGap);
        }
        let running_ms = u32::from(self.checkpoint_running_s) * 1_000;
        if !within(self.checkpoint_running_s.into(), 1, 60)
            || running_ms < u32::from(self.run_gap_ms) + 1_000
            || self.checkpoint_trims == 0
            || !within(self.checkpoint_powered_s, 1, 3_600)
        {
            return Err(SettingsError::CheckpointInterval);
        }
        if self.needle_source == NeedleSource::Level && !self.levels_are_apart() {
            return Err(SettingsError::NeedleLevels);
        }
        if self.service_interval_h == 0 {
            return Err(SettingsError::ServiceInterval);
        }
        if self.language > LANGUAGE_MAX {
            return Err(SettingsError::Language);
        }
        Ok(())
    }

    fn levels_are_apart(&self) -> bool {
        let levels = &self.needle_level_mv[..usize::from(self.needles).min(NEEDLES_MAX)];
        // One needle's hold band must not reach another's accept band.
        let apart_mv = 2 * u32::from(self.needle_guard_mv) + u32::from(self.needle_hysteresis_mv);
        levels.iter().enumerate().all(|(n, level)| {
            levels[n + 1..].iter().all(|other| u32::from(level.abs_diff(*other)) > apart_mv)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_checkpoint_interval_leaves_room_for_a_run_gap() {
        let of = |checkpoint_running_s, run_gap_ms| {
            Settings { run_gap_ms, checkpoint_running_s, ..Settings::default() }.check()
        };
        assert_eq!(of(3, 2_000), Ok(()));
        assert_eq!(of(2, 2_000), Err(SettingsError::CheckpointInterval));
        assert_eq!(of(3, 2_001), Err(SettingsError::CheckpointInterval));
        assert_eq!(of(60, 59_000), Ok(()));
    }
}
