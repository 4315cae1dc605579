//! How a report is made: an image is read in both ways, and what they give is put into words and
//! figures.

use shaftbook_core::component::{Measure, Role, Standing};
use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::retired::Retired;
use shaftbook_core::rules::Sound;
use shaftbook_core::settings::{NeedleSource, ServiceMeasure};
use shaftbook_readout::tag::BoardTag;
use shaftbook_world::figures::CounterFigures;

use super::boards::{BoardFound, boards_on};
use super::damage::damage;
use super::differences::differences;
use super::image::Image;
use super::missing::missing;
use super::names;
use super::reading::{EntryFound, Reading, newest, read};
use super::recovered::ImageRecovered;
use super::report::{
    BoardLine, CarriedInLine, ComponentLine, FaultLine, ImageReport, Interval, JournalLine,
    RestsOn, WearMap, Wiring,
};
use super::rules::ReadingRules;
use super::signs;
use super::slots::SlotState;

/// Reads `image` as the part of board `id`, or of the board named on it.
#[must_use]
pub fn inspect(image: &Image, id: Option<BoardId>) -> ImageReport {
    inspect_by::<Sound>(image, id, false)
}

/// The same by the rules `R`; `is_whole` says that the part is known to be as large as the image.
#[must_use]
pub fn inspect_by<R: ReadingRules>(
    image: &Image,
    id: Option<BoardId>,
    is_whole: bool,
) -> ImageReport {
    let mut others = boards_on(image);
    let board = match id {
        Some(id) => Some(BoardFound::read(image, id)),
        None if others.is_empty() => None,
        None => Some(others.remove(0)),
    };
    others.retain(|other| board.as_ref().is_none_or(|b| b.id != other.id));
    // Without a name any identity gives the same answer: nothing of it is there.
    let recovered = ImageRecovered::run(image, board.as_ref().map_or(BoardId(0), |b| b.id));
    let reading = board.as_ref().map_or_else(|| Err(Vec::new()), |board| read(image, board));
    let states = SlotState::all(image, board.as_ref(), &others, board.as_ref().and_then(newest));
    let by_reading = reading.as_ref().ok().map(|r| r.lifetime);
    let missing =
        board.as_ref().zip(recovered.lifetime.or(by_reading)).and_then(|(board, given)| {
            missing::<R>(image, (board, &others), reading.as_ref().ok(), &given, is_whole)
        });
    let differences = differences(&recovered, reading.as_ref().ok());
    let mut report = ImageReport {
        complete: recovered.lifetime.is_some() && missing.is_none() && differences.is_empty(),
        missing,
        size_bytes: image.geometry().size_bytes,
        page_bytes: image.geometry().page_bytes,
        slots: image.ring().slots(),
        board: board.as_ref().map(board_line),
        other_boards: others.iter().map(board_line).collect(),
        fault: nothing_fault(&recovered),
        recovery_faults: recovered.faults.iter().map(|f| FaultLine::from(*f)).collect(),
        lifetime: recovered.lifetime.as_ref().map(figures),
        read_out_code: board
            .as_ref()
            .and_then(|board| recovered.read_out_code(board.id))
            .map(|code| code.to_string()),
        lifetime_by_every_slot: reading.as_ref().ok().map(|r| figures(&r.lifetime)),
        differences,
        rests_on: reading.as_ref().ok().map(rests_on),
        interval: None,
        carried_in_stated: None,
        wiring: None,
        components: Vec::new(),
        journal: Vec::new(),
        retired: recovered.retired.clone(),
        retired_since_snapshot: Vec::new(),
        wear: None,
        damage: damage(&states, reading.as_ref()),
        notes: notes(image, board.as_ref(), id.is_some()),
    };
    if let Ok(reading) = &reading {
        report.retired_since_snapshot.clone_from(&reading.retired_since);
        report.retired.extend(&reading.retired_since);
        report.retired.sort_unstable();
        report.retired.dedup();
        report.wear = Some(wear_map(image, reading, &states, &report.retired));
    }
    // The firmware's own word goes first; the other reading stands in for it.
    let by_reading = reading.as_ref().ok().map(|r| (r.lifetime, r.ledger.clone()));
    let entries = reading.as_ref().map_or(&[][..], |r| &r.entries);
    if let Some((lifetime, ledger)) = recovered.lifetime.zip(recovered.ledger).or(by_reading) {
        tell_ledger(&mut report, &lifetime, &ledger, entries);
    }
    report
}

/// What the ledger says, with `lifetime` beside it.
fn tell_ledger(
    report: &mut ImageReport,
    lifetime: &Counters,
    ledger: &Ledger,
    entries: &[EntryFound],
) {
    let settings = &ledger.settings;
    report.interval = Some(Interval {
        measure: match settings.service_measure {
            ServiceMeasure::Powered => "powered",
            ServiceMeasure::Running => "running",
        },
        ms: ledger.interval_ms(lifetime),
        limit_h: settings.service_interval_h,
        services: ledger.services,
        tries: ledger.tries,
    });
    let stated = ledger.carried_in;
    report.carried_in_stated =
        Some(CarriedInLine { hours: stated.hours, stitches: stated.stitches, trims: stated.trims });
    report.wiring = Some(Wiring {
        pulses_per_revolution: settings.pulses_per_revolution,
        needles: settings.needles,
        needle_source: match settings.needle_source {
            NeedleSource::NotWired => "not wired",
            NeedleSource::Code => "code lines",
            NeedleSource::Level => "voltage",
        },
        checkpoint_running_s: settings.checkpoint_running_s,
        checkpoint_trims: settings.checkpoint_trims,
    });
    report.components = component_lines(lifetime, ledger);
    report.journal = journal_lines(ledger, entries);
}

fn rests_on(reading: &Reading) -> RestsOn {
    RestsOn {
        snapshot_slot: reading.snapshot.base.slot,
        members: reading.snapshot.members,
        checkpoint_slot: reading.checkpoint.slot,
        entries: reading.entries.len(),
    }
}

fn board_line(board: &BoardFound) -> BoardLine {
    let tag = BoardTag::of(board.id).to_string();
    BoardLine { id: format!("{:016X}", board.id.0), tag, records: board.records() }
}

fn figures(counters: &Counters) -> CounterFigures {
    CounterFigures::of(counters, NEEDLES_MAX as u8)
}

/// The fault that says why nothing was recovered.
fn nothing_fault(recovered: &ImageRecovered) -> Option<FaultLine> {
    if recovered.lifetime.is_some() {
        return None;
    }
    let last = recovered.faults.last().copied().unwrap_or(Fault::MemoryUnreadable);
    Some(last.into())
}

fn component_lines(lifetime: &Counters, ledger: &Ledger) -> Vec<ComponentLine> {
    let lines = ledger.components.iter().enumerate().map(|(place, fitted)| {
        let component = &fitted.component;
        let wear = ledger.wear(place, lifetime, None).unwrap_or(0);
        ComponentLine {
            place,
            kind: component.kind.0,
            name: names::kind(component.kind),
            measure_code: component.measure.code(),
            baseline: fitted.baseline,
            measure: names::measure(component.measure),
            wear: wear / component.measure.per_limit_unit(),
            notice: component.notice,
            due: component.due,
            standing: match component.standing(wear) {
                _ if component.measure == Measure::Days => "no day",
                Standing::Fine => "fine",
                Standing::Notice => "notice",
                Standing::Due => "due",
            },
            renewed_by: match component.renewed_by {
                Role::Operator => "operator",
                Role::Engineer => "engineer",
            },
            with_service: component.with_service,
        }
    });
    lines.collect()
}

fn journal_lines(ledger: &Ledger, entries: &[EntryFound]) -> Vec<JournalLine> {
    let lines = ledger.history.iter().map(|line| {
        let entry = entries.iter().find(|e| e.stored.entry.number == line.number);
        let renewed = entry.map(|found| {
            let set = found.stored.entry.renewed;
            let fitted = ledger.components.iter().enumerate();
            fitted
                .filter(|(place, _)| set.contains(*place))
                .map(|(_, fitted)| names::kind(fitted.component.kind))
                .collect()
        });
        JournalLine {
            number: line.number.get(),
            event: line.event as u8,
            subject: line.subject,
            text: names::event(line.event, line.subject),
            renewed,
            powered_s: line.powered_s,
            day: line.day,
        }
    });
    lines.collect()
}

fn wear_map(image: &Image, reading: &Reading, states: &[SlotState], retired: &[u16]) -> WearMap {
    let newest = reading.newest;
    let mut set = Retired::default();
    for slot in retired {
        set.insert(*slot);
    }
    let letters = (0_u16..)
        .zip(states)
        .map(|(slot, state)| if set.contains(slot) { 'R' } else { state.letter(newest.lap.get()) });
    WearMap {
        newest_lap: newest.lap.get(),
        newest_slot: newest.slot,
        head_slot: image.ring().usable_after::<Sound>(newest, &set).slot,
        laps: states.iter().map(|s| s.lap()).collect(),
        letters: letters.collect(),
    }
}

fn notes(image: &Image, board: Option<&BoardFound>, is_given: bool) -> Vec<String> {
    let mut notes = signs::notes(image, board);
    let records = board.map_or(0, BoardFound::records);
    let given = image.geometry().page_bytes;
    // One of each length of slots but the one given.
    for page_bytes in [64, 128, 256].into_iter().filter(|page| *page != given.max(64)) {
        let Some(other) = image.with_pages(page_bytes) else { continue };
        let fitting = match board.filter(|_| is_given) {
            Some(board) => BoardFound::read(&other, board.id).records(),
            None => boards_on(&other).iter().map(BoardFound::records).max().unwrap_or(0),
        };
        if fitting > records {
            notes.push(format!(
                "{fitting} records fit with --page-bytes {page_bytes}, {records} with \
                 --page-bytes {given}: the page length given may be wrong"
            ));
        }
    }
    notes
}
