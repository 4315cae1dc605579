//! A [`ImageReport`] for people: at most 100 columns.

use std::fmt::{self, Write};

use super::missing::{Cause, Missing};
use super::report::{ComponentLine, ImageReport, JournalLine, SnapshotLine, WearMap};
use shaftbook_world::figures::{CounterFigures, grouped, hours};

/// Widest line.
const COLUMNS: usize = 100;
/// Slots in a line of the map.
const MAP_COLUMNS: usize = 64;

/// The report as text; `name` is what the image is called.
#[must_use]
pub fn render(name: &str, report: &ImageReport) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write_all(&mut text, name, report);
    text
}

fn write_all(out: &mut String, name: &str, report: &ImageReport) -> fmt::Result {
    writeln!(
        out,
        "{name}: {} bytes, pages of {}, {} slots",
        grouped(report.size_bytes),
        report.page_bytes,
        grouped(report.slots)
    )?;
    match &report.board {
        Some(board) => {
            let records = grouped(board.records as i128);
            writeln!(out, "board {}, tag {}: {records} records", board.id, board.tag)?;
        }
        None => writeln!(out, "no board is named on it")?,
    }
    for other in &report.other_boards {
        let records = grouped(other.records as i128);
        writeln!(out, "also of board {}: {records} records, which do not count", other.id)?;
    }
    for note in &report.notes {
        wrapped(out, "note: ", note)?;
    }
    verdict(out, report)?;
    if let Some(missing) = &report.missing {
        newer(out, missing)?;
    }
    if let Some(lifetime) = report.lifetime.as_ref().or(report.lifetime_by_every_slot.as_ref()) {
        counters(out, lifetime, report.wiring.as_ref().map_or(16, |w| w.needles))?;
    }
    ledger(out, report)?;
    components(out, &report.components)?;
    journal(out, &report.journal)?;
    if let Some(wear) = &report.wear {
        wear_map(out, wear)?;
    }
    damage(out, report)
}

fn verdict(out: &mut String, report: &ImageReport) -> fmt::Result {
    out.push('\n');
    match &report.fault {
        Some(fault) => {
            writeln!(
                out,
                "NOTHING RECOVERED: fault {} {}: {}",
                fault.number, fault.name, fault.text
            )?;
        }
        None if report.complete => {
            writeln!(out, "lifetime counters recovered; a reading of every slot agrees")?;
        }
        None if report.differences.is_empty() => {
            writeln!(
                out,
                "lifetime counters recovered; a reading of every slot agrees, BUT MORE MAY BE MISSING"
            )?;
        }
        None => writeln!(out, "lifetime counters recovered, BUT A READING OF EVERY SLOT DIFFERS")?,
    }
    if let Some(on) = &report.rests_on {
        writeln!(
            out,
            "  from the snapshot at slot {} ({} members), the checkpoint at slot {}, {} journal entries",
            on.snapshot_slot, on.members, on.checkpoint_slot, on.entries
        )?;
    }
    if let Some(code) = &report.read_out_code {
        writeln!(out, "  read-out code: {code}")?;
    }
    for difference in &report.differences {
        wrapped(out, "  differs: ", difference)?;
    }
    for fault in &report.recovery_faults {
        if report.fault.as_ref() != Some(fault) {
            writeln!(out, "  fault shown: {} {}: {}", fault.number, fault.name, fault.text)?;
        }
    }
    Ok(())
}

/// Newer records that may be missing: why, since when, at most how much.
fn newer(out: &mut String, missing: &Missing) -> fmt::Result {
    writeln!(out, "\nMISSING: THE PART MAY HAVE HELD MORE THAN THESE FIGURES")?;
    for cause in &missing.because {
        match cause {
            Cause::Unreadable { slots: at } => {
                slots(out, "  cannot be read, and may have held newer records: slots ", at)?;
            }
            Cause::Erased { slots: at } => {
                slots(out, "  blank, and may have held newer records: slots ", at)?;
            }
            Cause::PutBack { slots: at } => {
                slots(
                    out,
                    "  older than their lap and not retired, skipped or put back: slots ",
                    at,
                )?;
            }
            Cause::Holes { slots: at } => {
                slots(out, "  blank where a record should be, erased or put back: slots ", at)?;
            }
            Cause::Unusable { slots: at } => {
                slots(out, "  newer records on a snapshot that is lost: slots ", at)?;
            }
            Cause::FarNewer { slot, lap } => writeln!(
                out,
                "  the record in slot {slot} is of lap {}, far newer than all that fits together",
                grouped(*lap)
            )?,
            Cause::CutShort { slots_beyond, is_certain } => wrapped(
                out,
                "  ",
                &if *is_certain {
                    format!(
                        "the image is cut short; up to {} slots are beyond it",
                        grouped(*slots_beyond)
                    )
                } else {
                    format!(
                        "the image is full to its last slot: if the part is larger, up to {} slots \
                         are missing (--size-bytes says how large it is)",
                        grouped(*slots_beyond)
                    )
                },
            )?,
            Cause::Copies { lines } => {
                let lines: Vec<String> = lines.iter().map(|line| format!("A{line}")).collect();
                wrapped(out, "  copies of other slots, by address line ", &lines.join(", "))?;
            }
            Cause::EntriesLost { entries } => {
                writeln!(
                    out,
                    "  journal entries lost among older ones, at most: {}",
                    grouped(*entries)
                )?;
            }
            Cause::NotExplained => {
                writeln!(
                    out,
                    "  no reading of every slot gives the figures that the firmware gives"
                )?;
            }
        }
    }
    let since = &missing.since;
    let day = since
        .journal_day
        .map_or_else(String::new, |day| format!("; newest day in the journal: {day}"));
    writeln!(
        out,
        "  since: slot {}, lap {}, at {} powered{day}",
        since.slot,
        grouped(since.lap),
        hours(since.powered_ms)
    )?;
    let (Some(records), Some(most)) = (missing.records_at_most, &missing.at_most) else {
        return writeln!(out, "  at most: the bytes do not say");
    };
    wrapped(
        out,
        "  at most: ",
        &format!(
            "{} records, with {} powered, {} running, {} stitches, {} jumps, {} trims, {} power-ups, \
             {} journal entries; no bound on breaks, glitches and missed edges",
            grouped(records),
            hours(most.powered_ms),
            hours(most.running_ms),
            grouped(most.stitches),
            grouped(most.jumps),
            grouped(most.trims),
            grouped(most.power_ups),
            grouped(most.entries)
        ),
    )
}

fn counters(out: &mut String, lifetime: &CounterFigures, needles: u8) -> fmt::Result {
    writeln!(out, "\nLIFETIME, measured, as last stored")?;
    let mut line = |name: &str, value: String| writeln!(out, "  {name:<30}{value:>24}");
    line("powered time", hours(lifetime.powered_ms))?;
    line("running time", hours(lifetime.running_ms))?;
    line("stitches", grouped(lifetime.stitches))?;
    let by_needle = lifetime.needle_stitches.iter().zip(&lifetime.needle_breaks);
    for (index, (stitches, breaks)) in by_needle.enumerate() {
        if index < usize::from(needles) || *stitches > 0 || *breaks > 0 {
            let broke = match breaks {
                0 => String::new(),
                1 => String::from(", 1 break"),
                more => format!(", {} breaks", grouped(*more)),
            };
            line(&format!("  needle {}{broke}", index + 1), grouped(*stitches))?;
        }
    }
    line("  unattributed", grouped(lifetime.unattributed_stitches))?;
    line("jumps", grouped(lifetime.jumps))?;
    line("trims", grouped(lifetime.trims))?;
    line("thread breaks", grouped(lifetime.breaks))?;
    line("  of unknown needle", grouped(lifetime.unattributed_breaks))?;
    line("power-ups", grouped(lifetime.power_ups))?;
    line("glitches", grouped(lifetime.glitches))?;
    line("missed edges", grouped(lifetime.missed_edges))
}

fn ledger(out: &mut String, report: &ImageReport) -> fmt::Result {
    if let Some(stated) = &report.carried_in_stated {
        writeln!(out, "\nCARRIED IN, stated by a person, not measured, not in the figures above")?;
        writeln!(
            out,
            "  {} h, {} stitches, {} trims",
            grouped(stated.hours),
            grouped(stated.stitches),
            grouped(stated.trims)
        )?;
    }
    if let Some(interval) = &report.interval {
        writeln!(out, "\nSERVICE INTERVAL, {} time", interval.measure)?;
        let is_due = interval.ms / 3_600_000 >= u64::from(interval.limit_h);
        writeln!(
            out,
            "  {} of {} h{}; services done: {}; replies tried since a right one: {}",
            hours(interval.ms),
            grouped(interval.limit_h),
            if is_due { ", DUE" } else { "" },
            grouped(interval.services),
            interval.tries
        )?;
    }
    if let Some(wiring) = &report.wiring {
        writeln!(out, "\nWIRING")?;
        writeln!(
            out,
            "  {} pulses per revolution; {} needles, {}; checkpoint after {} s running or {} trims",
            wiring.pulses_per_revolution,
            wiring.needles,
            wiring.needle_source,
            wiring.checkpoint_running_s,
            wiring.checkpoint_trims
        )?;
    }
    Ok(())
}

fn components(out: &mut String, lines: &[ComponentLine]) -> fmt::Result {
    if lines.is_empty() {
        return Ok(());
    }
    writeln!(
        out,
        "\nCOMPONENTS (e: renewed by the engineer only)\n  {:<25}{:<22}{:>13}{:>14}{:>14}  state",
        "", "measure", "wear", "notice", "due"
    )?;
    for line in lines {
        let mark = if line.renewed_by == "engineer" { "e" } else { " " };
        writeln!(
            out,
            "{mark} {:<25}{:<22}{:>13}{:>14}{:>14}  {}",
            line.name,
            line.measure,
            grouped(line.wear),
            grouped(line.notice),
            grouped(line.due),
            line.standing
        )?;
    }
    Ok(())
}

fn journal(out: &mut String, lines: &[JournalLine]) -> fmt::Result {
    if lines.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nJOURNAL, newest last\n  {:>7}  {:>20}  event", "number", "powered time then")?;
    for line in lines {
        let (s, day) = (line.powered_s, line.day);
        let at = format!("{} h {:02} min {:02} s", grouped(s / 3_600), s / 60 % 60, s % 60);
        let day = day.map_or_else(String::new, |day| format!(" (day {day})"));
        let renewed = match line.renewed.as_deref() {
            Some(names) if !names.is_empty() => format!(": {}", names.join(", ")),
            _ => String::new(),
        };
        let first = format!("  {:>7}  {at:>20}  ", line.number);
        wrapped(out, &first, &format!("{}{renewed}{day}", line.text))?;
    }
    Ok(())
}

fn wear_map(out: &mut String, wear: &WearMap) -> fmt::Result {
    writeln!(
        out,
        "\nWEAR: the part holds no cycle counts; a slot is written once a lap, so its lap is its wear"
    )?;
    writeln!(
        out,
        "  newest record: slot {}, lap {}; written next: slot {}",
        wear.newest_slot,
        grouped(wear.newest_lap),
        wear.head_slot
    )?;
    writeln!(out, "  C checkpoint, J journal, S snapshot in lap {}", grouped(wear.newest_lap))?;
    writeln!(out, "  c, j, s the same in the lap before; o left from an older lap; . blank")?;
    writeln!(
        out,
        "  R retired; ! damaged; f another board's; > written next, unless it is damaged"
    )?;
    let mut letters: Vec<char> = wear.letters.chars().collect();
    if let Some(head) =
        letters.get_mut(usize::from(wear.head_slot)).filter(|letter| **letter != '!')
    {
        *head = '>';
    }
    for (row, line) in letters.chunks(MAP_COLUMNS).enumerate() {
        writeln!(out, "  {:>5} {}", row * MAP_COLUMNS, line.iter().collect::<String>())?;
    }
    Ok(())
}

fn damage(out: &mut String, report: &ImageReport) -> fmt::Result {
    let damage = &report.damage;
    writeln!(out, "\nDAMAGE")?;
    if damage.is_none() {
        writeln!(out, "  none")?;
    }
    slots(out, "  CRC fails, among the slots still needed: ", &damage.needed_slots)?;
    slots(out, "  CRC fails, elsewhere: ", &damage.other_slots)?;
    slots(out, "  skipped or failed since an earlier lap: ", &damage.left_slots)?;
    slots(out, "  retired: ", &report.retired)?;
    slots(out, "  retired since the snapshot, by the journal: ", &report.retired_since_snapshot)?;
    slots(out, "  records of other boards: ", &damage.foreign_slots)?;
    if let Some(snapshot) = &damage.snapshot {
        snapshot_line(out, "  snapshot in use, made good: ", snapshot)?;
    }
    for snapshot in &damage.lost_snapshots {
        snapshot_line(out, "  SNAPSHOT LOST: ", snapshot)?;
    }
    slots(out, "  unfinished snapshot (a cut came first), slots: ", &damage.unfinished_snapshot)?;
    if !damage.single_copies.is_empty() {
        let numbers: Vec<String> = damage.single_copies.iter().map(u32::to_string).collect();
        wrapped(out, "  journal entries with one copy: ", &numbers.join(", "))?;
    }
    if let Some(slot) = damage.journal_gap {
        writeln!(out, "  JOURNAL GAP: an entry should be at slot {slot}; older ones are missing")?;
    }
    Ok(())
}

fn snapshot_line(out: &mut String, first: &str, snapshot: &SnapshotLine) -> fmt::Result {
    let missing: Vec<String> = snapshot
        .missing
        .iter()
        .map(|i| if *i == snapshot.members { "parity".to_owned() } else { i.to_string() })
        .collect();
    let mut what = if snapshot.members == 0 {
        format!("at slot {}, no member can be read", snapshot.base_slot)
    } else if snapshot.is_another {
        format!(
            "at slot {}, it is not the one that the record naming it adds to",
            snapshot.base_slot
        )
    } else if missing.is_empty() {
        format!("at slot {}, a field of it cannot be right", snapshot.base_slot)
    } else {
        format!(
            "at slot {}, {} members and parity, missing: {}",
            snapshot.base_slot,
            snapshot.members,
            missing.join(", ")
        )
    };
    if let Some(counters) = &snapshot.counters {
        let _ = write!(
            what,
            "; its counters can be had: {} stitches, {} powered, {} running",
            grouped(counters.stitches),
            hours(counters.powered_ms),
            hours(counters.running_ms)
        );
    }
    wrapped(out, first, &what)
}

/// A list of slots, neighbours joined; nothing for an empty list.
fn slots(out: &mut String, first: &str, slots: &[u16]) -> fmt::Result {
    if slots.is_empty() {
        return Ok(());
    }
    let mut ranges: Vec<(u16, u16)> = Vec::new();
    for slot in slots {
        match ranges.last_mut() {
            Some((_, end)) if *end + 1 == *slot => *end = *slot,
            _ => ranges.push((*slot, *slot)),
        }
    }
    let words: Vec<String> = ranges
        .iter()
        .map(|(from, to)| if from == to { from.to_string() } else { format!("{from}-{to}") })
        .collect();
    wrapped(out, first, &format!("{} ({})", words.join(", "), slots.len()))
}

/// `first` and then `text`, broken at blanks and indented under it.
fn wrapped(out: &mut String, first: &str, text: &str) -> fmt::Result {
    let indent = if first.len() > COLUMNS / 2 { 4 } else { first.len() };
    out.push_str(first);
    let mut column = first.len();
    let mut is_first = true;
    for word in text.split(' ') {
        if !is_first && column + 1 + word.len() > COLUMNS {
            write!(out, "\n{:indent$}", "")?;
            column = indent;
        } else if !is_first {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += word.len();
        is_first = false;
    }
    out.push('\n');
    Ok(())
}
