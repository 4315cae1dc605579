//! First-look hints: what the counters point at, how sure, and why.
//!
//! - `breaks`: which needle breaks more thread than its fellows, or all do
//! - `trims`: cleaning and knife against their limits
//! - `wiring`: a needle signal that never changes, glitches on the shaft signal
//! - this file: what a hint is; the list
//!
//! Invariants: every hint carries the figures it is made from; an empty list says "no
//! sign", not "no fault"; the same figures give the same hints. Each test errs to "no
//! sign". What each hint means, its error rates on simulated machines and its limits are
//! in `docs/CARE.md`.
//!
//! Does not look at faults that the board names itself (`Machine::faults`).

mod breaks;
mod trims;
mod wiring;

use core::cmp::Ordering;

use heapless::Vec;
use shaftbook_core::counters::Needle;

use crate::machine::Machine;

/// Most hints at a time.
pub const HINTS_MAX: usize = 6;
/// Chance that a sound machine gets a hint of thread breaks that is [`Certainty::Possible`]
/// or more, over all needles and spans looked at together. Our own choice.
pub const POSSIBLE_ERROR: f64 = 0.05;
/// The same for [`Certainty::Strong`].
pub const STRONG_ERROR: f64 = 0.001;

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
    /// in at most 5 % of looks ([`POSSIBLE_ERROR`]).
    Possible,
    /// Hardly chance. For thread breaks: at most 0.1 % of looks ([`STRONG_ERROR`]).
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

/// A hint and the chance that chance alone gives it (0 for what is not a test).
type Weighed = (Hint, f64);
/// Room for one hint a needle and one of each other kind.
type Found = Vec<Weighed, 24>;

/// The hints, the surest first; empty is "no sign".
///
/// Work: two exact tests a needle and a few more, each of at most
/// [`TERMS_MAX`](crate::binomial::TERMS_MAX) terms, in practice a few hundred.
#[must_use]
pub fn look(machine: &Machine<'_>) -> Vec<Hint, HINTS_MAX> {
    let mut found = Found::new();
    // No push can fail: there is room for all.
    breaks::look(machine, &mut found);
    trims::look(machine, &mut found);
    wiring::look(machine, &mut found);
    found.sort_unstable_by(|(a, a_chance), (b, b_chance)| {
        b.certainty
            .cmp(&a.certainty)
            .then(rank(a.finding).cmp(&rank(b.finding)))
            .then(a_chance.partial_cmp(b_chance).unwrap_or(Ordering::Equal))
    });
    found.iter().take(HINTS_MAX).map(|(hint, _)| *hint).collect()
}

/// Of hints that are equally sure the one that would explain the others comes first.
fn rank(finding: Finding) -> u8 {
    match finding {
        Finding::NoNeedleChange => 0,
        Finding::ShaftGlitches => 1,
        Finding::NeedleBreaks(_) => 2,
        Finding::BreaksEverywhere => 3,
        Finding::TrimmerDirty => 4,
        Finding::KnifeWorn => 5,
    }
}

/// A figure to be expected, in hundredths, rounded.
#[allow(clippy::cast_sign_loss)] // Clamped.
fn hundredths(expected: f64) -> u64 {
    libm::round(expected * 100.0).clamp(0.0, 1e18) as u64
}
