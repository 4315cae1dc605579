//! What `inspect` says about an image, as plain values that can be serialised. The board's key is
//! never in them.

use schemars::JsonSchema;
use serde::Serialize;
use shaftbook_core::fault::Fault;
use shaftbook_world::figures::CounterFigures;

use super::missing::Missing;
use super::names;

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

/// A snapshot that is not whole, or not the one that was named.
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
    /// It is whole, and the record that names it is bound to another: parts of two lives.
    pub is_another: bool,
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

impl ImageReport {
    /// Whether there is anything of the board.
    #[must_use]
    pub fn is_recovered(&self) -> bool {
        self.lifetime.is_some()
    }
}
