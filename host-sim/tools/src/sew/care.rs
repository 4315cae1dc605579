//! What is due on the simulated machine after its last cut, by the profile it was fitted
//! with.

use std::marker::PhantomData;

use std::fmt::Write as _;

use serde::Serialize;
use shaftbook_care::item::{CareItem, items};
use shaftbook_care::machine::Machine;
use shaftbook_core::component::{Measure, Standing};
use shaftbook_core::fault::FaultSet;

use super::run::SewOutcome;
use crate::inspect::names;
use shaftbook_world::figures::grouped;
use shaftbook_world::fitting::BOARD;
use shaftbook_world::profile::Profile;

/// The care section.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Care {
    /// Name of the profile.
    pub profile: String,
    /// Components in it.
    pub components: usize,
    /// Those that are due or announced, the most pressing first.
    pub pressing: Vec<PressingPart>,
}

/// A component that is due or announced.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PressingPart {
    /// `due` or `notice`.
    pub standing: &'static str,
    /// What it is.
    pub component: String,
    /// What wears it, with the unit of the figures.
    pub measure: String,
    /// Wear, in that unit: s of time, or a count.
    pub wear: u64,
    /// Its due limit, in that unit.
    pub due: u32,
    #[serde(skip)]
    is_time: bool,
}

impl Care {
    /// What is due after `outcome`, by `profile`.
    #[must_use]
    pub fn of(profile: &Profile, outcome: &SewOutcome) -> Self {
        let mut pressing: Vec<CareItem> = Vec::new();
        if let Some((ledger, lifetime)) = &outcome.kept {
            let machine: Machine = Machine {
                id: BOARD,
                lifetime: Some(*lifetime),
                session: outcome.counted,
                ledger,
                faults: FaultSet::default(),
                day: None,
                hints: &[],
                rules: PhantomData,
            };
            pressing.extend(items(&machine).filter(|item| item.standing != Standing::Fine));
        }
        pressing.sort_by_key(|item| std::cmp::Reverse((item.standing, item.permille())));
        Self {
            profile: profile.name.clone(),
            components: profile.components(false).len(),
            pressing: pressing.iter().map(PressingPart::of).collect(),
        }
    }

    /// The section as text, with a blank line before it.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = format!("\ncare by the profile \"{}\" (no clock fitted):\n", self.profile);
        for item in &self.pressing {
            let (wear, due) = if item.is_time {
                (tenths_h(item.wear), tenths_h(item.due.into()))
            } else {
                (grouped(item.wear), grouped(item.due))
            };
            let measure = item.measure.trim_end_matches(", s");
            let _ = writeln!(
                text,
                "{:<8}{:<28}{wear} of {due} {measure}",
                item.standing, item.component
            );
        }
        let rest = self.components - self.pressing.len();
        let _ = writeln!(text, "{:<8}{rest} of {} components", "fine", self.components);
        text
    }
}

impl PressingPart {
    fn of(item: &CareItem) -> Self {
        Self {
            standing: if item.standing == Standing::Due { "due" } else { "notice" },
            component: names::kind(item.component.kind),
            measure: names::measure(item.component.measure),
            wear: item.wear,
            due: item.component.due,
            is_time: matches!(item.component.measure, Measure::Powered | Measure::Running),
        }
    }
}

/// Seconds as hours with one digit, rounded down.
fn tenths_h(seconds: u64) -> String {
    format!("{}.{} h", grouped(seconds / 3_600), seconds % 3_600 / 360)
}
