//! What `inspect` says about an image: both readings, compared, as plain values that can be
//! serialised. The board's key is never in them.

use std::fmt::Debug;

use schemars::JsonSchema;
use serde::Serialize;
use shaftbook_core::component::{Measure, Role, Standing};
use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::retired::Retired;
use shaftbook_core::rules::Sound;
use shaftbook_core::settings::{NeedleSource, ServiceMeasure};
use shaftbook_readout::tag::BoardTag;

use super::boards::{BoardFound, boards_on};
use super::image::Image;
use super::missing::{Missing, missing};
use super::names;
use super::reading::{EntryFound, Reading, SnapshotFound, newest, read};
use super::recovered::ImageRecovered;
use super::rules::ReadingRules;
use super::signs;
use super::slots::SlotState;
use shaftbook_world::figures::CounterFigures;

/// Version of the JSON's form: it counts up when a reader must change.
pub const INSPECT_FORMAT: u32 = 1;

/// What `shaftbook inspect --format json` prints.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(
    title = "What is on a memory part",
    extend("$id" = "urn:shaftbook:inspect:1", "additionalProperties" = false)
)]
pub struct NamedReport {
    /// What the image is called.
    pub image: String,
    /// Version of this form: 1.
    #[schemars(range(min = 1, max = 1))]
    pub format: u32,
    /// What was found on it.
    #[serde(flatten)]
    pub report: ImageReport,
}

impl NamedReport {
    /// A report with the name of its image.
    #[must_use]
    pub fn new(image: String, report: ImageReport) -> Self {
        Self { image, format: INSPECT_FORMAT, report }
    }
}

/// Everything found on an image.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ImageReport {
    /// Size of the image, bytes.
    pub size_bytes: u32,
    /// Page length it was read with, bytes.
    pub page_bytes: u16,
    /// Slots.
    pub slots: u16,
    /// The board; `None` when no board can be named.
    pub board: Option<BoardLine>,
    /// Other boards with records on the part.
    pub other_boards: Vec<BoardLine>,
    /// Whether the figures are the newest that were ever stored, as far as the bytes say: there
    /// are some, nothing is `missing`, and both readings agree. The exit code is 0 then, else 1.
    pub complete: bool,
    /// Newer records that may be missing in the figures; `None`: none.
    pub missing: Option<Missing>,
    /// Why nothing can be recovered; `None` when something can.
    pub fault: Option<FaultLine>,
    /// Faults that the firmware's recovery shows on this image.
    pub recovery_faults: Vec<FaultLine>,
    /// The lifetime counters, as the firmware recovers them.
    pub lifetime: Option<CounterFigures>,
    /// The read-out code that the board's panel would show after a start.
    pub read_out_code: Option<String>,
    /// The lifetime counters by the reading of every slot.
    pub lifetime_by_every_slot: Option<CounterFigures>,
    /// In what the two readings differ; empty when they agree.
    pub differences: Vec<String>,
    /// The records that the reading of every slot rests on.
    pub rests_on: Option<RestsOn>,
    /// The service interval.
    pub interval: Option<Interval>,
    /// What a person stated of the machine's past: stated, not measured.
    pub carried_in_stated: Option<CarriedInLine>,
    /// How the board is wired.
    pub wiring: Option<Wiring>,
    /// The components.
    pub components: Vec<ComponentLine>,
    /// The newest journal entries, oldest first.
    pub journal: Vec<JournalLine>,
    /// Slots retired, ascending.
    pub retired: Vec<u16>,
    /// Of those, the ones that only the journal names.
    pub retired_since_snapshot: Vec<u16>,
    /// The wear of the slots.
    pub wear: Option<WearMap>,
    /// What is damaged.
    pub damage: Damage,
    /// Hints for the reader.
    pub notes: Vec<String>,
}

/// A board with records on the part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct BoardLine {
    /// Its identity, 16 hexadecimal digits.
    pub id: String,
    /// Its tag, eight symbols to read aloud.
    pub tag: String,
    /// Records of it whose CRC fits.
    pub records: usize,
}

/// A fault, by number and in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct FaultLine {
    /// Its number.
    pub number: u16,
    /// Its name in the firmware.
    pub name: String,
    /// What it says.
    pub text: &'static str,
}

impl From<Fault> for FaultLine {
    fn from(fault: Fault) -> Self {
        Self { number: fault.number(), name: format!("{fault:?}"), text: names::fault(fault) }
    }
}

/// The records that a reading rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RestsOn {
    /// Slot of the snapshot's first member.
    pub snapshot_slot: u16,
    /// Data members of the snapshot.
    pub members: usize,
    /// Slot of the newest checkpoint.
    pub checkpoint_slot: u16,
    /// Journal entries since the snapshot.
    pub entries: usize,
}

/// The service interval.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Interval {
    /// What it counts: `powered` or `running`.
    pub measure: &'static str,
    /// Time since the last service (or the fitting), ms.
    pub ms: u64,
    /// The interval, h.
    pub limit_h: u16,
    /// Services done.
    pub services: u16,
    /// Replies tried since the last right one.
    pub tries: u8,
}

/// What a person stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CarriedInLine {
    /// Hours.
    pub hours: u32,
    /// Stitches.
    pub stitches: u64,
    /// Trims.
    pub trims: u32,
}

/// How the board is wired.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Wiring {
    /// Pulses per revolution.
    pub pulses_per_revolution: u8,
    /// Needles on the head.
    pub needles: u8,
    /// How the needle position reaches the board.
    pub needle_source: &'static str,
    /// Most running time between checkpoints, s.
    pub checkpoint_running_s: u8,
    /// Most trims between checkpoints.
    pub checkpoint_trims: u8,
}

/// A component.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ComponentLine {
    /// Place in the profile.
    pub place: usize,
    /// Code of what it is.
    pub kind: u8,
    /// What it is.
    pub name: String,
    /// Code of what wears it.
    pub measure_code: u8,
    /// What wears it, with the unit of wear and limits.
    pub measure: String,
    /// The measure when it was last renewed: ms of time, or a count.
    pub baseline: u64,
    /// Wear in the limits' unit.
    pub wear: u64,
    /// Limit from which it is announced.
    pub notice: u32,
    /// Limit from which it is due.
    pub due: u32,
    /// `fine`, `notice` or `due`; `no day` for days: no part tells what day it is.
    pub standing: &'static str,
    /// Who may renew it: `operator` or `engineer`.
    pub renewed_by: &'static str,
    /// Whether a service renews it too.
    pub with_service: bool,
}

/// A journal entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct JournalLine {
    /// Its number.
    pub number: u32,
    /// Code of the event.
    pub event: u8,
    /// Its subject.
    pub subject: u16,
    /// Both in words.
    pub text: String,
    /// Components renewed; `None` where the part keeps only the line.
    pub renewed: Option<Vec<String>>,
    /// Lifetime powered time then, s.
    pub powered_s: u32,
    /// Calendar day number, if a clock was fitted.
    pub day: Option<u16>,
}

/// The wear of the slots. The part holds no cycle counts; each slot is written once a
/// lap, so its lap is its wear.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct WearMap {
    /// Lap of the newest record.
    pub newest_lap: u32,
    /// Slot of the newest record.
    pub newest_slot: u16,
    /// Slot that is written next.
    pub head_slot: u16,
    /// Lap of each slot's record; `None` where no record of this board is.
    pub laps: Vec<Option<u32>>,
    /// A letter a slot: see the text output's legend.
    pub letters: String,
}

/// A snapshot that is not whole.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SnapshotLine {
    /// Slot of its first member.
    pub base_slot: u16,
    /// Data members it should have; 0 if none could be read.
    pub members: usize,
    /// Members that cannot be read; index `members` is the parity.
    pub missing: Vec<usize>,
    /// Lifetime counters that can still be had from it, if the firmware gave it up.
    pub counters: Option<CounterFigures>,
}

/// What is damaged.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Damage {
    /// Slots whose CRC fits no board known, among those still needed.
    pub needed_slots: Vec<u16>,
    /// The same, elsewhere (older records, and the slot that a cut tore).
    pub other_slots: Vec<u16>,
    /// Slots with a record left from an earlier lap: skipped or failed since.
    pub left_slots: Vec<u16>,
    /// Slots with records of other boards.
    pub foreign_slots: Vec<u16>,
    /// The snapshot in use, if a member is missing.
    pub snapshot: Option<SnapshotLine>,
    /// Newer snapshots that could not be used.
    pub lost_snapshots: Vec<SnapshotLine>,
    /// Slots of a snapshot that was not finished: no damage, a cut came first.
    pub unfinished_snapshot: Vec<u16>,
    /// Numbers of journal entries of which one copy is missing.
    pub single_copies: Vec<u32>,
    /// Slot at which an older journal entry should be and is not.
    pub journal_gap: Option<u16>,
}

impl Damage {
    /// Whether nothing is damaged. Records of other boards and an unfinished snapshot
    /// are none.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.needed_slots.is_empty()
            && self.other_slots.is_empty()
            && self.left_slots.is_empty()
            && self.snapshot.is_none()
            && self.lost_snapshots.is_empty()
            && self.single_copies.is_empty()
            && self.journal_gap.is_none()
    }
}

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
        report.tell_ledger(&lifetime, &ledger, entries);
    }
    report
}

impl ImageReport {
    /// Whether there is anything of the board.
    #[must_use]
    pub fn is_recovered(&self) -> bool {
        self.lifetime.is_some()
    }

    fn tell_ledger(&mut self, lifetime: &Counters, ledger: &Ledger, entries: &[EntryFound]) {
        let settings = &ledger.settings;
        self.interval = Some(Interval {
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
        self.carried_in_stated = Some(CarriedInLine {
            hours: stated.hours,
            stitches: stated.stitches,
            trims: stated.trims,
        });
        self.wiring = Some(Wiring {
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
        self.components = component_lines(lifetime, ledger);
        self.journal = journal_lines(ledger, entries);
    }
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

/// In what the firmware's recovery and the reading of every slot differ.
fn differences(recovered: &ImageRecovered, reading: Option<&Reading>) -> Vec<String> {
    let mut found = Vec::new();
    let mut compare = |what: &str, board: &dyn Debug, every_slot: &dyn Debug| {
        let (board, every_slot) = (format!("{board:?}"), format!("{every_slot:?}"));
        if board != every_slot {
            found
                .push(format!("{what}: the firmware gives {board}, every slot gives {every_slot}"));
        }
    };
    match (&recovered.lifetime, &recovered.ledger, reading) {
        (Some(lifetime), Some(ledger), Some(reading)) => {
            compare_counters(lifetime, &reading.lifetime, &mut compare);
            compare_ledgers(ledger, &reading.ledger, &mut compare);
            compare("retired slots", &recovered.retired, &reading.retired);
        }
        (Some(_), _, None) => compare("lifetime counters", &"some", &"none"),
        (None, _, Some(_)) => compare("lifetime counters", &"none", &"some"),
        _ => {}
    }
    for told in &recovered.withdrawn {
        if !recovered.lifetime.is_some_and(|lifetime| told.at_most(&lifetime)) {
            found.push(format!(
                "the firmware first told {} stitches and {} ms powered, then gave them up",
                told.stitches(),
                told.powered_ms
            ));
        }
    }
    if !recovered.ended {
        found.push("the firmware's recovery does not end on this image".to_owned());
    }
    found
}

type Compare<'a> = &'a mut dyn FnMut(&str, &dyn Debug, &dyn Debug);

fn compare_counters(a: &Counters, b: &Counters, compare: Compare<'_>) {
    compare("stitches", &a.stitches(), &b.stitches());
    compare("needle stitches", &a.needle_stitches, &b.needle_stitches);
    compare("unattributed stitches", &a.unattributed_stitches, &b.unattributed_stitches);
    compare("jumps", &a.jumps, &b.jumps);
    compare("trims", &a.trims, &b.trims);
    compare("needle breaks", &a.needle_breaks, &b.needle_breaks);
    compare("unattributed breaks", &a.unattributed_breaks, &b.unattributed_breaks);
    compare("powered ms", &a.powered_ms, &b.powered_ms);
    compare("running ms", &a.running_ms, &b.running_ms);
    compare("power-ups", &a.power_ups, &b.power_ups);
    compare("glitches", &a.glitches, &b.glitches);
    compare("missed edges", &a.missed_edges, &b.missed_edges);
}

fn compare_ledgers(a: &Ledger, b: &Ledger, compare: Compare<'_>) {
    compare("settings", &a.settings, &b.settings);
    compare("carried-in", &a.carried_in, &b.carried_in);
    compare("the key is the same", &true, &(a.key == b.key));
    compare("components", &a.components, &b.components);
    compare("interval baseline", &a.interval, &b.interval);
    compare("services", &a.services, &b.services);
    compare("replies tried", &a.tries, &b.tries);
    compare("next entry", &a.next_entry.get(), &b.next_entry.get());
    compare("journal", &a.history, &b.history);
}

fn damage(states: &[SlotState], reading: Result<&Reading, &Vec<SnapshotFound>>) -> Damage {
    let slots = |wanted: &dyn Fn(SlotState) -> bool| -> Vec<u16> {
        (0..).zip(states).filter(|(_, s)| wanted(**s)).map(|(slot, _)| slot).collect()
    };
    let damaged = slots(&|s| s == SlotState::Damaged);
    let mut damage = Damage {
        foreign_slots: slots(&|s| s == SlotState::Foreign),
        left_slots: slots(&|s| matches!(s, SlotState::Left(_))),
        ..Damage::default()
    };
    let line = |s: &SnapshotFound, counters: bool| SnapshotLine {
        base_slot: s.base.slot,
        members: s.members,
        missing: s.missing.clone(),
        counters: s.counters.as_ref().filter(|_| counters).map(figures),
    };
    match reading {
        Ok(reading) => {
            let (base, newest) = (reading.snapshot.base.slot, reading.newest.slot);
            let is_needed = |slot: u16| {
                if base <= newest {
                    (base..=newest).contains(&slot)
                } else {
                    slot >= base || slot <= newest
                }
            };
            (damage.needed_slots, damage.other_slots) =
                damaged.into_iter().partition(|slot| is_needed(*slot));
            if !reading.snapshot.missing.is_empty() {
                damage.snapshot = Some(line(&reading.snapshot, false));
            }
            damage.lost_snapshots = reading.lost.iter().map(|s| line(s, true)).collect();
            damage.unfinished_snapshot.clone_from(&reading.unfinished);
            let single = reading.entries.iter().filter(|e| e.copies.len() < 2);
            damage.single_copies = single.map(|e| e.stored.entry.number.get()).collect();
            damage.journal_gap = reading.gap;
        }
        Err(lost) => {
            damage.other_slots = damaged;
            damage.lost_snapshots = lost.iter().map(|s| line(s, true)).collect();
        }
    }
    damage
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
    let page_bytes = if image.geometry().page_bytes > 64 { 64 } else { 128 };
    if let Some(other) = image.with_pages(page_bytes) {
        let fitting = match board.filter(|_| is_given) {
            Some(board) => BoardFound::read(&other, board.id).records(),
            None => boards_on(&other).iter().map(BoardFound::records).max().unwrap_or(0),
        };
        if fitting > records {
            notes.push(format!(
                "{fitting} records fit with --page-bytes {page_bytes}, {records} with \
                 --page-bytes {}: the page length given may be wrong",
                image.geometry().page_bytes
            ));
        }
    }
    notes
}
