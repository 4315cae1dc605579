//! What a hint is: a finding, how sure it is, and the figures behind it.

use shaftbook_core::counters::Needle;

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
    /// Worth a look. For thread breaks: chance alone gives a sound machine any such hint
    /// in at most 5 % of looks ([`POSSIBLE_ERROR`](crate::hint::POSSIBLE_ERROR)).
    Possible,
    /// Hardly chance. For thread breaks: at most 0.1 % of looks
    /// ([`STRONG_ERROR`](crate::hint::STRONG_ERROR)).
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
    /// What was seen: breaks of the needle, or of all needles; wear of the component in
    /// the unit of its limit; stitches of no known needle, or all of one needle; glitches
    /// and missed edges.
    pub seen: u64,
    /// What it is held against: breaks, or glitches and missed edges, to be expected, in
    /// hundredths; the component's due limit; all stitches of the span.
    pub against: u64,
    /// The component whose limit it is: its place in the profile.
    pub place: Option<usize>,
}
