//! First-look hints: what the counters point at, how sure, and why.

use heapless::Vec;
use shaftbook_core::counters::Needle;

use crate::machine::Machine;

/// Most hints at a time.
pub const HINTS_MAX: usize = 6;

/// What the counters point at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Finding {
    /// This needle breaks more thread than its fellows: its thread path, pre-tensioner
    /// seating, or the needle.
    NeedleBreaks(Needle),
    /// Breaks are up on all needles: hook, tension base dust, thread.
    BreaksEverywhere,
    /// Trims since cleaning are over the limit: clean the trimmer first.
    TrimmerDirty,
    /// Trims since the knife was replaced are over the limit and it was cleaned.
    KnifeWorn,
    /// The shaft runs with no needle ever selected or changed: sensor wiring.
    NoNeedleChange,
    /// Shaft pulses are rejected as glitches: sensor wiring.
    ShaftGlitches,
}

/// How sure a hint is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Certainty {
    /// Worth a look.
    Possible,
    /// Hardly chance.
    Strong,
}

/// The span of time that a hint's figures are from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Span {
    /// Since this power-up.
    Session,
    /// Since the board was fitted.
    Lifetime,
    /// Since the component was last renewed.
    Renewal,
}

/// A hint with its reason.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hint {
    /// What it points at.
    pub finding: Finding,
    /// How sure.
    pub certainty: Certainty,
    /// What span the figures are from.
    pub span: Span,
    /// What was seen: breaks of the needle, of all; trims; glitches; stitches.
    pub seen: u64,
    /// What it is held against: breaks to be expected (in hundredths), or the limit.
    pub against: u64,
}

/// The hints, the surest first; empty is "no sign".
#[must_use]
pub fn look(_machine: &Machine<'_>) -> Vec<Hint, HINTS_MAX> {
    Vec::new()
}
