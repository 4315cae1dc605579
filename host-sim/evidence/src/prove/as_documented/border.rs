//! The border between the board's types and the reference's: nothing but names for names.

use shaftbook_core::board::{Board, Fitting};
use shaftbook_core::component as core;
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::input::{Input, Level};
use shaftbook_core::ledger::{CarriedIn, Ledger};
use shaftbook_core::rules::Rules;
use shaftbook_core::service::Authorised;
use shaftbook_core::settings::{NeedleSource, ServiceMeasure, Settings};
use shaftbook_core::time::Instant;
use shaftbook_world::bench::fitting;

use crate::reference::book::{Book, Line, Measure, Part};
use crate::reference::engineer::Allows;
use crate::reference::format::Chosen;
use crate::reference::machine::{Counts, NeedleBy, Signal, Wiring};

/// A signal, as an input of the board.
pub(super) fn input(signal: Signal) -> Input {
    let level = Level::from_bool;
    match signal {
        Signal::Shaft(on) => Input::Shaft(level(on)),
        Signal::Trim(on) => Input::Trim(level(on)),
        Signal::Break(on) => Input::ThreadBreak(level(on)),
        Signal::Jump(on) => Input::Jump(level(on)),
        Signal::Code(code) => Input::NeedleCode(code),
        Signal::Voltage(mv) => Input::NeedleLevel(mv),
        Signal::Warning(on) => Input::PowerFail(level(on)),
    }
}

/// The board's counters.
pub(in crate::prove) fn counts(of: &Counters) -> Counts {
    Counts {
        powered_ms: of.powered_ms,
        running_ms: of.running_ms,
        needles: of.needle_stitches,
        unattributed: of.unattributed_stitches,
        jumps: of.jumps,
        trims: of.trims,
        breaks: of.needle_breaks.map(u64::from),
        unattributed_breaks: of.unattributed_breaks.into(),
        power_ups: of.power_ups.into(),
        glitches: of.glitches.into(),
        missed: of.missed_edges.into(),
    }
}

/// The board's lifetime, if it knows it.
pub(super) fn lifetime<R: Rules>(board: &Board<R>, now: Instant) -> Result<Counts, String> {
    board.lifetime(now).as_ref().map(counts).ok_or_else(|| "the board has no lifetime".into())
}

fn part(fitted: &core::Component, baseline: u64) -> Part {
    Part {
        kind: fitted.kind.0,
        measure: match fitted.measure {
            core::Measure::Powered => Measure::Powered,
            core::Measure::Running => Measure::Running,
            core::Measure::Stitches => Measure::Stitches,
            core::Measure::Trims => Measure::Trims,
            core::Measure::PowerUps => Measure::PowerUps,
            core::Measure::Days => Measure::Days,
            core::Measure::NeedleStitches(needle) => Measure::Needle(needle.index()),
        },
        engineers: fitted.renewed_by == core::Role::Engineer,
        with_service: fitted.with_service,
        notice: fitted.notice.into(),
        due: fitted.due.into(),
        baseline,
    }
}

/// The parts of a fitting, not renewed yet.
pub(super) fn parts(fitting: &Fitting) -> Vec<Part> {
    fitting.components.iter().map(|component| part(component, 0)).collect()
}

/// The board's ledger. `lines` were ever written.
pub(in crate::prove) fn book(ledger: &Ledger) -> Book {
    Book {
        parts: ledger.components.iter().map(|f| part(&f.component, f.baseline)).collect(),
        served_powered_ms: ledger.interval.powered_ms,
        served_running_ms: ledger.interval.running_ms,
        services: ledger.services.into(),
        tries: ledger.tries.into(),
        journal: ledger.history.iter().map(line).collect(),
        lines: ledger.next_entry.get().into(),
    }
}

/// The settings, what was carried in, and the key, as they stand in a snapshot (`docs/FORMAT.md`,
/// section 6, offsets 184 to 284).
pub(super) fn chosen(ledger: &Ledger) -> Chosen {
    let of = &ledger.settings;
    let source = match of.needle_source {
        NeedleSource::NotWired => 0,
        NeedleSource::Code => 1,
        NeedleSource::Level => 2,
    };
    let by_running = u64::from(of.service_measure == ServiceMeasure::Running);
    let carried = &ledger.carried_in;
    let mut bytes = Chosen::default()
        .with(of.pulses_per_revolution.into(), 1)
        .with(of.top_speed_rpm.into(), 2)
        .with(of.shaft_debounce_us.into(), 2)
        .with(of.contact_debounce_us.into(), 2)
        .with(of.run_gap_ms.into(), 2)
        .with(of.needles.into(), 1)
        .with(source, 1)
        .with(of.needle_debounce_ms.into(), 1)
        .with(of.needle_guard_mv.into(), 2)
        .with(of.needle_hysteresis_mv.into(), 2)
        .with(of.checkpoint_running_s.into(), 1)
        .with(of.checkpoint_trims.into(), 1)
        .with(of.checkpoint_powered_s.into(), 2)
        .with(by_running | u64::from(of.language) << 4, 1)
        .with(of.service_interval_h.into(), 2);
    bytes = of.needle_level_mv.iter().fold(bytes, |bytes, mv| bytes.with((*mv).into(), 2));
    bytes = bytes.with(carried.hours.into(), 4);
    bytes = bytes.with(carried.stitches, 6).with(carried.trims.into(), 4);
    ledger.key.bytes().iter().fold(bytes, |bytes, byte| bytes.with((*byte).into(), 1))
}

fn line(of: &shaftbook_core::ledger::HistoryLine) -> Line {
    Line {
        event: of.event as u64,
        subject: of.subject.into(),
        powered_s: of.powered_s.into(),
        day: of.day,
    }
}

/// What a reply allows.
pub(super) fn allows(of: Authorised) -> Allows {
    match of {
        Authorised::Service => Allows::Service,
        Authorised::Renew(_) => Allows::Renewal,
        Authorised::Refit => Allows::Refit,
    }
}

/// The board's settings.
pub(in crate::prove) fn wiring(of: &Settings) -> Wiring {
    Wiring {
        pulses_per_revolution: of.pulses_per_revolution.into(),
        top_speed_rpm: of.top_speed_rpm.into(),
        shaft_debounce_us: of.shaft_debounce_us.into(),
        contact_debounce_us: of.contact_debounce_us.into(),
        run_gap_ms: of.run_gap_ms.into(),
        needles: of.needles,
        needle_by: match of.needle_source {
            NeedleSource::NotWired => NeedleBy::Nothing,
            NeedleSource::Code => NeedleBy::Code,
            NeedleSource::Level => NeedleBy::Voltage,
        },
        needle_debounce_ms: of.needle_debounce_ms.into(),
        needle_level_mv: of.needle_level_mv,
        needle_guard_mv: of.needle_guard_mv,
        needle_hysteresis_mv: of.needle_hysteresis_mv,
        checkpoint_running_s: of.checkpoint_running_s.into(),
        checkpoint_trims: of.checkpoint_trims.into(),
        checkpoint_powered_s: of.checkpoint_powered_s.into(),
        service_by_running: of.service_measure == ServiceMeasure::Running,
        service_interval_h: of.service_interval_h.into(),
    }
}

/// Variant `variant` of a machine: its settings and its profile. The profile has a part of each
/// measure, with limits that a short life reaches.
pub(super) fn machine(variant: u32) -> Fitting {
    let base = fitting();
    let pick = |from: u32, of: &[u16]| of[(variant / from) as usize % of.len()];
    let pulses = pick(1, &[1, 1, 1, 2, 4, 16, 64]) as u8;
    let top_speed_rpm = pick(7, &[2_000, 1_200, 4_000]);
    let most = 15_000_000 / u32::from(top_speed_rpm) / u32::from(pulses);
    let needle_source = match variant / 5 % 4 {
        0 => NeedleSource::Level,
        3 if (variant / 20).is_multiple_of(5) => NeedleSource::NotWired,
        _ => NeedleSource::Code,
    };
    let run_gap_ms = pick(9, &[2_000, 500, 5_000]);
    let settings = Settings {
        pulses_per_revolution: pulses,
        top_speed_rpm,
        shaft_debounce_us: pick(3, &[50, 20, 200, 0]).min(most as u16),
        contact_debounce_us: pick(11, &[6_000, 1_000, 65_535, 6_000]),
        run_gap_ms,
        needles: pick(13, &[15, 6, 16, 10]) as u8,
        needle_source,
        needle_debounce_ms: pick(17, &[20, 20, 100, 5]) as u8,
        needle_level_mv: std::array::from_fn(|n| 500 + 250 * n as u16),
        checkpoint_running_s: pick(19, &[10, 6, 30]) as u8,
        checkpoint_trims: pick(23, &[64, 3, 255]) as u8,
        checkpoint_powered_s: pick(29, &[60, 20, 300]),
        service_measure: [ServiceMeasure::Powered, ServiceMeasure::Running][variant as usize % 2],
        service_interval_h: pick(31, &[500, 1, 65_535]),
        ..base.settings
    };
    let mut components = heapless::Vec::new();
    let mut add = |kind, measure, engineers: bool, with_service, notice, due| {
        let renewed_by = if engineers { core::Role::Engineer } else { core::Role::Operator };
        let kind = core::ComponentKind(kind);
        let it = core::Component { kind, measure, renewed_by, with_service, notice, due };
        // The list is shorter than the room for it.
        let _ = components.push(it);
    };
    for needle in (1..=4).filter_map(Needle::new) {
        let number = needle.number();
        // After a refit some needles are measured by something else.
        let measure = if number == 2 && variant / 37 % 2 == 1 {
            core::Measure::Running
        } else {
            core::Measure::NeedleStitches(needle)
        };
        add(number, measure, false, number % 2 == 1, 27, 30);
    }
    add(32, core::Measure::Trims, true, true, 4, 5);
    add(34, core::Measure::PowerUps, false, false, 4, 5);
    add(38, core::Measure::Running, true, true, 20, 25);
    add(35, core::Measure::Powered, false, true, 50, 60);
    add(37, core::Measure::Stitches, variant / 41 % 2 == 1, false, 55, 60);
    add(36, core::Measure::Days, false, false, 27, 30);
    if variant / 43 % 2 == 1 {
        components.reverse();
        components.truncate(8);
    }
    let carried_in = [CarriedIn::default(), base.carried_in][variant as usize / 2 % 2];
    Fitting { settings, components, carried_in, ..base }
}
