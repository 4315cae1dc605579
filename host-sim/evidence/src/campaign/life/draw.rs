//! Draws a life from the plan: part, profile, machine, signals, cuts, damage, visits, refits and
//! the clock. Kinds of fault come in swarms, as in other campaigns (`campaign::draw`).
//!
//! Invariant: a life depends on the plan and the run's number alone, and passes its check.

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_care::calendar::FIRST_DAY;
use shaftbook_core::component::Measure;

use crate::campaign::any_deed::{LAST_LAPS, below, chance, draw_deed};
use crate::campaign::deed::Deed;
use crate::campaign::kind::FaultKind;
use crate::campaign::life_plan::{DAYS_A_YEAR, LifePlan};
use crate::campaign::life_script::{
    Ask, Dated, FailingSensor, LifeComponent, LifeFailure, LifeFitting, LifeScript, WEEK_DAYS,
    What, needle_measure,
};
use crate::campaign::part_shape::PartShape;
use crate::campaign::plan::CampaignPlan;
use crate::campaign::shop::Shop;
use shaftbook_world::bench::parts;

/// Work begins so long after midnight, minutes.
const BEGIN_MIN: u32 = 6 * 60;
/// Days between two damages of the part, at least: what is lost is made good in between.
const DAMAGE_APART: u32 = 8;
/// Neighbours that wear out at once, at most: one more than there is room for their notes.
const WORN_PAGES_MAX: u32 = 6;
/// Kinds of cut, of which each has its share of the cuts of a year.
const CUT_KINDS: f64 = 3.0;
/// Bytes of a display before it fails, at most: some of the tiles of two pictures.
const SCREEN_BYTES: u32 = 3_000;
/// Shaft pulses of a revolution that are common, and those that are not.
const PULSES: [u8; 8] = [1, 1, 1, 2, 4, 8, 16, 64];
/// The board counts with at most so many pulses × debounce µs: a quarter of the pulse period at
/// its fastest speed.
const PULSES_TIMES_DEBOUNCE: u32 = 7_500;

/// The life of a run, drawn with `rng`.
#[must_use]
pub fn draw_life(
    plan: &CampaignPlan,
    lives: &LifePlan,
    shop: &Shop,
    rng: &mut Pcg32,
) -> LifeScript {
    let days = lives.days();
    // Every second life has the reference part.
    let part = match below(rng, 2) {
        0 => PartShape::REFERENCE,
        _ => PartShape::of(parts::any_part(rng)),
    };
    let lap = match below(rng, 3) {
        0 => LAST_LAPS + below(rng, 2),
        _ => 1 + below(rng, 1_000),
    };
    let mut life = LifeScript {
        seed: u64::from(rng.next_u32()),
        lap,
        first_day: FIRST_DAY + below(rng, 2_000) as u16,
        part,
        shifts: draw_shifts(lives, rng),
        designs: shop.designs.clone(),
        fitting: draw_fittings(lives, shop, days, rng),
        date: Vec::new(),
    };
    draw_people(lives, days, &mut life.date, rng);
    draw_faults(plan, lives, part, days, &mut life.date, rng);
    life.date.sort_by_key(Dated::key);
    life
}

/// As many hours as the plan says, in one shift or two.
fn draw_shifts(lives: &LifePlan, rng: &mut Pcg32) -> Vec<[u32; 2]> {
    let minutes = lives.hours_per_year * 60 / DAYS_A_YEAR;
    let begin = BEGIN_MIN + below(rng, 60);
    if below(rng, 2) == 0 {
        return vec![[begin, begin + minutes]];
    }
    let pause = 20 + below(rng, 30);
    vec![[begin, begin + minutes / 2], [begin + minutes / 2 + pause, begin + minutes + pause]]
}

fn draw_fittings(lives: &LifePlan, shop: &Shop, days: u32, rng: &mut Pcg32) -> Vec<LifeFitting> {
    let more = lives.refits.least + below(rng, lives.refits.most - lives.refits.least + 1);
    let count = (more + 1).min(days.div_ceil(WEEK_DAYS));
    let mut fittings: Vec<LifeFitting> = Vec::new();
    let mut left = days;
    for rest in (1..=count).rev() {
        let weeks = left.div_ceil(WEEK_DAYS);
        let most = weeks - (rest - 1);
        // One in three is a trial of some weeks.
        let share = match below(rng, 3) {
            _ if rest == 1 => left,
            0 => (1 + below(rng, 8)).min(most) * WEEK_DAYS,
            _ => (1 + below(rng, (2 * weeks / rest).clamp(1, most))).min(most) * WEEK_DAYS,
        };
        left -= share;
        let mut fitting = match fittings.last() {
            None => draw_fitting(shop, share, rng),
            Some(before) => changed(before, shop, share, rng),
        };
        // Each pulse costs time: a sensor with many stays for some weeks.
        while u32::from(fitting.pulses_per_revolution) * share > share.max(days / 2) {
            fitting.pulses_per_revolution /= 2;
        }
        fittings.push(fitting);
    }
    fittings
}

fn draw_fitting(shop: &Shop, days: u32, rng: &mut Pcg32) -> LifeFitting {
    let pulses = PULSES[below(rng, PULSES.len() as u32) as usize];
    // An engineer sets a debounce time that is longer than the bounce.
    let most = (PULSES_TIMES_DEBOUNCE / u32::from(pulses)).clamp(60, 400);
    let shaft_debounce = match below(rng, 3) {
        0 => 50,
        _ => 50 + below(rng, most.min(100) - 49),
    };
    let contact_debounce = 4_000 + below(rng, 6_000);
    let rarely = |rng: &mut Pcg32, most: u32| match below(rng, 3) {
        0 => below(rng, most),
        _ => 0,
    };
    let warned = below(rng, 2) == 0;
    let mut fitting = LifeFitting {
        days,
        needles: [6, 10, 15, 16][below(rng, 4) as usize],
        by_voltage: below(rng, 4) == 0,
        stitches_per_min: (60_000 / shop.period_ms.max(30)).clamp(300, 1_200),
        pulses_per_revolution: pulses,
        shaft_bounce_us: below(rng, shaft_debounce * 4 / 5),
        shaft_debounce_us: shaft_debounce as u16,
        contact_bounce_us: below(rng, contact_debounce * 4 / 5).min(5_000),
        contact_debounce_us: contact_debounce as u16,
        run_gap_ms: 2_000,
        checkpoint_running_s: [10, 10, 5, 30][below(rng, 4) as usize],
        checkpoint_trims: [64, 64, 20, 200][below(rng, 4) as usize],
        checkpoint_powered_s: [60, 60, 30, 600][below(rng, 4) as usize],
        service_interval_h: 100 + below(rng, 900) as u16,
        hold_up_ms: warned.then(|| 10 + below(rng, 150)),
        off_while_sewing: below(rng, 2) == 0,
        offs_per_1000_shifts: below(rng, 600),
        frame_change_s: shop.frame_change_s.max(1),
        breaks_per_million: per_million(shop.breaks_per_100k),
        glitches_per_million: rarely(rng, 300),
        missed_per_million: rarely(rng, 40),
        extra_per_million: rarely(rng, 10),
        cut_after_bytes: None,
        failure: draw_failures(days, rng),
        component: Vec::new(),
    };
    fitting.component = draw_profile(fitting.needles, rng);
    fitting
}

#[allow(clippy::cast_sign_loss)] // At least 0.
fn per_million(per_100k: f64) -> u32 {
    (per_100k * 10.0) as u32
}

/// The next fitting: another sensor, other times, another profile, or all of it.
fn changed(before: &LifeFitting, shop: &Shop, days: u32, rng: &mut Pcg32) -> LifeFitting {
    let new = draw_fitting(shop, days, rng);
    let mut fitting = LifeFitting {
        days,
        failure: new.failure.clone(),
        cut_after_bytes: (below(rng, 2) == 0).then(|| u64::from(below(rng, 4_000))),
        ..before.clone()
    };
    if below(rng, 2) == 0 {
        // A new sensor on the shaft.
        fitting.pulses_per_revolution = new.pulses_per_revolution;
        fitting.shaft_bounce_us = new.shaft_bounce_us;
        fitting.shaft_debounce_us = new.shaft_debounce_us;
    }
    if below(rng, 2) == 0 {
        fitting.contact_bounce_us = new.contact_bounce_us;
        fitting.contact_debounce_us = new.contact_debounce_us;
    }
    if below(rng, 2) == 0 {
        fitting.checkpoint_running_s = new.checkpoint_running_s;
        fitting.checkpoint_powered_s = new.checkpoint_powered_s;
        fitting.service_interval_h = new.service_interval_h;
    }
    // Components go, come, change their limit or what they wear by, and stand elsewhere.
    for component in new.component {
        let place = fitting.component.iter().position(|c| c.kind == component.kind);
        match (below(rng, 5), place) {
            (0, Some(place)) => _ = fitting.component.remove(place),
            (1, Some(place)) => fitting.component[place].measure = component.measure,
            (2, Some(place)) => fitting.component[place] = component,
            (3, None) if fitting.component.len() < 32 => fitting.component.insert(0, component),
            _ => {}
        }
    }
    if fitting.component.len() > 1 && below(rng, 3) == 0 {
        fitting.component.rotate_left(1);
    }
    fitting
}

/// A profile: the needles, and some of the parts and tasks that profiles have.
fn draw_profile(needles: u8, rng: &mut Pcg32) -> Vec<LifeComponent> {
    let mut components: Vec<LifeComponent> = (1..=needles)
        .map(|number| LifeComponent {
            kind: number,
            measure: needle_measure(number),
            engineer: false,
            with_service: number % 2 == 1,
            due: 1_000_000 + below(rng, 4_000_000),
        })
        .collect();
    for kind in (32..=39).chain([40, 41]) {
        if below(rng, 4) == 0 {
            continue;
        }
        let (measure, due) = match below(rng, 6) {
            0 => (Measure::Powered, 36_000 + below(rng, 3_600_000)),
            1 => (Measure::Running, 36_000 + below(rng, 3_600_000)),
            2 => (Measure::Stitches, 1_000_000 + below(rng, 50_000_000)),
            3 => (Measure::Trims, 10_000 + below(rng, 1_000_000)),
            4 => (Measure::PowerUps, 10 + below(rng, 1_000)),
            _ => (Measure::Days, 2 + below(rng, 400)),
        };
        components.push(LifeComponent {
            kind,
            measure: measure.code(),
            engineer: below(rng, 3) == 0,
            with_service: below(rng, 2) == 0,
            due,
        });
    }
    components
}

/// Sensors that fail for some days: in one fitting of three.
fn draw_failures(days: u32, rng: &mut Pcg32) -> Vec<LifeFailure> {
    let mut failures = Vec::new();
    for sensor in [
        FailingSensor::Shaft,
        FailingSensor::Trim,
        FailingSensor::Needle,
        FailingSensor::Break,
        FailingSensor::Jump,
    ] {
        if below(rng, 12) != 0 {
            continue;
        }
        let from_day = below(rng, days);
        let is_flaky = sensor != FailingSensor::Needle && below(rng, 2) == 0;
        failures.push(LifeFailure {
            sensor,
            misses_per_1000: is_flaky.then(|| 1 + below(rng, 500)),
            from_day,
            to_day: from_day + 1 + below(rng, 5),
        });
    }
    failures
}

/// How many of what comes `per_year` on average there are in `days`: the whole part, and one
/// more by chance.
fn count(per_year: f64, days: u32, rng: &mut Pcg32) -> u32 {
    let mean = per_year * f64::from(days) / f64::from(DAYS_A_YEAR);
    let drawn = mean * (0.5 + f64::from(below(rng, 1_001)) / 1_000.0);
    #[allow(clippy::cast_sign_loss)] // At least 0.
    let whole = drawn.floor() as u32;
    whole + u32::from(chance(rng, drawn - drawn.floor()))
}

/// A moment of work, s after midnight.
fn moment(rng: &mut Pcg32) -> u32 {
    BEGIN_MIN * 60 + below(rng, 9 * 3_600)
}

fn draw_people(lives: &LifePlan, days: u32, dates: &mut Vec<Dated>, rng: &mut Pcg32) {
    for _ in 0..count(lives.visits_per_year, days, rng) {
        let cut = (below(rng, 4) == 0).then(|| u64::from(below(rng, 600)));
        let ask = match below(rng, 8) {
            0..=3 => Ask::Service { cut_after_bytes: cut },
            4 | 5 => Ask::RenewByReply { components: rng.next_u32(), cut_after_bytes: cut },
            6 => Ask::WrongReplies { times: 1 + below(rng, 4) },
            _ => Ask::NoReply,
        };
        dates.push(Dated { day: below(rng, days), at_s: 0, what: What::Ask(ask) });
    }
    for _ in 0..count(lives.renewals_per_year, days, rng) {
        let components = match below(rng, 4) {
            0 => rng.next_u32(),
            _ => 1 << below(rng, 26),
        };
        let what = What::Ask(Ask::Renew { components });
        dates.push(Dated { day: below(rng, days), at_s: moment(rng), what });
    }
    // The clock is set wrongly, stops, and is set right again.
    for _ in 0..count(0.5, days, rng) {
        let day = below(rng, days);
        let wrong = match below(rng, 3) {
            0 => Ask::ClockStops,
            1 => Ask::Clock { by_days: -1 - below(rng, 800).cast_signed() },
            _ => Ask::Clock { by_days: 1 + below(rng, 800).cast_signed() },
        };
        dates.push(Dated { day, at_s: moment(rng), what: What::Ask(wrong) });
        let again = What::Ask(Ask::Clock { by_days: 0 });
        let day = day + 1 + below(rng, 60);
        if day < days {
            dates.push(Dated { day, at_s: moment(rng), what: again });
        }
    }
}

fn draw_faults(
    plan: &CampaignPlan,
    lives: &LifePlan,
    part: PartShape,
    days: u32,
    dates: &mut Vec<Dated>,
    rng: &mut Pcg32,
) {
    let slots = part.wired().map_or(512, |wired| u32::from(parts::ring(wired).slots()));
    let mut damaged: Vec<u32> = Vec::new();
    let mut stuck = 0;
    for kind in FaultKind::ALL {
        let share = plan.faults.get(&kind).copied().unwrap_or(0.0);
        if share == 0.0 || !chance(rng, share) {
            continue;
        }
        let is_cut = kind.ends_power_up() && kind != FaultKind::Reset;
        let rate = if is_cut { lives.cuts_per_year / CUT_KINDS } else { lives.faults_per_year };
        // In a short life at least one, or the kind would not be in the mix.
        for _ in 0..count(rate, days, rng).max(1) {
            let day = below(rng, days);
            if kind.damages() {
                let is_near = |other: &u32| other.abs_diff(day) < DAMAGE_APART;
                if damaged.iter().any(is_near) {
                    continue;
                }
                // A board passes over some bad pages, and not over most.
                let pages = match kind {
                    FaultKind::StuckPage => 1,
                    FaultKind::WornPart => WORN_PAGES_MAX,
                    _ => 0,
                };
                if stuck + pages > (slots / 16).min(40) {
                    continue;
                }
                stuck += pages;
                damaged.push(day);
            }
            let deed = within(draw_deed(kind, part.page_bytes, rng), slots, rng);
            dates.push(Dated { day, at_s: moment(rng), what: What::Fault(deed) });
        }
    }
}

/// The same in a life, on a part of `slots`.
fn within(mut deed: Deed, slots: u32, rng: &mut Pcg32) -> Deed {
    match &mut deed {
        Deed::FlippedBits { page_ahead, .. } | Deed::MisdirectedWrite { page_ahead, .. } => {
            // Counted back from what is written next, where the newest records are.
            *page_ahead = (slots + *page_ahead).wrapping_sub(512) % slots.max(1);
        }
        Deed::WornPart { pages } => *pages = 2 + *pages % (WORN_PAGES_MAX - 1),
        Deed::Display { fails_after_bytes, holds_bus, .. } => {
            // Two in three fail.
            *fails_after_bytes = (below(rng, 3) > 0).then(|| below(rng, SCREEN_BYTES).into());
            *holds_bus = fails_after_bytes.is_some() && below(rng, 2) == 0;
        }
        _ => {}
    }
    deed
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_core::SeedableRng;

    #[test]
    fn every_life_passes_its_check_and_lasts_as_long_as_the_plan_says() {
        let plan = crate::campaign::life_plan::tests::plan(20.0);
        let lives = plan.lives.clone().expect("lives");
        let mut shapes = std::collections::BTreeSet::new();
        for seed in 0..400 {
            let mut rng = Pcg32::seed_from_u64(seed);
            let life = draw_life(&plan, &lives, &plan.shops[0], &mut rng);
            assert_eq!(life.check(), Ok(()), "{life:?}");
            assert_eq!(life.days(), 5_000);
            shapes.insert(life.part);
        }
        assert!(shapes.len() > 100 && shapes.iter().any(|part| part.fram));
        for days in [1, 3, 25] {
            let lives = LifePlan { years: f64::from(days) / 250.0, ..lives.clone() };
            let mut rng = Pcg32::seed_from_u64(u64::from(days));
            let life = draw_life(&plan, &lives, &plan.shops[0], &mut rng);
            assert_eq!((life.check(), life.days()), (Ok(()), days));
        }
    }
}
