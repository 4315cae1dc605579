//! Counters, service, the board itself and its journal.

use shaftbook_core::fault::Fault;
use shaftbook_core::journal::{AUTHORISED, Event};
use shaftbook_panel::text::COLUMNS;

use super::{Lines, line};
use crate::prove::says_what_is::figures::{compact, date, grouped, hours, rolling};
use crate::prove::says_what_is::known::Known;
use crate::reference::read_out;

pub(super) fn counters(known: &Known) -> Lines {
    let words = known.words();
    let counts = &known.counts;
    let count = |name: &str, value: u64| {
        let figure = rolling(value, 10, words);
        let room = COLUMNS.saturating_sub(figure.chars().count() + 2);
        line(&name.chars().take(room).collect::<String>(), &figure, false)
    };
    let time =
        |name: &str, h: u64| line(name, &format!("{} {}", rolling(h, 6, words), words.h), false);
    let mut lines = vec![
        count(words.stitches, counts.stitches()),
        count(words.trims, counts.trims),
        count(words.breaks, counts.all_breaks()),
        time(words.running, counts.running_ms / 3_600_000),
        time(words.powered, counts.powered_ms / 3_600_000),
        count(words.jumps, counts.jumps),
        count(words.power_ups, counts.power_ups),
        count(words.unattributed, counts.unattributed),
        count(words.glitches, counts.glitches),
        count(words.missed_edges, counts.missed),
    ];
    let stated = &known.ledger.carried_in;
    if stated.hours > 0 || stated.stitches > 0 || stated.trims > 0 {
        lines.push(line(words.stated, "", false));
        lines.push(time(words.powered, stated.hours.into()));
        lines.push(count(words.stitches, stated.stitches));
        lines.push(count(words.trims, stated.trims.into()));
    }
    lines
}

pub(super) fn service(known: &Known) -> Lines {
    let words = known.words();
    let interval = format!(
        "{} {} {} {}",
        hours(known.interval_ms() / 1_000, words),
        words.of,
        grouped(known.wiring.service_interval_h, words),
        words.h
    );
    let is_due = known.service_is_due();
    let has_room = words.due.chars().count() + interval.chars().count() <= COLUMNS;
    let by_running = known.wiring.service_by_running;
    let counts = if by_running { words.counts_running } else { words.counts_powered };
    let renewed = known.book.parts.iter().filter(|part| part.with_service).count();
    vec![
        line(if is_due && has_room { words.due } else { "" }, &interval, is_due),
        line(counts, "", false),
        line(words.services_done, &grouped(known.book.services, words), false),
        line(words.parts_renewed, &grouped(renewed as u64, words), false),
    ]
}

pub(super) fn about(known: &Known) -> Lines {
    let words = known.words();
    let h = |h: u64| format!("{} {}", rolling(h, 6, words), words.h);
    let hash = known.build.hash.map_or_else(|| "?".into(), |hash| format!("{hash:08x}"));
    let version = known.build.version;
    let fits = words.version.chars().count() + version.len() < 20;
    vec![
        line(words.board, &read_out::tag(known.id.0), false),
        line(words.measured, &h(known.counts.powered_ms / 3_600_000), false),
        line(words.stated_hours, &h(known.ledger.carried_in.hours.into()), false),
        line(words.retired, &grouped(known.memory.retired_slots.into(), words), false),
        line(words.laps, &compact(known.memory.laps.into(), words), false),
        line(if fits { words.version } else { "" }, version, false),
        line(words.hash, &hash, false),
        line(words.language_label, words.language, false),
        line(words.identity, &format!("{:016X}", known.id.0), false),
    ]
}

pub(super) fn journal(known: &Known) -> Lines {
    let words = known.words();
    if known.ledger.history.is_empty() {
        return vec![line(words.no_entries, "", false)];
    }
    let lines = known.ledger.history.iter().rev().map(|entry| {
        let when = match entry.day {
            Some(day) => date(day)[2..].to_owned(),
            None => format!("{} {}", hours(entry.powered_s.into(), words), words.h),
        };
        line(words.event(entry.event), &when, false)
    });
    lines.collect()
}

pub(super) fn entry(at: usize, known: &Known) -> Option<Lines> {
    let words = known.words();
    let entry = known.ledger.history.iter().rev().nth(at)?;
    let when = format!("{} {}", hours(entry.powered_s.into(), words), words.h);
    let mut lines = vec![
        line(words.event(entry.event), &grouped(entry.number.get().into(), words), false),
        line(words.lifetime, &when, false),
    ];
    lines.extend(entry.day.map(|day| line(words.date, &date(day), false)));
    let fault = Fault::ALL.into_iter().find(|fault| fault.number() == entry.subject);
    match (entry.event, fault) {
        (Event::FaultSeen, Some(fault)) => {
            lines.push(line(words.fault_words(fault).name, "", false));
        }
        (Event::Renewed, _) if entry.subject == AUTHORISED => {
            lines.push(line(words.authorised, "", false));
        }
        _ => {}
    }
    Some(lines)
}
