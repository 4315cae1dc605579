//! First-look hints: what the counters point at, how sure that is, and why.
//!
//! - `breaks`: one needle breaks more thread than its fellows, or all needles more than before
//! - `trims`: cleaning and knife against their limits
//! - `wiring`: a needle signal that never changes, glitches on the shaft signal
//! - this file: the list of hints; what a hint is, is in [`finding`](crate::finding)
//!
//! Invariants: every hint carries the figures that it is made from; an empty list says "no
//! sign", not "no fault"; the same figures give the same hints. Each test errs towards "no
//! sign". What each hint means, its error rates on simulated machines and its limits are in
//! `docs/CARE.md`.
//!
//! Faults that the board itself names (`Machine::faults`) are not looked at here.

mod breaks;
mod trims;
mod wiring;

use core::cmp::Ordering;

use heapless::Vec;
use shaftbook_core::counters::NEEDLES_MAX;

pub use crate::finding::{Certainty, Finding, Hint, Span};
use crate::machine::Machine;
use crate::rules::CareRules;

/// Most hints at a time.
pub const HINTS_MAX: usize = 6;
/// Chance that a sound machine gets a hint of thread breaks that is [`Certainty::Possible`]
/// or more, over all needles and spans looked at together. Our own choice.
pub const POSSIBLE_ERROR: f64 = 0.05;
/// The same for [`Certainty::Strong`].
pub const STRONG_ERROR: f64 = 0.001;

/// Hints, the surest first; empty is "no sign".
pub type Hints = Vec<Hint, HINTS_MAX>;
/// A hint and the chance that chance alone gives it (0 for what is not a test).
type Weighed = (Hint, f64);
/// Room for one hint a needle and one of each other kind.
type Found = Vec<Weighed, 24>;

/// Steps of a [`Look`].
pub const LOOK_STEPS: u8 = 2 * NEEDLES_MAX as u8 + 2;

/// A look at a machine, in steps: a board that must answer a power-fail warning makes one
/// step at a time, between two polls.
///
/// Work of a step: at most two exact tests. What they are asked lies at twice the rate to
/// be expected or more, where each term of a tail is at most half the one before: some 60
/// terms. The machine may count on between two steps: each test is right for its moment.
#[derive(Clone, Debug)]
pub struct Look {
    step: u8,
    breaks: breaks::Breaks,
    found: Found,
}

impl Look {
    /// A look that begins.
    #[must_use]
    pub const fn new() -> Self {
        Self { step: 0, breaks: breaks::Breaks::new(), found: Vec::new() }
    }

    /// Whether the next step is the first one.
    #[must_use]
    pub const fn is_new(&self) -> bool {
        self.step == 0
    }

    /// The next step; the hints when it was the last one. The look then begins anew.
    pub fn step<R: CareRules>(&mut self, machine: &Machine<'_, R>) -> Option<Hints> {
        let step = usize::from(self.step);
        self.step += 1;
        match (step / 2, step % 2) {
            (needle @ 0..NEEDLES_MAX, 0) => self.breaks.session(machine, needle),
            (needle @ 0..NEEDLES_MAX, _) => self.breaks.lifetime(machine, needle, &mut self.found),
            (_, 0) => self.breaks.everywhere(machine, &mut self.found),
            _ => {
                trims::look(machine, &mut self.found);
                wiring::look(machine, &mut self.found);
                let hints = surest::<R>(&self.found);
                *self = Self::new();
                return Some(hints);
            }
        }
        None
    }
}

impl Default for Look {
    fn default() -> Self {
        Self::new()
    }
}

/// All steps of a look at once, where nothing waits for it.
#[must_use]
pub fn look<R: CareRules>(machine: &Machine<'_, R>) -> Hints {
    let mut look = Look::new();
    loop {
        if let Some(hints) = look.step(machine) {
            return hints;
        }
    }
}

/// The surest of what was found, in order.
fn surest<R: CareRules>(found: &Found) -> Hints {
    let mut order = Found::new();
    for weighed in found {
        let place = order.iter().position(|other| comes_before::<R>(weighed, other));
        // Cannot fail: it has the room of what is ordered.
        let _ = order.insert(place.unwrap_or(order.len()), *weighed);
    }
    order.iter().take(HINTS_MAX).map(|(hint, _)| *hint).collect()
}

fn comes_before<R: CareRules>((a, a_chance): &Weighed, (b, b_chance): &Weighed) -> bool {
    let surer = if R::surest_first() { b.certainty.cmp(&a.certainty) } else { Ordering::Equal };
    let order = surer
        .then(rank(a.finding).cmp(&rank(b.finding)))
        .then(a_chance.partial_cmp(b_chance).unwrap_or(Ordering::Equal));
    order == Ordering::Less
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
