//! Signs that a sensor's wiring is at fault.
//!
//! **Needle position.** Code lines at rest read as needle 1, and a dead potentiometer reads as
//! no needle. So on a machine that has several needles and a wired needle position, two things
//! point at the wiring: many stitches of no known needle, or many stitches of one needle and
//! none of any other. A shop that sews one colour for weeks looks the same, so one needle alone
//! is never more than possible until half a million stitches. The limits are our own choice, no
//! source.
//!
//! **Shaft glitches.** A sound sensor may bounce at every pulse, and each bounce is counted as
//! a glitch, so the share of glitches says nothing by itself. What says something is that the
//! share *rises*. This session's glitches are held against those to be expected at the rate of
//! the lifetime before it, and must be half as many again at least, because bounce drifts with
//! speed and wear. Missed edges (a storm of spikes has filled the capture queue) count with the
//! glitches, and also on their own. Glitches that were there from the first day on do not rise,
//! so they are not found.

use shaftbook_core::counters::Counters;
use shaftbook_core::settings::NeedleSource;

use super::{Certainty, Finding, Found, Hint, Span, hundredths};
use crate::machine::Machine;
use crate::rules::CareRules;

/// Fewest stitches of a session in which the unattributed share is judged.
const SHARE_STITCHES_LEAST: u64 = 5_000;
/// Stitches of no known needle in a hundred: possible from here on.
const SHARE_POSSIBLE: u64 = 5;
/// The same: strong.
const SHARE_STRONG: u64 = 50;
/// Stitches of a life with one needle only: possible.
const ONE_NEEDLE_POSSIBLE: u64 = 50_000;
/// The same: strong.
const ONE_NEEDLE_STRONG: u64 = 500_000;
/// Stitches of a session with one needle only, on a machine that used several before.
const ONE_NEEDLE_SESSION: u64 = 400_000;
/// Fewest glitches of a session that are judged: storms, not single spikes.
const GLITCHES_LEAST: u64 = 100;
/// Pulses before this session from which on its rate can be held against them.
const PULSES_BEFORE_LEAST: u64 = 20_000;
/// Times the rate before: possible.
const RATE_POSSIBLE: f64 = 1.5;
/// The same: strong.
const RATE_STRONG: f64 = 3.0;
/// Glitches in a pulse by which the rate must be up: possible.
const RISE_POSSIBLE: f64 = 0.01;
/// The same: strong.
const RISE_STRONG: f64 = 0.1;
/// Pulses to one missed edge, from which on missed edges are judged on their own.
const PULSES_PER_MISSED: u64 = 1_000;
/// Fewest missed edges that are judged.
const MISSED_LEAST: u64 = 10;

/// Looks at the needle position and the shaft.
pub(super) fn look<R: CareRules>(machine: &Machine<'_, R>, found: &mut Found) {
    let hints = [needle(machine), shaft(machine)];
    for hint in hints.into_iter().flatten() {
        let _ = found.push((hint, 0.0));
    }
}

fn needle<R: CareRules>(machine: &Machine<'_, R>) -> Option<Hint> {
    let settings = &machine.ledger.settings;
    if settings.needle_source == NeedleSource::NotWired || settings.needles < 2 {
        return None;
    }
    let lifetime = machine.lifetime.as_ref().unwrap_or(&machine.session);
    let (session, span) = (&machine.session, Span::Session);
    let hint = |certainty, span, seen, against| {
        let finding = Finding::NoNeedleChange;
        Some(Hint { finding, certainty, span, seen, against, place: None })
    };
    let (unknown, all) = (session.unattributed_stitches, session.stitches());
    if all >= SHARE_STITCHES_LEAST {
        match unknown.saturating_mul(100) / all {
            share if share >= SHARE_STRONG => return hint(Certainty::Strong, span, unknown, all),
            share if share >= SHARE_POSSIBLE => {
                return hint(Certainty::Possible, span, unknown, all);
            }
            _ => {}
        }
    }
    let ever = lifetime.stitches();
    if let Some(stitches) = only_needle(lifetime) {
        match stitches {
            ONE_NEEDLE_STRONG.. => return hint(Certainty::Strong, Span::Lifetime, stitches, ever),
            ONE_NEEDLE_POSSIBLE.. => {
                return hint(Certainty::Possible, Span::Lifetime, stitches, ever);
            }
            _ => return None,
        }
    }
    let stitches = only_needle(session)?;
    if stitches < ONE_NEEDLE_SESSION {
        return None;
    }
    hint(Certainty::Possible, span, stitches, all)
}

/// Stitches of the only needle that has any.
fn only_needle(counters: &Counters) -> Option<u64> {
    let mut used = counters.needle_stitches.iter().filter(|stitches| **stitches > 0);
    let first = used.next()?;
    used.next().is_none().then_some(*first)
}

fn shaft<R: CareRules>(machine: &Machine<'_, R>) -> Option<Hint> {
    let session = &machine.session;
    let pulses_each = u64::from(machine.ledger.settings.pulses_per_revolution.max(1));
    let pulses = |counters: &Counters| {
        counters.stitches().saturating_add(counters.jumps).saturating_mul(pulses_each)
    };
    let noise = |counters: &Counters| {
        u64::from(counters.glitches).saturating_add(u64::from(counters.missed_edges))
    };
    let (seen, turned) = (noise(session), pulses(session));
    let missed = u64::from(session.missed_edges);
    let before = machine.lifetime.as_ref().map(|lifetime| {
        if R::glitches_against_before() { lifetime.since(session) } else { *lifetime }
    });
    let rate = before
        .filter(|before| pulses(before) >= PULSES_BEFORE_LEAST)
        .map(|before| noise(&before) as f64 / pulses(&before) as f64);
    let hint = |certainty, expected: f64| Hint {
        finding: Finding::ShaftGlitches,
        certainty,
        span: Span::Session,
        seen,
        against: hundredths(expected),
        place: None,
    };
    if let Some(rate) = rate
        && seen >= GLITCHES_LEAST
    {
        let expected = rate * turned as f64;
        let is_up = |times: f64, rise: f64| {
            seen as f64 >= times * expected && seen as f64 >= expected + rise * turned as f64
        };
        if is_up(RATE_STRONG, RISE_STRONG) {
            return Some(hint(Certainty::Strong, expected));
        }
        if is_up(RATE_POSSIBLE, RISE_POSSIBLE) {
            return Some(hint(Certainty::Possible, expected));
        }
    }
    let storms = missed >= MISSED_LEAST && missed.saturating_mul(PULSES_PER_MISSED) >= turned;
    storms.then(|| hint(Certainty::Possible, rate.unwrap_or(0.0) * turned as f64))
}
