//! A care profile: which parts wear, by what, and when they are due, as a TOML file.
//!
//! The schema, with every key, unit and range, is `docs/PROFILES.md`; the types here are that
//! schema. Care given in days, weeks or months counts calendar days on a board with a clock; on
//! a board without one it counts what `without_clock` says.
//!
//! Invariant: a [`Profile`] that came out of [`Profile::parse`] or [`Profile::builtin`] has
//! passed every check, so [`Profile::components`] needs no error path.
//!
//! Not done here: how each component wears (`shaftbook_core::component`), fitting.

mod check;
mod kinds;

use std::path::Path;

use heapless::Vec;
use serde::Deserialize;
use shaftbook_core::component::{COMPONENTS_MAX, Component, Measure, Role};
use shaftbook_core::counters::Needle;
use shaftbook_core::settings::Settings;

use crate::checked_file;
use crate::input_error::InputError;

/// Days that a month of a profile has on a board with a clock. Our own choice.
pub const DAYS_A_MONTH: u32 = 30;
/// Largest limit in seconds or counts: the wear that a board keeps is in 32 bits.
const LIMIT_MAX: u32 = 4_000_000_000;

const SIX: &str = include_str!("../../profiles/six-needle.toml");
const TEN: &str = include_str!("../../profiles/ten-needle.toml");
const FIFTEEN: &str = include_str!("../../profiles/fifteen-needle.toml");

/// A whole profile.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// What machine it is for, in a few words.
    pub name: String,
    /// Needles on the head, 1 to 16: as many components as that for `each-needle`.
    pub needles: u8,
    /// Service interval on the interval meter, h, 1 to 65,535.
    pub service_interval_h: u16,
    /// Wearing parts and care tasks; with `each-needle` unfolded 1 to 32.
    components: std::vec::Vec<Entry>,
}

/// One `[[components]]` table.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    kind: String,
    due: Limit,
    without_clock: Option<Limit>,
    #[serde(default = "ninety")]
    notice_percent: u8,
    #[serde(default)]
    renewed_by: Renewer,
    #[serde(default)]
    with_service: bool,
}

/// A limit: exactly one of the keys, which is measure and unit in one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Limit {
    stitches: Option<u32>,
    needle_stitches: Option<u32>,
    trims: Option<u32>,
    power_ups: Option<u32>,
    running_h: Option<f64>,
    powered_h: Option<f64>,
    days: Option<u32>,
    weeks: Option<u32>,
    months: Option<u32>,
}

/// Who may renew, as written in a file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Renewer {
    #[default]
    Operator,
    Engineer,
}

/// What a limit counts; the needle is not known yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Counted {
    Core(Measure),
    OwnNeedle,
}

fn ninety() -> u8 {
    90
}

impl Limit {
    /// Every key that is given: what it counts, and how much in the board's unit
    /// (s, or a count).
    fn given(&self) -> impl Iterator<Item = (Counted, f64)> {
        let core = |measure, value: Option<f64>, unit: f64| {
            value.map(|value| (Counted::Core(measure), value * unit))
        };
        let days = |value: Option<u32>, unit: u32| {
            core(Measure::Days, value.map(f64::from), f64::from(unit))
        };
        [
            core(Measure::Stitches, self.stitches.map(f64::from), 1.0),
            self.needle_stitches.map(|value| (Counted::OwnNeedle, f64::from(value))),
            core(Measure::Trims, self.trims.map(f64::from), 1.0),
            core(Measure::PowerUps, self.power_ups.map(f64::from), 1.0),
            core(Measure::Running, self.running_h, 3_600.0),
            core(Measure::Powered, self.powered_h, 3_600.0),
            days(self.days, 1),
            days(self.weeks, 7),
            days(self.months, DAYS_A_MONTH),
        ]
        .into_iter()
        .flatten()
    }

    fn is_calendar(&self) -> bool {
        self.days.is_some() || self.weeks.is_some() || self.months.is_some()
    }
}

impl Profile {
    /// Reads and checks the profile file at `path`.
    ///
    /// # Errors
    /// An [`InputError`] that names file, line and column.
    pub fn load(path: &Path) -> Result<Self, InputError> {
        let (name, text) = checked_file::read(path)?;
        Self::parse(&name, &text)
    }

    /// Reads and checks a profile from its text; `name` is used in errors.
    ///
    /// # Errors
    /// An [`InputError`] that names file, line and column.
    pub fn parse(name: &str, text: &str) -> Result<Self, InputError> {
        checked_file::parse(name, text, |profile| {
            check::check(profile).map_err(|wrong| (wrong.key, wrong.what))
        })
    }

    /// The built-in profile for a head of `needles` needles (taken into 1 to 16): that
    /// of the next size up of 6, 10 and 15, with a component for each needle there is.
    ///
    /// # Panics
    /// Never: the built-in files are checked by a test.
    #[must_use]
    pub fn builtin(needles: u8) -> Self {
        let needles = needles.clamp(1, 16);
        let (name, text) = match needles {
            ..=6 => ("six-needle.toml", SIX),
            7..=10 => ("ten-needle.toml", TEN),
            _ => ("fifteen-needle.toml", FIFTEEN),
        };
        let profile = Self::parse(name, text).expect("the built-in profiles are sound");
        Self { needles, ..profile }
    }

    /// The components to fit, in the order of the file; `each-needle` is unfolded,
    /// needle 1 first.
    #[must_use]
    pub fn components(&self, clock_fitted: bool) -> Vec<Component, COMPONENTS_MAX> {
        let mut components = Vec::new();
        for entry in &self.components {
            for kind in kinds::unfold(&entry.kind, self.needles) {
                // Cannot fail: the number of components is checked.
                let _ = components.push(entry.component(kind, clock_fitted));
            }
        }
        components
    }

    /// `settings` with the profile's service interval.
    #[must_use]
    pub fn settings(&self, settings: Settings) -> Settings {
        Settings { service_interval_h: self.service_interval_h, ..settings }
    }
}

impl Entry {
    /// The limit that counts on a board with or without a clock.
    fn limit(&self, clock_fitted: bool) -> &Limit {
        match &self.without_clock {
            Some(limit) if !clock_fitted => limit,
            _ => &self.due,
        }
    }

    fn component(
        &self,
        kind: shaftbook_core::component::ComponentKind,
        clock_fitted: bool,
    ) -> Component {
        let (counted, due) =
            self.limit(clock_fitted).given().next().unwrap_or((Counted::OwnNeedle, 0.0));
        let measure = match counted {
            Counted::Core(measure) => measure,
            // Checked: only needles have stitches of their own.
            Counted::OwnNeedle => {
                Needle::new(kind.0).map_or(Measure::Stitches, Measure::NeedleStitches)
            }
        };
        let notice = (due * f64::from(self.notice_percent) / 100.0).ceil();
        Component {
            kind,
            measure,
            renewed_by: match self.renewed_by {
                Renewer::Operator => Role::Operator,
                Renewer::Engineer => Role::Engineer,
            },
            with_service: self.with_service,
            notice: whole(notice),
            due: whole(due),
        }
    }
}

/// `value` as a limit: at least 1, at most [`LIMIT_MAX`].
#[allow(clippy::cast_sign_loss)] // At least 1.
fn whole(value: f64) -> u32 {
    value.round().clamp(1.0, f64::from(LIMIT_MAX)) as u32
}

#[cfg(test)]
mod tests;
