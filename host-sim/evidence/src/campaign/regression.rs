//! A failing run in a file: shrunk, and with what is needed to play it again.
//!
//! `shaftbook prove --replay FILE` plays it.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::script::Script;
use shaftbook_world::bench::workload::Step;
use shaftbook_world::bus::{BadTear, Tear};
use shaftbook_world::checked_file;
use shaftbook_world::input_error::InputError;

/// Most pieces of all steps of a script that is read from a file.
const ACTS_MAX: u64 = 10_000_000;
/// Most checkpoints that a board is aged by.
const CHECKPOINTS_MAX: u32 = 5_000;

/// A regression file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Regression {
    /// The campaign that found it.
    pub campaign: String,
    /// Its run there.
    pub run: u64,
    /// What it failed on.
    pub subject: String,
    /// What was seen when it was written.
    pub seen: String,
    /// The script.
    #[serde(flatten)]
    pub script: Script,
}

impl Regression {
    /// Reads the file at `path`.
    ///
    /// # Errors
    /// An [`InputError`] that names file, line and column.
    pub fn load(path: &Path) -> Result<Self, InputError> {
        let (name, text) = checked_file::read(path)?;
        checked_file::parse(&name, &text, |regression: &Self| check(&regression.script))
    }

    /// The file's text.
    ///
    /// # Errors
    /// It cannot be written as TOML: not as scripts stand.
    pub fn text(&self) -> Result<String, toml::ser::Error> {
        let text = toml::to_string(self)?;
        Ok(format!(
            "# A run that failed, shrunk. Play it again: shaftbook prove --replay FILE\n{text}"
        ))
    }
}

fn check(script: &Script) -> Result<(), (String, String)> {
    let wrong = |key: &str, what: String| Err((key.to_owned(), what));
    if let Some(life) = &script.life {
        if !script.steps.is_empty() || !script.faults.is_empty() {
            return wrong("life", "a life has no steps and faults beside it".into());
        }
        return life.check();
    }
    if script.start.part.wired().is_none() {
        return wrong("start.part", "no part that the board can use has this shape".into());
    }
    if script.start.checkpoints > CHECKPOINTS_MAX {
        let what = format!("{} is more than {CHECKPOINTS_MAX}", script.start.checkpoints);
        return wrong("start.checkpoints", what);
    }
    let acts: u64 = script.steps.iter().map(|step| u64::from(step.acts())).sum();
    if acts > ACTS_MAX {
        return wrong("step", format!("{acts} pieces in all are more than {ACTS_MAX}"));
    }
    for (place, step) in script.steps.iter().enumerate() {
        let (needle, period_ms) = match step {
            Step::Sew { needle, period_ms, .. } => (*needle, *period_ms),
            Step::Break { needle } => (*needle, 1),
            Step::Jump { period_ms, .. } => (1, *period_ms),
            _ => (1, 1),
        };
        if !(1..=15).contains(&needle) {
            return wrong(&format!("step[{place}].needle"), format!("{needle} is not 1 to 15"));
        }
        if !(1..=10_000).contains(&period_ms) {
            let what = format!("{period_ms} is not 1 to 10,000");
            return wrong(&format!("step[{place}].period_ms"), what);
        }
    }
    for (place, fault) in script.faults.iter().enumerate() {
        if let Some(bad) = fault.deed.tears().find(|tear| tear.parse::<Tear>().is_err()) {
            return wrong(&format!("fault[{place}].tear"), format!("\"{bad}\": {BadTear}"));
        }
        let before = place.checked_sub(1).map(|before| &script.faults[before]);
        if before.is_some_and(|before| (before.step, before.act) > (fault.step, fault.act)) {
            let what = "faults stand in the order of step and act".to_owned();
            return wrong(&format!("fault[{place}].step"), what);
        }
        if fault.step as usize >= script.steps.len() {
            let what = format!("there are only {} steps", script.steps.len());
            return wrong(&format!("fault[{place}].step"), what);
        }
    }
    Ok(())
}
