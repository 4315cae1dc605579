//! Machines near their limits, drawn: each component at a limit or one unit either side of it,
//! the interval likewise, and figures at the ends of their fields.

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_core::authority::Key;
use shaftbook_core::component::{COMPONENTS_MAX, Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::journal::{AUTHORISED, EntryNumber, Event};
use shaftbook_core::ledger::{CarriedIn, Fitted, HISTORY_MAX, HistoryLine, Ledger};
use shaftbook_core::settings::{NeedleSource, ServiceMeasure, Settings};
use shaftbook_panel::state::{Build, MemoryHealth};
use shaftbook_world::bench::KEY;

use super::known::Known;

const HOUR_MS: u64 = 3_600_000;

pub(super) fn below(rng: &mut Pcg32, end: u64) -> u64 {
    if end == 0 { 0 } else { rng.next_u64() % end }
}

pub(super) fn one_of<T: Copy>(rng: &mut Pcg32, of: &[T]) -> T {
    of[rng.next_u32() as usize % of.len()]
}

/// One less, the same or one more.
fn about(rng: &mut Pcg32, value: u64) -> u64 {
    (value + below(rng, 3)).saturating_sub(1)
}

/// One of these, or one less or more.
fn about_one_of(rng: &mut Pcg32, of: &[u64]) -> u64 {
    let value = one_of(rng, of);
    about(rng, value)
}

fn needle(index: u64) -> Needle {
    Needle::new(index as u8 % 16 + 1).expect("1 to 16")
}

/// A machine.
pub(super) fn machine(rng: &mut Pcg32) -> Known {
    let session = session(rng);
    let mut before = before(rng, &session);
    let mut lifetime = before.plus(&session);
    if rng.next_u32().is_multiple_of(3) {
        // At the edge of a step of the read-out code.
        let steps = one_of(rng, &[1, 2, 32_766, 32_767, 32_768]);
        let wanted = about(rng, steps * 150_000);
        before.unattributed_stitches += wanted.saturating_sub(lifetime.stitches());
        lifetime = before.plus(&session);
    }
    let day = one_of(rng, &[None, Some(2_500), Some(3_000), Some(40_000)]);
    let mut ledger = Ledger::new(settings(rng), Key::new(KEY));
    ledger.carried_in = stated(rng);
    ledger.services = about_one_of(rng, &[0, 5, 63, 65_535]).min(65_535) as u16;
    interval(rng, &mut ledger, &lifetime);
    let count = one_of(rng, &[0, 1, 3, 6, 9, 9, 12, COMPONENTS_MAX]);
    for _ in 0..count {
        let fitted = component(rng, &lifetime, day);
        let _ = ledger.components.push(fitted);
    }
    history(rng, &mut ledger, &lifetime, day);
    let mut known = Known::new(BoardId(rng.next_u64()), ledger, lifetime, session);
    known.day = day;
    for fault in Fault::ALL {
        if rng.next_u32().is_multiple_of(16) {
            known.faults.raise(fault);
        }
    }
    known.clock = day.map(|day| day + below(rng, 3) as u16).filter(|_| day != Some(2_500));
    known.memory = MemoryHealth {
        retired_slots: below(rng, 40) as u16,
        laps: one_of(rng, &[1, 9_999, 10_000, 2_000_000]),
    };
    let version = one_of(rng, &["0.1.0", "0.1.0-0123456789ab"]);
    known.build = Build { version, hash: one_of(rng, &[None, Some(0x0012_CDEF)]) };
    known
}

pub(super) fn settings(rng: &mut Pcg32) -> Settings {
    Settings {
        needles: one_of(rng, &[1, 2, 6, 15, 16]),
        needle_source: one_of(
            rng,
            &[NeedleSource::Code, NeedleSource::Code, NeedleSource::Level, NeedleSource::NotWired],
        ),
        pulses_per_revolution: one_of(rng, &[1, 1, 4]),
        needle_level_mv: std::array::from_fn(|n| 500 + 250 * n as u16),
        service_measure: one_of(rng, &[ServiceMeasure::Powered, ServiceMeasure::Running]),
        service_interval_h: one_of(rng, &[1, 10, 500, 1_022, 1_024, 65_535]),
        language: one_of(rng, &[0, 1, 9]),
        ..Settings::default()
    }
}

fn stated(rng: &mut Pcg32) -> CarriedIn {
    match rng.next_u32() % 6 {
        0 => CarriedIn { hours: 9_876, stitches: 432_100_000, trims: 765_000 },
        1 => CarriedIn { hours: 1, ..CarriedIn::default() },
        2 => CarriedIn { stitches: 1, ..CarriedIn::default() },
        3 => CarriedIn { trims: 1, ..CarriedIn::default() },
        _ => CarriedIn::default(),
    }
}

/// The last service so long ago that the interval is at its limit, or elsewhere.
pub(super) fn interval(rng: &mut Pcg32, ledger: &mut Ledger, lifetime: &Counters) {
    let limit_ms = u64::from(ledger.settings.service_interval_h) * HOUR_MS;
    let of = match rng.next_u32() % 3 {
        0 => below(rng, 2 * limit_ms),
        1 => about_one_of(rng, &[1, 100, 1_023, 1_024].map(|h| h * HOUR_MS)),
        _ => about(rng, limit_ms),
    };
    ledger.interval.powered_ms = lifetime.powered_ms.saturating_sub(of);
    ledger.interval.running_ms = lifetime.running_ms.saturating_sub(of / 2);
    if ledger.settings.service_measure == ServiceMeasure::Running {
        ledger.interval.running_ms = lifetime.running_ms.saturating_sub(of);
        ledger.interval.powered_ms = lifetime.powered_ms.saturating_sub(of + 7 * HOUR_MS);
    }
}

fn measure(rng: &mut Pcg32) -> Measure {
    match rng.next_u32() % 8 {
        0 => Measure::Powered,
        1 => Measure::Running,
        2 => Measure::Stitches,
        3 => Measure::Trims,
        4 => Measure::PowerUps,
        5 => Measure::Days,
        _ => Measure::NeedleStitches(needle(rng.next_u64())),
    }
}

/// A component at one of its limits, or one unit either side of it.
fn component(rng: &mut Pcg32, lifetime: &Counters, day: Option<u16>) -> Fitted {
    let measure = measure(rng);
    let kind = match measure {
        Measure::NeedleStitches(needle) => needle.number(),
        Measure::Trims => one_of(rng, &[32, 32, 33, 39, 35]),
        _ => one_of(rng, &[32, 33, 34, 35, 36, 38, 39, 40, 63, 64, 17, 200]),
    };
    let due = one_of(rng, &[0, 1, 2, 10, 60, 1_000, 9_999, 10_000, 100_000, 4_000_000]);
    let notice = about_one_of(rng, &[due, due * 9 / 10, due / 2, 0]);
    let unit = if matches!(measure, Measure::Powered | Measure::Running) { 1_000 } else { 1 };
    let wear = match rng.next_u32() % 6 {
        0 => below(rng, 2 * due + 2),
        1 => about(rng, 2 * due),
        2 | 3 => about(rng, notice),
        _ => about(rng, due),
    };
    let value = measure.value(lifetime, day);
    // Up to the last ms before the next unit.
    let any = below(rng, unit);
    let part = one_of(rng, &[0, unit - 1, any]);
    let forgotten = measure == Measure::Days && rng.next_u32().is_multiple_of(4);
    let baseline = if forgotten { 0 } else { value.saturating_sub(wear * unit + part) };
    let component = Component {
        kind: ComponentKind(kind),
        measure,
        renewed_by: one_of(rng, &[Role::Operator, Role::Engineer]),
        with_service: rng.next_u32().is_multiple_of(2),
        notice: notice as u32,
        due: due as u32,
    };
    Fitted { component, baseline }
}

pub(super) fn history(rng: &mut Pcg32, ledger: &mut Ledger, lifetime: &Counters, day: Option<u16>) {
    let lines = one_of(rng, &[0, 1, 2, 5, 7, HISTORY_MAX]) as u64;
    let now_s = (lifetime.powered_ms / 1_000).min(u32::MAX.into());
    let apart_days = one_of(rng, &[0, 1, 3, 20]);
    let apart_s = one_of(rng, &[0, 1_000, 20_000, 40_000, 100_000]);
    let first = EntryNumber::new(below(rng, 1 << 20) as u32);
    // Now and then the newest are of a clock that was ahead.
    let ahead = u64::from(rng.next_u32().is_multiple_of(6));
    for n in 0..lines {
        let ago = lines - n - ahead.min(lines - n);
        let drift_s = below(rng, apart_s / 4 + 1);
        // Of a later day, or of more powered time than there was.
        let later = u64::from(ago == 0 && apart_s > 1_000) * 3;
        let of_day = day.map(|day| u64::from(day) + later - (ago * apart_days).min(2_000));
        let line = HistoryLine {
            number: first.plus(n as u32),
            event: one_of(
                rng,
                &[
                    Event::Renewed,
                    Event::Served,
                    Event::ReplyTried,
                    Event::FaultSeen,
                    Event::DueByDay,
                ],
            ),
            subject: one_of(rng, &[0, AUTHORISED, 3, 11, 14]),
            powered_s: (now_s.saturating_sub(ago * apart_s + later)
                + drift_s * u64::from(later == 0))
            .min(u32::MAX.into()) as u32,
            day: of_day.map(|day| day as u16).filter(|_| !rng.next_u32().is_multiple_of(5)),
        };
        let _ = ledger.history.push(line);
    }
    ledger.next_entry = first.plus(lines as u32);
}

/// What was counted since power-up.
fn session(rng: &mut Pcg32) -> Counters {
    let mut session = Counters {
        powered_ms: below(rng, 30_000_000),
        power_ups: 1,
        trims: below(rng, 500),
        jumps: below(rng, 3) * 100,
        ..Counters::default()
    };
    session.running_ms = below(rng, session.powered_ms + 1);
    match rng.next_u32() % 5 {
        0 => {}
        1 => {
            // A share of stitches with no known needle, at its limits.
            let all = about_one_of(rng, &[5_000, 20_000]);
            let percent = one_of(rng, &[0, 5, 5, 50, 50]);
            session.unattributed_stitches = about(rng, (all * percent).div_ceil(100)).min(all);
            let first = below(rng, 16) as usize;
            session.needle_stitches[first] = all - session.unattributed_stitches;
        }
        2 => {
            let stitches = about_one_of(rng, &[400_000, 50_000, 500_000]);
            session.needle_stitches[below(rng, 16) as usize] = stitches;
        }
        _ => {
            let used = one_of(rng, &[2, 6, 15]);
            let needles = session.needle_stitches.iter_mut().take(used);
            for (stitches, breaks) in needles.zip(&mut session.needle_breaks) {
                *stitches = one_of(rng, &[0, 999, 1_000, 1_001, 4_000, 9_000, 30_000]);
                *breaks = one_of(rng, &[0, 0, 1, 1, 2, 3, 4]);
            }
            session.unattributed_breaks = below(rng, 3) as u32;
            match rng.next_u32() % 4 {
                0 => {}
                1 => session.needle_breaks.iter_mut().take(used).for_each(|breaks| *breaks += 2),
                _ => {
                    // One breaks more.
                    let bad = below(rng, used as u64) as usize;
                    session.needle_breaks[bad] = one_of(rng, &[3, 4, 5, 7, 12]);
                }
            }
        }
    }
    session
}

/// What was counted before this power-up. It decides what the session's glitches are held against.
fn before(rng: &mut Pcg32, session: &Counters) -> Counters {
    let powered_h = one_of(rng, &[0, 3, 99, 100, 4_000, 131_070, 131_071, 131_072, 999_999]);
    let mut before = Counters {
        powered_ms: powered_h * HOUR_MS + below(rng, 2) * below(rng, HOUR_MS),
        power_ups: about_one_of(rng, &[0, 1, 2, 300]) as u32,
        trims: one_of(rng, &[0, 3_999, 4_000, 900_000, 1_016_000, 12_345_678_901]),
        ..Counters::default()
    };
    before.running_ms = below(rng, before.powered_ms + 1);
    match rng.next_u32() % 6 {
        0 => {}
        1 => {
            let stitches = about_one_of(rng, &[50_000, 500_000, 19_999]);
            let own = session.needle_stitches.iter().position(|stitches| *stitches > 0);
            before.needle_stitches[own.unwrap_or(4)] = stitches;
        }
        which => {
            let used = one_of(rng, &[2, 6, 15]);
            let needles = before.needle_stitches.iter_mut().take(used);
            for (stitches, breaks) in needles.zip(&mut before.needle_breaks) {
                *stitches = one_of(rng, &[999, 10_000, 60_000, 60_000, 300_000]);
                *breaks = one_of(rng, &[0, 1, 2, 3, 6, 10]);
            }
            if which == 2 {
                before.needle_breaks[below(rng, used as u64) as usize] = one_of(rng, &[20, 40]);
            }
            before.unattributed_stitches = below(rng, 3) * 1_000;
            before.unattributed_breaks = below(rng, 2) as u32;
        }
    }
    before
}

/// One needle that broke far too much thread before, and now as much or less: whether that is over
/// is at its limit.
pub(super) fn put_right(rng: &mut Pcg32) -> Known {
    let other = machine(rng);
    let (mut before, mut session) = (Counters::default(), Counters::default());
    (before.powered_ms, before.power_ups) = (400 * HOUR_MS, 50);
    (session.powered_ms, session.power_ups) = (HOUR_MS, 1);
    before.needle_stitches = [60_000; 16];
    before.needle_breaks = [1; 16];
    session.needle_stitches = [20_000; 16];
    let bad = below(rng, 16) as usize;
    let breaks = one_of(rng, &[20, 40, 40, 900]);
    before.needle_breaks[bad] = breaks;
    // As few as make it rare: two standard deviations, or the twentieth part by an exact tail.
    let few = if breaks < 100 { breaks / 10 } else { 254 };
    if breaks > 100 {
        // The others break as much today.
        session.needle_breaks = [few; 16];
    }
    session.needle_breaks[bad] = (few + below(rng, 7) as u32).saturating_sub(3);
    let (id, lifetime, day) = (other.id, before.plus(&session), other.day);
    Known { day, ..Known::new(id, other.ledger, lifetime, session) }
}

/// A figure of the reference, as a count.
#[allow(clippy::cast_sign_loss)] // Clamped.
fn whole(figure: f64) -> u64 {
    figure.max(0.0).ceil() as u64
}

/// Glitches and missed edges at their limits beside what was counted before and since power-up.
pub(super) fn noisy(rng: &mut Pcg32) -> Known {
    let quiet = machine(rng);
    let each = u64::from(quiet.ledger.settings.pulses_per_revolution);
    let mut session = quiet.session;
    let mut before = quiet.lifetime.since(&quiet.session);
    let pulses = |counters: &Counters| (counters.stitches() + counters.jumps) * each;
    let wanted = about(rng, 20_000) / each;
    if rng.next_u32().is_multiple_of(2) && pulses(&before) < 20_000 {
        before.needle_stitches[0] += wanted.saturating_sub(before.stitches() + before.jumps);
    }
    before.glitches = one_of(rng, &[0, 100, 4_000]);
    let rate = f64::from(before.glitches) / pulses(&before).max(1) as f64;
    let expected = rate * pulses(&session) as f64;
    let turned = pulses(&session) as f64;
    let seen = one_of(
        rng,
        &[1.5 * expected, 3.0 * expected, expected + 0.01 * turned, expected + 0.1 * turned, 100.0],
    );
    session.glitches = about(rng, whole(seen)).min(1_000_000) as u32;
    if rng.next_u32().is_multiple_of(2) {
        session.missed_edges = about_one_of(rng, &[10, pulses(&session).div_ceil(1_000)]) as u32;
    }
    let lifetime = before.plus(&session);
    let (day, faults) = (quiet.day, quiet.faults);
    Known { day, faults, ..Known::new(quiet.id, quiet.ledger, lifetime, session) }
}
