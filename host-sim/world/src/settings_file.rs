//! Board settings as a person writes them in TOML: the `[board]` table of a
//! scenario, and the file behind `--settings`.
//!
//! Every key is optional; what is left out keeps the default of
//! [`Settings::default`]. Keys, units and ranges are in `docs/SCENARIOS.md`.

use std::path::Path;

use serde::Deserialize;
use shaftbook_core::counters::NEEDLES_MAX;
use shaftbook_core::settings::{NeedleSource, ServiceMeasure, Settings, SettingsError};

use shaftbook_panel::text::Language;

use crate::input_error::InputError;
use crate::locate::line_column;

/// How the needle position is wired, as written in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NeedleWiring {
    /// Not wired: every stitch is unattributed.
    NotWired,
    /// Four code lines.
    Code,
    /// The position potentiometer's voltage.
    Level,
}

impl From<NeedleWiring> for NeedleSource {
    fn from(wiring: NeedleWiring) -> Self {
        match wiring {
            NeedleWiring::NotWired => Self::NotWired,
            NeedleWiring::Code => Self::Code,
            NeedleWiring::Level => Self::Level,
        }
    }
}

/// The service measure, as written in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MeasureName {
    /// Powered time.
    Powered,
    /// Running time.
    Running,
}

/// The panel's language, as written in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PanelLanguage {
    /// English.
    En,
    /// German.
    De,
}

impl PanelLanguage {
    /// Its number in the board's settings.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::En => Language::English as u8,
            Self::De => Language::German as u8,
        }
    }
}

/// Board settings with every key optional; names and units are those of
/// [`Settings`].
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BoardTable {
    /// Pulses per revolution, 1 to 64.
    pub pulses_per_revolution: Option<u8>,
    /// Fastest shaft speed, revolutions/min, 60 to 4,000.
    pub top_speed_rpm: Option<u16>,
    /// Shaft debounce time, µs.
    pub shaft_debounce_us: Option<u16>,
    /// Contact debounce time, µs.
    pub contact_debounce_us: Option<u16>,
    /// Run gap, ms, 100 to 60,000.
    pub run_gap_ms: Option<u16>,
    /// Needles on the head, 1 to 16.
    pub needles: Option<u8>,
    /// How the needle position is wired.
    pub needle_source: Option<NeedleWiring>,
    /// Needle debounce time, ms.
    pub needle_debounce_ms: Option<u8>,
    /// Level of each needle, mV, at most 16 of them.
    pub needle_level_mv: Option<Vec<u16>>,
    /// Guard band, mV.
    pub needle_guard_mv: Option<u16>,
    /// Hysteresis, mV.
    pub needle_hysteresis_mv: Option<u16>,
    /// Most running time between checkpoints, s, 1 to 60.
    pub checkpoint_running_s: Option<u8>,
    /// Most trims between checkpoints, 1 to 255.
    pub checkpoint_trims: Option<u8>,
    /// Most powered time between checkpoints, s, 1 to 3,600.
    pub checkpoint_powered_s: Option<u16>,
    /// The service measure.
    pub service_measure: Option<MeasureName>,
    /// The service interval, h.
    pub service_interval_h: Option<u16>,
    /// The panel's language, in two letters (ISO 639-1).
    pub language: Option<PanelLanguage>,
}

impl BoardTable {
    /// `base` with every key given here put over it.
    #[must_use]
    pub fn over(&self, base: Settings) -> Settings {
        let mut needle_level_mv = base.needle_level_mv;
        for (to, from) in needle_level_mv.iter_mut().zip(self.needle_level_mv.iter().flatten()) {
            *to = *from;
        }
        Settings {
            pulses_per_revolution: self.pulses_per_revolution.unwrap_or(base.pulses_per_revolution),
            top_speed_rpm: self.top_speed_rpm.unwrap_or(base.top_speed_rpm),
            shaft_debounce_us: self.shaft_debounce_us.unwrap_or(base.shaft_debounce_us),
            contact_debounce_us: self.contact_debounce_us.unwrap_or(base.contact_debounce_us),
            run_gap_ms: self.run_gap_ms.unwrap_or(base.run_gap_ms),
            needles: self.needles.unwrap_or(base.needles),
            needle_source: self.needle_source.map_or(base.needle_source, NeedleSource::from),
            needle_debounce_ms: self.needle_debounce_ms.unwrap_or(base.needle_debounce_ms),
            needle_level_mv,
            needle_guard_mv: self.needle_guard_mv.unwrap_or(base.needle_guard_mv),
            needle_hysteresis_mv: self.needle_hysteresis_mv.unwrap_or(base.needle_hysteresis_mv),
            checkpoint_running_s: self.checkpoint_running_s.unwrap_or(base.checkpoint_running_s),
            checkpoint_trims: self.checkpoint_trims.unwrap_or(base.checkpoint_trims),
            checkpoint_powered_s: self.checkpoint_powered_s.unwrap_or(base.checkpoint_powered_s),
            service_measure: self.service_measure.map_or(base.service_measure, |m| match m {
                MeasureName::Powered => ServiceMeasure::Powered,
                MeasureName::Running => ServiceMeasure::Running,
            }),
            service_interval_h: self.service_interval_h.unwrap_or(base.service_interval_h),
            language: self.language.map_or(base.language, PanelLanguage::code),
        }
    }

    /// Whether the list of levels fits a head.
    #[must_use]
    pub fn levels_fit(&self) -> bool {
        self.needle_level_mv.as_ref().is_none_or(|levels| levels.len() <= NEEDLES_MAX)
    }
}

/// What is wrong with a [`Settings`], in one phrase.
#[must_use]
pub fn explain(error: SettingsError) -> &'static str {
    match error {
        SettingsError::PulsesPerRevolution => "pulses_per_revolution must be 1 to 64",
        SettingsError::Needles => "needles must be 1 to 16",
        SettingsError::TopSpeed => "top_speed_rpm must be 60 to 4,000",
        SettingsError::ShaftDebounce => {
            "shaft_debounce_us is longer than a quarter of the pulse period at top speed"
        }
        SettingsError::RunGap => "run_gap_ms must be 100 to 60,000",
        SettingsError::CheckpointInterval => {
            "checkpoint_running_s must be 1 to 60 and at least 1 s more than run_gap_ms, \
             checkpoint_trims 1 to 255, checkpoint_powered_s 1 to 3,600"
        }
        SettingsError::NeedleLevels => {
            "two needles' levels are so close that their guard bands touch"
        }
        SettingsError::ServiceInterval => "service_interval_h must not be 0",
        SettingsError::Language => "language has a number over 15",
    }
}

/// Reads the TOML settings file at `path`.
///
/// # Errors
/// An [`InputError`] with file, line and column.
pub fn load(path: &Path) -> Result<BoardTable, InputError> {
    let name = path.display().to_string();
    let text = std::fs::read_to_string(path).map_err(|e| InputError::new(&name, format!("{e}")))?;
    let table: BoardTable = toml::from_str(&text).map_err(|e| toml_error(&name, &text, &e))?;
    if !table.levels_fit() {
        return Err(InputError::new(name, "needle_level_mv: at most 16 levels"));
    }
    Ok(table)
}

/// A TOML error with its line and column.
#[must_use]
pub fn toml_error(name: &str, text: &str, error: &toml::de::Error) -> InputError {
    let place = error.span().map_or_else(
        || name.to_owned(),
        |span| {
            let (line, column) = line_column(text, span.start);
            format!("{name}:{line}:{column}")
        },
    );
    InputError::new(place, error.message())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_left_out_keep_the_default() {
        let table: BoardTable = toml::from_str("run_gap_ms = 1500\nneedles = 6").unwrap();
        let settings = table.over(Settings::default());
        assert_eq!(settings.run_gap_ms, 1_500);
        assert_eq!(settings.needles, 6);
        assert_eq!(settings.top_speed_rpm, Settings::default().top_speed_rpm);
    }

    #[test]
    fn an_unknown_key_is_refused_with_its_place() {
        let text = "needles = 6\nneedels = 7\n";
        let error = toml::from_str::<BoardTable>(text).unwrap_err();
        let error = toml_error("x.toml", text, &error);
        assert_eq!(error.place(), "x.toml:2:1");
        assert!(error.what().contains("needels"), "{error}");
    }
}
