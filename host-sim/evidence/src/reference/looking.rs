//! Where to look first (`docs/CARE.md`, *Where to look first*).

use super::book::{Book, Standing};
use super::machine::{Counts, NEEDLES, NeedleBy, Wiring};
use super::tails;

/// The finding that needle `n` breaks more thread is `n`; the others are as the read-out code
/// numbers them.
pub mod finding {
    /// Breaks on all needles.
    pub const EVERYWHERE: u64 = 17;
    /// The trimmer is dirty.
    pub const TRIMMER: u64 = 18;
    /// The knife is worn.
    pub const KNIFE: u64 = 19;
    /// The needle never changes.
    pub const NEEDLE_WIRING: u64 = 20;
    /// Glitches on the shaft.
    pub const SHAFT_WIRING: u64 = 21;
}

/// Of which time a hint's figures are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// Since power-up.
    Session,
    /// Ever.
    Lifetime,
    /// Since the part was renewed.
    Renewal,
}

/// A hint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sign {
    /// What it points at.
    pub finding: u64,
    /// Whether it is strong.
    pub is_strong: bool,
    /// Of which time.
    pub of: Of,
    /// What was seen.
    pub seen: u64,
    /// What is to be expected, or the limit.
    pub against: f64,
    /// The part whose limit it is.
    pub place: Option<usize>,
    chance: f64,
}

/// All that a look is made of.
#[derive(Clone, Copy, Debug)]
pub struct Looked<'a> {
    /// Wear and limits.
    pub book: &'a Book,
    /// What was set at fitting.
    pub wiring: &'a Wiring,
    /// Counted since power-up.
    pub session: &'a Counts,
    /// Counted ever.
    pub lifetime: &'a Counts,
    /// The day that is known.
    pub day: Option<u16>,
}

#[derive(Clone, Copy, Default)]
struct Tally {
    breaks: u64,
    stitches: u64,
}

fn of_needle(counts: &Counts, n: usize) -> Tally {
    Tally { breaks: counts.breaks[n], stitches: counts.needles[n] }
}

fn sum(tallies: impl Iterator<Item = Tally>) -> Tally {
    tallies.fold(Tally::default(), |sum, one| Tally {
        breaks: sum.breaks + one.breaks,
        stitches: sum.stitches + one.stitches,
    })
}

/// Whether a part of all stitches has too many of all breaks: strong or not, the chance, and the
/// breaks to be expected.
fn judged(part: Tally, all: Tally, tests: f64) -> Option<(bool, f64, f64)> {
    let rest = Tally { breaks: all.breaks - part.breaks, stitches: all.stitches - part.stitches };
    if part.breaks < 4 || part.stitches < 1_000 || rest.stitches == 0 {
        return None;
    }
    let of_rest = rest.breaks as f64 * part.stitches as f64 / rest.stitches as f64;
    if (part.breaks as f64) < 2.0 * of_rest {
        return None;
    }
    let share = part.stitches as f64 / all.stitches as f64;
    let chance = tails::upper(part.breaks, all.breaks, share);
    let expected = share * all.breaks as f64;
    (chance * tests <= 0.05).then_some((chance * tests <= 0.001, chance, expected))
}

/// What the counters point at, the surest first.
#[must_use]
pub fn signs(at: &Looked<'_>) -> Vec<Sign> {
    let used = at.lifetime.needles.iter().filter(|stitches| **stitches > 0).count();
    let tests = (2 * used + 1) as f64;
    let all = |counts: &Counts| sum((0..NEEDLES).map(|n| of_needle(counts, n)));
    let mut found = Vec::new();
    let mut named = Vec::new();
    for n in 0..NEEDLES {
        let (now, ever) = (of_needle(at.session, n), of_needle(at.lifetime, n));
        let in_session = judged(now, all(at.session), tests).map(|it| (it, Of::Session, now));
        let in_lifetime = judged(ever, all(at.lifetime), tests)
            .filter(|_| !was_put_right(now, ever))
            .map(|it| (it, Of::Lifetime, ever));
        let surer = match (in_session, in_lifetime) {
            (Some(a), Some(b)) if b.0.0 && !a.0.0 => Some(b),
            (a, b) => a.or(b),
        };
        let Some(((is_strong, chance, against), of, tally)) = surer else { continue };
        if at.wiring.needle_by == NeedleBy::Nothing {
            continue;
        }
        named.push(n);
        let (finding, seen) = (n as u64 + 1, tally.breaks);
        found.push(Sign { finding, is_strong, of, seen, against, place: None, chance });
    }
    found.extend(everywhere(at, &named, tests));
    found.extend(trimmer(at));
    found.extend(needle_wiring(at));
    found.extend(shaft_wiring(at));
    let rank = |sign: &Sign| match sign.finding {
        finding::NEEDLE_WIRING => 0,
        finding::SHAFT_WIRING => 1,
        1..=16 => 2,
        other => other,
    };
    found.sort_by(|a, b| {
        let order = b.is_strong.cmp(&a.is_strong).then(rank(a).cmp(&rank(b)));
        order.then(a.chance.total_cmp(&b.chance))
    });
    found.truncate(6);
    found
}

/// This session has too few breaks for what the lifetime shows to have gone on.
fn was_put_right(now: Tally, ever: Tally) -> bool {
    let share = now.stitches as f64 / ever.stitches.max(1) as f64;
    let expected = ever.breaks as f64 * share;
    if now.stitches >= ever.stitches || now.breaks as f64 >= expected {
        false
    } else if expected > 256.0 {
        (now.breaks as f64) < expected - 2.0 * expected.sqrt()
    } else {
        tails::lower(now.breaks, ever.breaks, share) < 0.05
    }
}

fn everywhere(at: &Looked<'_>, named: &[usize], tests: f64) -> Option<Sign> {
    let others = || (0..NEEDLES).filter(|n| !named.contains(n));
    let of = |counts: &Counts, without: Option<usize>| {
        let nobodys = Tally { breaks: counts.unattributed_breaks, stitches: counts.unattributed };
        let needles = others().filter(|n| Some(*n) != without).map(|n| of_needle(counts, n));
        sum(needles.chain([nobodys]))
    };
    let now = of(at.session, None);
    let (is_strong, chance, against) = judged(now, of(at.lifetime, None), tests)?;
    let worst = others().max_by_key(|n| at.session.breaks[*n]);
    if let Some(worst) = worst.filter(|n| at.session.breaks[*n] > 0) {
        let (now, ever) = (of(at.session, Some(worst)), of(at.lifetime, Some(worst)));
        let before =
            Tally { breaks: ever.breaks - now.breaks, stitches: ever.stitches - now.stitches };
        let expected = before.breaks as f64 / before.stitches.max(1) as f64 * now.stitches as f64;
        if now.breaks == 0 || before.stitches == 0 || (now.breaks as f64) < 2.0 * expected {
            return None;
        }
    }
    let (finding, seen) = (finding::EVERYWHERE, now.breaks);
    Some(Sign { finding, is_strong, of: Of::Session, seen, against, place: None, chance })
}

fn trimmer(at: &Looked<'_>) -> Option<Sign> {
    let book = at.book;
    let first = |kind: u8| book.parts.iter().position(|part| part.kind == kind);
    let standing = |place: usize| book.standing(place, at.lifetime, at.day);
    let worn = |place: usize| {
        let unit = if book.parts[place].measure.is_time() { 1_000 } else { 1 };
        book.wear(place, at.lifetime, at.day) / unit
    };
    let share = |place: usize| (worn(place) * 1_000 / book.parts[place].due.max(1)).min(9_999);
    let cleaning = first(39).or(first(35));
    let knives = [first(32), first(33)].into_iter().flatten();
    let knife = knives.filter(|place| standing(*place) == Standing::Due).max_by_key(|p| share(*p));
    let (finding, place) = match (cleaning.map(standing), knife) {
        (Some(Standing::Due), _) | (Some(Standing::Notice), Some(_)) => {
            (finding::TRIMMER, cleaning?)
        }
        (_, Some(knife)) => (finding::KNIFE, knife),
        _ => return None,
    };
    let (seen, due) = (worn(place), book.parts[place].due);
    let (is_strong, against) = (seen >= 2 * due, due as f64);
    Some(Sign {
        finding,
        is_strong,
        of: Of::Renewal,
        seen,
        against,
        place: Some(place),
        chance: 0.0,
    })
}

/// Stitches of the only needle that has any.
fn only_needle(counts: &Counts) -> Option<u64> {
    let used: Vec<u64> = counts.needles.iter().copied().filter(|n| *n > 0).collect();
    if let [only] = used[..] { Some(only) } else { None }
}

fn needle_wiring(at: &Looked<'_>) -> Option<Sign> {
    if at.wiring.needle_by == NeedleBy::Nothing || at.wiring.needles < 2 {
        return None;
    }
    let sign = |is_strong, of, seen, against: u64| {
        let (finding, against) = (finding::NEEDLE_WIRING, against as f64);
        Some(Sign { finding, is_strong, of, seen, against, place: None, chance: 0.0 })
    };
    let (nobodys, all) = (at.session.unattributed, at.session.stitches());
    if all >= 5_000 && nobodys * 100 / all >= 5 {
        return sign(nobodys * 100 / all >= 50, Of::Session, nobodys, all);
    }
    if let Some(only) = only_needle(at.lifetime) {
        if only < 50_000 {
            return None;
        }
        return sign(only >= 500_000, Of::Lifetime, only, at.lifetime.stitches());
    }
    only_needle(at.session)
        .filter(|only| *only >= 400_000)
        .and_then(|only| sign(false, Of::Session, only, all))
}

fn shaft_wiring(at: &Looked<'_>) -> Option<Sign> {
    let each = at.wiring.pulses_per_revolution.max(1);
    let pulses = |counts: &Counts| (counts.stitches() + counts.jumps) * each;
    let noise = |counts: &Counts| counts.glitches + counts.missed;
    let turned = pulses(at.session);
    let before_pulses = pulses(at.lifetime) - turned;
    let before_noise = noise(at.lifetime) - noise(at.session);
    let rate = (before_pulses >= 20_000).then(|| before_noise as f64 / before_pulses as f64);
    let seen = noise(at.session);
    let sign = |is_strong, against| {
        let finding = finding::SHAFT_WIRING;
        Some(Sign { finding, is_strong, of: Of::Session, seen, against, place: None, chance: 0.0 })
    };
    if let Some(rate) = rate.filter(|_| seen >= 100) {
        let expected = rate * turned as f64;
        let is_up = |times: f64, by: f64| {
            seen as f64 >= times * expected && seen as f64 >= expected + by * turned as f64
        };
        if is_up(3.0, 0.1) {
            return sign(true, expected);
        }
        if is_up(1.5, 0.01) {
            return sign(false, expected);
        }
    }
    let missed = at.session.missed;
    if missed >= 10 && missed * 1_000 >= turned {
        return sign(false, rate.unwrap_or(0.0) * turned as f64);
    }
    None
}
