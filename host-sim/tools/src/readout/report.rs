//! What a read-out code says, as plain values that can be serialised.

use serde::Serialize;
use shaftbook_core::component::ComponentKind;
use shaftbook_core::settings::ServiceMeasure;
use shaftbook_readout::alphabet::letter;
use shaftbook_readout::code::{Code, GROUP, group_and_place};
use shaftbook_readout::decode::{Decoded, Mended};
use shaftbook_readout::spelling;
use shaftbook_readout::state::{Pressing, Sign};
use shaftbook_readout::steps::Steps;

use super::words;
use crate::inspect::names;
use crate::inspect::report::FaultLine;

/// Everything that a code says. All figures are measured, rounded down; none is stated.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CodeReport {
    /// The code as it was meant.
    pub code: String,
    /// The same in the spelling alphabet, a line a group.
    pub spelled: Vec<String>,
    /// Symbols that were corrected or filled in.
    pub mended: Vec<MendedLine>,
    /// The first four symbols of the board's tag.
    pub tag_begins: String,
    /// Lifetime powered time, h.
    pub powered_h: CutFigure,
    /// Lifetime stitches.
    pub stitches: CutFigure,
    /// Whether hours, stitches or trims were stated at fitting; not in the figures.
    pub has_stated_past: bool,
    /// Time since the last service, h.
    pub interval_h: CutFigure,
    /// What the interval counts: `powered` or `running`.
    pub interval_measure: &'static str,
    /// Whether the interval has reached its limit.
    pub is_service_due: bool,
    /// Services done.
    pub services: CutFigure,
    /// Components that are due.
    pub components_due: CutFigure,
    /// Components at notice and not yet due.
    pub components_at_notice: CutFigure,
    /// The most pressing component.
    pub most_pressing: Option<PressingLine>,
    /// Trims since the fixed knife was renewed; `None` if the profile has none.
    pub knife_trims: Option<CutFigure>,
    /// Faults present.
    pub faults: Vec<FaultLine>,
    /// The strongest hint; `None`: no sign.
    pub hint: Option<HintLine>,
}

/// A figure that was cut to a few bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct CutFigure {
    /// The least it can be.
    pub least: u64,
    /// The most it can be; `None` when it did not fit.
    pub most: Option<u64>,
}

impl<const MOST: u32, const UNIT: u32> From<Steps<MOST, UNIT>> for CutFigure {
    fn from(steps: Steps<MOST, UNIT>) -> Self {
        Self { least: steps.least(), most: steps.most() }
    }
}

/// A symbol that was corrected or filled in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct MendedLine {
    /// Its group, from 1.
    pub group: usize,
    /// Its place in the group, from 1.
    pub place: usize,
    /// What was heard; `None` for nothing.
    pub heard: Option<char>,
    /// What was meant.
    pub meant: char,
}

impl From<&Mended> for MendedLine {
    fn from(mended: &Mended) -> Self {
        let (group, place) = group_and_place(mended.place);
        Self { group, place, heard: mended.heard.map(letter), meant: letter(mended.meant) }
    }
}

/// The most pressing component.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PressingLine {
    /// Code of what it is; `None` for a kind that the code has no number for.
    pub kind: Option<u8>,
    /// What it is.
    pub name: String,
    /// Its wear, % of its due limit.
    pub wear_percent: CutFigure,
}

impl From<Pressing> for PressingLine {
    fn from(pressing: Pressing) -> Self {
        let name =
            pressing.kind.map_or_else(|| "component of another kind".to_owned(), names::kind);
        let kind = pressing.kind.map(|ComponentKind(number)| number);
        Self { kind, name, wear_percent: pressing.wear.into() }
    }
}

/// A hint in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct HintLine {
    /// What was found.
    pub finding: String,
    /// How sure: `possible` or `strong`.
    pub certainty: &'static str,
    /// What to look at first.
    pub look_first: String,
}

impl From<Sign> for HintLine {
    fn from(sign: Sign) -> Self {
        Self {
            finding: words::finding(sign.finding),
            certainty: words::certainty(sign.certainty),
            look_first: words::look_first(sign.finding),
        }
    }
}

/// The groups of `code` in the spelling alphabet.
#[must_use]
pub fn spelled(code: &Code) -> Vec<String> {
    let group = |group: &[u8]| {
        group.iter().map(|symbol| spelling::word(*symbol)).collect::<Vec<_>>().join(" ")
    };
    code.symbols().chunks(GROUP).map(group).collect()
}

impl From<&Decoded> for CodeReport {
    fn from(decoded: &Decoded) -> Self {
        let said = &decoded.read_out;
        Self {
            code: decoded.code.to_string(),
            spelled: spelled(&decoded.code),
            mended: decoded.mended.iter().map(MendedLine::from).collect(),
            tag_begins: said.tag.to_string(),
            powered_h: said.powered_h.into(),
            stitches: said.stitches.into(),
            has_stated_past: said.has_stated_past,
            interval_h: said.interval_h.into(),
            interval_measure: match said.service_measure {
                ServiceMeasure::Powered => "powered",
                ServiceMeasure::Running => "running",
            },
            is_service_due: said.is_service_due,
            services: said.services.into(),
            components_due: said.due.into(),
            components_at_notice: said.notice.into(),
            most_pressing: said.pressing.map(PressingLine::from),
            knife_trims: said.knife_trims.map(CutFigure::from),
            faults: said.faults.iter().map(FaultLine::from).collect(),
            hint: said.sign.map(HintLine::from),
        }
    }
}
