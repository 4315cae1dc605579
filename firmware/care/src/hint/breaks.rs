//! Thread breaks: one needle against its fellows, and all needles against the past.
//!
//! **One needle.** If all needles broke thread alike, the chance that a break falls on one of
//! them would be that needle's share of the stitches. The number of its breaks, among all
//! attributed breaks, is then binomial. The chance of as many breaks as were seen, or more, is
//! the chance of a false alarm.
//!
//! **All needles.** If breaks were no more frequent in this session than before, the chance
//! that a break of the lifetime falls into the session would be the session's share of the
//! stitches. Needles that are named already are left out of both counts.
//!
//! **Correction.** One look tests each needle that has sewn in two spans (session and
//! lifetime), and all needles together once. Each test is held to the error rate divided by the
//! number of tests (Bonferroni), so the rate holds for the look as a whole, whatever the
//! needles do.
//!
//! **Size.** With enough stitches, even a small difference between threads is more than chance.
//! So a hint also needs twice the rate to be expected, four breaks, and a thousand stitches on
//! the needle. These limits are our own choice, no source.

use shaftbook_core::counters::{Counters, NEEDLES_MAX, Needle};
use shaftbook_core::settings::NeedleSource;

use super::{Certainty, Finding, Found, Hint, POSSIBLE_ERROR, STRONG_ERROR, Span, hundredths};
use crate::binomial::{lower_tail, upper_tail};
use crate::machine::Machine;
use crate::rules::CareRules;

/// Fewest breaks that point at anything: breaks come in clusters when a rethreading fails.
const BREAKS_LEAST: u64 = 4;
/// Fewest stitches of a needle that is judged.
const STITCHES_LEAST: u64 = 1_000;
/// Times the rate to be expected.
const RATE_LEAST: f64 = 2.0;
/// A finding of the lifetime is over when a session like this one would be this rare.
const OVER_ERROR: f64 = 0.05;

/// Breaks to be expected up to which [`is_over`] sums a tail.
const EXACT_BREAKS: f64 = 256.0;

/// Breaks and stitches of one or more needles.
#[derive(Clone, Copy, Default)]
struct Tally {
    breaks: u64,
    stitches: u64,
}

impl Tally {
    fn of(counters: &Counters, index: usize) -> Self {
        let breaks = counters.needle_breaks.get(index).copied().unwrap_or(0);
        let stitches = counters.needle_stitches.get(index).copied().unwrap_or(0);
        Self { breaks: u64::from(breaks), stitches }
    }

    fn plus(self, other: Self) -> Self {
        Self {
            breaks: self.breaks.saturating_add(other.breaks),
            stitches: self.stitches.saturating_add(other.stitches),
        }
    }
}

/// A judged test.
#[derive(Clone, Copy, Debug)]
struct Judged {
    certainty: Certainty,
    chance: f64,
    expected: f64,
}

/// Whether `part`, a share of `all`, has too many breaks for its stitches.
fn judge(part: Tally, all: Tally, tests: f64) -> Option<Judged> {
    let rest = all.stitches.saturating_sub(part.stitches);
    if part.breaks < BREAKS_LEAST || part.stitches < STITCHES_LEAST || rest == 0 {
        return None;
    }
    let share = part.stitches as f64 / all.stitches as f64;
    // Against the rest's rate, as the part's own breaks would hide how far it is off.
    let rest_breaks = all.breaks.saturating_sub(part.breaks) as f64;
    let expected_by_rest = rest_breaks / rest as f64 * part.stitches as f64;
    if (part.breaks as f64) < RATE_LEAST * expected_by_rest {
        return None;
    }
    let chance = upper_tail(part.breaks, all.breaks, share);
    let certainty = match chance * tests {
        error if error <= STRONG_ERROR => Certainty::Strong,
        error if error <= POSSIBLE_ERROR => Certainty::Possible,
        _ => return None,
    };
    Some(Judged { certainty, chance, expected: share * all.breaks as f64 })
}

/// What a needle is named for.
type Named = (Judged, Span, u64);

/// Looks at the breaks of all needles, needle by needle.
#[derive(Clone, Debug)]
pub(super) struct Breaks {
    named: [bool; NEEDLES_MAX],
    /// Of the needle that is looked at.
    of_session: Option<Named>,
}

impl Breaks {
    pub(super) const fn new() -> Self {
        Self { named: [false; NEEDLES_MAX], of_session: None }
    }

    /// Judges the session of needle `index`.
    pub(super) fn session<R: CareRules>(&mut self, machine: &Machine<'_, R>, index: usize) {
        let now = Tally::of(&machine.session, index);
        self.of_session = judge(now, of_all(&machine.session), tests(machine))
            .map(|judged| (judged, Span::Session, now.breaks));
    }

    /// Judges its lifetime, and names the needle for the surer of the two spans: this
    /// session when they are equally sure.
    pub(super) fn lifetime<R: CareRules>(
        &mut self,
        machine: &Machine<'_, R>,
        index: usize,
        found: &mut Found,
    ) {
        let (session, lifetime) = (&machine.session, lifetime(machine));
        let (now, ever) = (Tally::of(session, index), Tally::of(lifetime, index));
        let of_lifetime = judge(ever, of_all(lifetime), tests(machine))
            .filter(|_| !is_over(now, ever))
            .map(|judged| (judged, Span::Lifetime, ever.breaks));
        let named = match (self.of_session.take(), of_lifetime) {
            (Some(a), Some(b)) if b.0.certainty > a.0.certainty => Some(b),
            (Some(a), _) => Some(a),
            (None, b) => b,
        };
        let needle = u8::try_from(index + 1).ok().and_then(Needle::new);
        let is_wired = machine.ledger.settings.needle_source != NeedleSource::NotWired;
        let (Some((judged, span, seen)), Some(needle), true) = (named, needle, is_wired) else {
            return;
        };
        if let Some(named) = self.named.get_mut(index) {
            *named = true;
        }
        push(found, Finding::NeedleBreaks(needle), judged, span, seen);
    }

    /// Judges all needles together, but for those that are named.
    pub(super) fn everywhere<R: CareRules>(&self, machine: &Machine<'_, R>, found: &mut Found) {
        let named = if R::named_needles_left_out() { self.named } else { [false; NEEDLES_MAX] };
        everywhere(&machine.session, lifetime(machine), &named, tests(machine), found);
    }
}

fn lifetime<'m, R>(machine: &'m Machine<'_, R>) -> &'m Counters {
    machine.lifetime.as_ref().unwrap_or(&machine.session)
}

/// Tests that one look makes.
fn tests<R: CareRules>(machine: &Machine<'_, R>) -> f64 {
    let stitches = &lifetime(machine).needle_stitches;
    let used = stitches.iter().filter(|stitches| **stitches > 0).count();
    if R::tests_share_the_error() { (2 * used + 1) as f64 } else { 1.0 }
}

fn of_all(counters: &Counters) -> Tally {
    (0..NEEDLES_MAX).fold(Tally::default(), |sum, n| sum.plus(Tally::of(counters, n)))
}

fn push(found: &mut Found, finding: Finding, judged: Judged, span: Span, seen: u64) {
    let against = hundredths(judged.expected);
    let hint = Hint { finding, certainty: judged.certainty, span, seen, against, place: None };
    let _ = found.push((hint, judged.chance));
}

/// Whether the session has too few breaks for the needle's lifetime rate to go on: what
/// was wrong was put right.
///
/// Exact up to [`EXACT_BREAKS`] breaks to be expected; beyond, two standard deviations (a
/// chance of some 2 %), so that a step of a look stays short.
fn is_over(now: Tally, ever: Tally) -> bool {
    let share = now.stitches as f64 / ever.stitches.max(1) as f64;
    let (seen, expected) = (now.breaks as f64, ever.breaks as f64 * share);
    if now.stitches >= ever.stitches || seen >= expected {
        false
    } else if expected > EXACT_BREAKS {
        seen < expected - 2.0 * libm::sqrt(expected)
    } else {
        lower_tail(now.breaks, ever.breaks, share) < OVER_ERROR
    }
}

fn everywhere(
    session: &Counters,
    lifetime: &Counters,
    named: &[bool; NEEDLES_MAX],
    tests: f64,
    found: &mut Found,
) {
    let of = |counters: &Counters, skip: Option<usize>| {
        let unattributed = Tally {
            breaks: u64::from(counters.unattributed_breaks),
            stitches: counters.unattributed_stitches,
        };
        let wanted = |n: &usize| !named.get(*n).copied().unwrap_or(false) && Some(*n) != skip;
        (0..NEEDLES_MAX)
            .filter(wanted)
            .fold(unattributed, |sum, n| sum.plus(Tally::of(counters, n)))
    };
    let now = of(session, None);
    let Some(judged) = judge(now, of(lifetime, None), tests) else { return };
    // One needle alone may be behind it: what is left without the one that broke most must
    // be up as well, by rate if not beyond chance.
    let most = (0..NEEDLES_MAX)
        .filter(|n| !named.get(*n).copied().unwrap_or(false))
        .max_by_key(|n| Tally::of(session, *n).breaks)
        .filter(|n| Tally::of(session, *n).breaks > 0);
    if most.is_some() {
        let (others, others_ever) = (of(session, most), of(lifetime, most));
        let before = others_ever.stitches.saturating_sub(others.stitches);
        let breaks_before = others_ever.breaks.saturating_sub(others.breaks) as f64;
        let expected = breaks_before / before.max(1) as f64 * others.stitches as f64;
        let is_up = others.breaks as f64 >= RATE_LEAST * expected;
        if others.breaks == 0 || before == 0 || !is_up {
            return;
        }
    }
    push(found, Finding::BreaksEverywhere, judged, Span::Session, now.breaks);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::binomial::upper_tail_and_terms;
    use proptest::prelude::*;

    proptest! {
        /// Why a step of a look is short: what passes the check of the rate needs few
        /// terms, whatever the counts.
        #[test]
        fn a_judged_tail_has_few_terms(
            part in (4..3_000_000_u64, 1_000..5_000_000_000_u64),
            rest in (0..3_000_000_u64, 1..5_000_000_000_u64),
        ) {
            let part = Tally { breaks: part.0, stitches: part.1 };
            let all = part.plus(Tally { breaks: rest.0, stitches: rest.1 });
            let by_rest = rest.0 as f64 / rest.1 as f64 * part.stitches as f64;
            prop_assume!(part.breaks as f64 >= RATE_LEAST * by_rest);
            let share = part.stitches as f64 / all.stitches as f64;
            let (_, terms) = upper_tail_and_terms(part.breaks, all.breaks, share);
            prop_assert!(terms <= 60, "{terms} terms");
        }
    }

    #[test]
    fn without_the_check_of_the_rate_there_would_be_many() {
        let (_, terms) = upper_tail_and_terms(1_000_100, 2_000_000, 0.5);
        assert!(terms > 1_000, "{terms}");
    }
}
