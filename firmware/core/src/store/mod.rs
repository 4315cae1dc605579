//! The store: checkpoints, journal entries and snapshots in a wear-levelled ring,
//! through any power cut.
//!
//! - [`serial`][]: laps that wrap (RFC 1982)
//! - [`ring`][]: places
//! - [`retired`][]: slots that failed
//! - [`slot_writer`][]: one record, programmed and read back
//! - [`recovery`][]: from bytes to what the board knew
//! - this file: what is written next
//!
//! Invariants:
//! - slots are written strictly in turn, so all wear alike;
//! - the slots from the live snapshot on to the newest record are never written
//!   again before a newer snapshot is complete, read back, and committed by a
//!   checkpoint that names it;
//! - a journal entry counts from the moment at which one of its copies can be read,
//!   and is reported when all have been read back;
//! - a power-fail warning goes before everything but a program cycle under way.
//!
//! Work: at most one bus transaction a [`Store::poll`]. Never panics, whatever the
//! part holds or does.

pub mod recovery;
pub mod retired;
pub mod ring;
pub mod serial;
pub mod slot_writer;

use crate::codec::checkpoint::Checkpoint;
use crate::codec::entry::StoredEntry;
use crate::codec::frame::{self, Header, Kind, Record};
use crate::codec::measures;
use crate::codec::snapshot::{self, MEMBER_BYTES};
use crate::counters::Counters;
use crate::fault::Fault;
use crate::identity::BoardId;
use crate::journal::Entry;
use crate::ledger::Ledger;
use crate::medium::{Medium, MediumError};
use crate::rules::Rules;
use crate::time::Instant;
use core::marker::PhantomData;
use recovery::{Recovery, STREAM_BYTES};
use retired::Retired;
use ring::{Place, Ring};
use serial::Lap;
use slot_writer::SlotWriter;

/// Journal entries since a snapshot after which a new snapshot is written.
const ENTRIES_MAX: u8 = 12;
/// A field this full (of 256) asks for a new snapshot.
const FULL: u64 = 224;
/// Pause after a failure of the part or the bus, µs.
const RETRY_PAUSE_US: u64 = 5_000;
/// The same, once the failure has lasted, µs.
const LONG_RETRY_PAUSE_US: u64 = 500_000;
/// Failures in a row that are shown as a fault.
const FAILURES_SHOWN: u8 = 4;

/// What the store tells the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StoreEvent {
    /// The lifetime counters as last stored are known: [`Store::saved`].
    CountersKnown,
    /// The ledger is known too; writing can begin.
    Ready,
    /// There is nothing of this board on the part.
    Nothing(Fault),
    /// More counters are durable: [`Store::saved`].
    CheckpointStored,
    /// The entry that was asked for is durable.
    EntryStored,
    /// The whole ledger is durable in a new snapshot, and so is [`Store::saved`].
    SnapshotStored,
    /// A slot failed twice and was retired.
    SlotRetired(u16),
    /// Something is wrong.
    Trouble(Fault),
    /// It is over.
    TroubleOver(Fault),
}

/// What the board wants stored now.
#[derive(Clone, Copy, Debug)]
pub struct Wanted<'a> {
    /// A checkpoint is due.
    pub checkpoint: bool,
    /// Power is failing: only a checkpoint counts, and it goes first.
    pub urgent: bool,
    /// An entry to be appended; its `at` holds lifetime counters.
    pub entry: Option<&'a Entry>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Recovering,
    /// Nothing of this board on the part: waits for a fitting.
    Empty,
    Ready,
    /// The part has a shape that cannot be used.
    Unusable,
}

/// What the record under way is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Job {
    /// The counters, on the live snapshot.
    Checkpoint,
    /// The counters, on the snapshot just written: from here on it is the live one.
    Commit,
    /// A copy of the entry that is wanted.
    EntryCopy { second: bool },
    /// The missing copy of an entry found half stored.
    Repair,
    /// A member of the snapshot being written.
    Member { index: usize },
}

impl Job {
    fn kind(self) -> Kind {
        match self {
            Self::Checkpoint | Self::Commit => Kind::Checkpoint,
            Self::EntryCopy { .. } | Self::Repair => Kind::Entry,
            Self::Member { .. } => Kind::Snapshot,
        }
    }
}

/// A snapshot that checkpoints add to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Base {
    place: Place,
    counters: Counters,
}

/// A snapshot being written.
#[derive(Clone, Copy, Debug)]
struct Draft {
    base: Base,
    length: usize,
    count: usize,
    next_index: usize,
}

/// The store of one board on one part.
// Each flag is one independent fact that outlives a poll.
#[allow(clippy::struct_excessive_bools)]
#[derive(Clone, Debug)]
pub struct Store<R: Rules> {
    id: BoardId,
    stage: Stage,
    ring: Option<Ring>,
    recovery: Option<Recovery>,
    /// Next place to write.
    head: Place,
    base: Option<Base>,
    draft: Option<Draft>,
    /// Commit checkpoints still to be written after a snapshot.
    commits_left: u8,
    snapshot_wanted: bool,
    entry_slot: Option<u16>,
    entries: u8,
    /// Second copy of an entry found half stored.
    repair: Option<StoredEntry>,
    /// First copy's slot of the entry under way.
    first_copy: Option<u16>,
    saved: Counters,
    /// The counters as of the record under way.
    counters: Counters,
    retired: Retired,
    stream: [u8; STREAM_BYTES],
    job: Option<(Job, SlotWriter)>,
    tried_again: bool,
    failures: u8,
    failing: Option<Fault>,
    /// A failure that is over and has not been told yet.
    over: Option<Fault>,
    worn_out: bool,
    wake: Instant,
    scanned: bool,
    rules: PhantomData<R>,
}

impl<R: Rules> Store<R> {
    /// A store that knows nothing yet; the first polls recover.
    #[must_use]
    pub fn new(id: BoardId) -> Self {
        Self {
            id,
            stage: Stage::Recovering,
            ring: None,
            recovery: None,
            head: Place::default(),
            base: None,
            draft: None,
            commits_left: 0,
            snapshot_wanted: false,
            entry_slot: None,
            entries: 0,
            repair: None,
            first_copy: None,
            saved: Counters::default(),
            counters: Counters::default(),
            retired: Retired::default(),
            stream: [0; STREAM_BYTES],
            job: None,
            tried_again: false,
            failures: 0,
            failing: None,
            over: None,
            worn_out: false,
            wake: Instant::ZERO,
            scanned: false,
            rules: PhantomData,
        }
    }

    /// When the next poll has work, if nothing new is wanted.
    #[must_use]
    pub fn wake(&self) -> Instant {
        match self.stage {
            Stage::Recovering => self.wake,
            Stage::Ready if self.is_busy() => self.wake,
            _ => Instant::NEVER,
        }
    }

    /// Earliest time at which a poll does anything (after a failure it pauses).
    #[must_use]
    pub fn not_before(&self) -> Instant {
        self.wake
    }

    /// Whether something is being written or has yet to be.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        !self.worn_out
            && (self.job.is_some()
                || self.draft.is_some()
                || self.over.is_some()
                || self.commits_left > 0
                || self.repair.is_some()
                || self.snapshot_wanted)
    }

    /// Whether the past is known and records can be asked for.
    #[must_use]
    pub fn is_ready(&self) -> bool {
        self.stage == Stage::Ready
    }

    /// Whether records can still be written: ready, and not worn out.
    #[must_use]
    pub fn can_write(&self) -> bool {
        self.is_ready() && !self.worn_out
    }

    /// The lifetime counters that are durable.
    #[must_use]
    pub fn saved(&self) -> &Counters {
        &self.saved
    }

    /// The slots that were retired.
    #[must_use]
    pub fn retired(&self) -> &Retired {
        &self.retired
    }

    /// Whether the last recovery had to read every slot.
    #[must_use]
    pub fn scanned(&self) -> bool {
        self.scanned
    }

    /// The next place to write.
    #[must_use]
    pub fn head(&self) -> Place {
        self.head
    }

    /// Asks for a new snapshot: the ledger was changed as a whole (fitting). On a
    /// part with nothing of this board, this starts the ring.
    ///
    /// # Errors
    /// A fault when the part cannot be written to yet: unknown, unusable, worn.
    pub fn write_ledger(&mut self) -> Result<(), Fault> {
        match self.stage {
            Stage::Ready => {}
            Stage::Empty => self.stage = Stage::Ready,
            Stage::Recovering => return Err(self.failing.unwrap_or(Fault::MemoryNoAnswer)),
            Stage::Unusable => return Err(Fault::MemoryShape),
        }
        if self.worn_out {
            return Err(Fault::MemoryWornOut);
        }
        self.draft = None;
        self.snapshot_wanted = true;
        Ok(())
    }

    /// Asks for a new snapshot when there is time for it.
    pub fn want_snapshot(&mut self) {
        self.snapshot_wanted = true;
    }

    /// The counters in the live snapshot, from which all growth is counted.
    #[must_use]
    pub fn base_counters(&self) -> Option<&Counters> {
        self.base.as_ref().map(|base| &base.counters)
    }

    /// Sets a place to go on from, for tests of roll-over: as if the ring had
    /// been used up to there. Only before a fitting.
    pub fn start_at_lap(&mut self, lap: Lap) {
        if self.base.is_none() {
            self.head.lap = lap;
        }
    }

    /// Does the next piece of work: at most one bus transaction. `lifetime` gives
    /// the counters to be stored, when they are needed.
    pub fn poll<M: Medium>(
        &mut self,
        now: Instant,
        medium: &mut M,
        wanted: Wanted<'_>,
        ledger: &mut Ledger,
        lifetime: impl FnOnce() -> Counters,
    ) -> Option<StoreEvent> {
        if now < self.wake && !(wanted.urgent && self.job.is_none()) {
            return None;
        }
        if let Some(fault) = self.over.take() {
            return Some(StoreEvent::TroubleOver(fault));
        }
        match self.stage {
            Stage::Recovering => self.recover(now, medium, ledger),
            Stage::Empty | Stage::Unusable => None,
            Stage::Ready if self.worn_out => None,
            Stage::Ready => self.write(now, medium, wanted, ledger, lifetime),
        }
    }

    fn recover<M: Medium>(
        &mut self,
        now: Instant,
        medium: &mut M,
        ledger: &mut Ledger,
    ) -> Option<StoreEvent> {
        let Some(recovery) = &mut self.recovery else {
            let Some(ring) = Ring::new(medium.geometry()) else {
                self.stage = Stage::Unusable;
                return Some(StoreEvent::Nothing(Fault::MemoryShape));
            };
            self.ring = Some(ring);
            self.recovery = Some(Recovery::new(self.id, ring));
            return None;
        };
        let step = recovery.step::<R, M>(medium, &mut self.stream, ledger, &mut self.retired);
        let step = match step {
            Ok(step) => step,
            Err(error) => return self.failed(now, error),
        };
        self.worked();
        self.after_recovery_step(step)
    }

    fn after_recovery_step(&mut self, step: recovery::Step) -> Option<StoreEvent> {
        match step {
            recovery::Step::Again => None,
            recovery::Step::CountersKnown => {
                if let Some(recovery) = &self.recovery {
                    self.saved = recovery.past;
                }
                Some(StoreEvent::CountersKnown)
            }
            recovery::Step::Trouble(fault) => Some(StoreEvent::Trouble(fault)),
            recovery::Step::Nothing(fault) => {
                self.stage = Stage::Empty;
                let newest = self.recovery.take().map(|r| r.newest()).unwrap_or_default();
                // Whatever is there, later laps than it are free.
                self.head = Place { slot: 0, lap: newest.lap.plus(1) };
                Some(StoreEvent::Nothing(fault))
            }
            recovery::Step::Done => {
                let (recovery, ring) = (self.recovery.take()?, self.ring?);
                self.stage = Stage::Ready;
                self.head = ring.usable_after::<R>(recovery.newest(), &self.retired);
                self.base = Some(Base { place: recovery.base, counters: recovery.base_counters });
                self.entry_slot = recovery.entry_slot;
                self.entries = recovery.entries;
                self.repair = recovery.half_stored.filter(|_| R::JOURNAL_COPIES > 1);
                self.snapshot_wanted = recovery.made_good;
                self.scanned = recovery.scanned;
                Some(StoreEvent::Ready)
            }
        }
    }

    fn write<M: Medium>(
        &mut self,
        now: Instant,
        medium: &mut M,
        wanted: Wanted<'_>,
        ledger: &Ledger,
        lifetime: impl FnOnce() -> Counters,
    ) -> Option<StoreEvent> {
        if wanted.urgent && R::ANSWER_POWER_FAIL {
            self.make_way();
        }
        if self.job.is_none() {
            match self.next_record(wanted, ledger, lifetime) {
                Ok(true) => {}
                Ok(false) => return None,
                Err(fault) => {
                    self.worn_out = true;
                    return Some(StoreEvent::Trouble(fault));
                }
            }
        }
        let (_, writer) = self.job.as_mut()?;
        match writer.step::<R, M>(now, medium) {
            slot_writer::Step::Again => {
                self.worked();
                None
            }
            slot_writer::Step::Pause(us) => {
                self.wake = now.plus_us(us);
                None
            }
            slot_writer::Step::Stored => {
                self.worked();
                self.stored()
            }
            slot_writer::Step::Differs => self.differs(wanted.urgent),
            slot_writer::Step::Failed(error) => {
                writer.restart();
                self.failed(now, error)
            }
        }
    }

    /// A power-fail warning: whatever is not a program cycle under way gives way.
    fn make_way(&mut self) {
        let Some((job, writer)) = &self.job else { return };
        let is_checkpoint = matches!(job, Job::Checkpoint | Job::Commit);
        if is_checkpoint || writer.is_programming() {
            return;
        }
        let sent = writer.is_programmed();
        if let Job::EntryCopy { .. } = job {
            // It will be written again, whole.
            self.first_copy = None;
        }
        if let Job::Member { .. } = job {
            self.draft = None;
            self.snapshot_wanted = true;
        }
        self.job = None;
        if sent {
            self.advance();
        }
    }

    /// Chooses the next record and puts its writer in place; `false` when there is
    /// nothing to write.
    fn next_record(
        &mut self,
        wanted: Wanted<'_>,
        ledger: &Ledger,
        lifetime: impl FnOnce() -> Counters,
    ) -> Result<bool, Fault> {
        let ring = self.ring.ok_or(Fault::MemoryShape)?;
        let wants_any = wanted.checkpoint || wanted.urgent || wanted.entry.is_some();
        if !wants_any && !self.is_busy() {
            return Ok(false);
        }
        self.counters = lifetime();
        let Some(job) = self.choose(ring, wanted, ledger)? else { return Ok(false) };
        if R::GUARD_LIVE_SNAPSHOT && self.base.is_some_and(|b| b.place.slot == self.head.slot) {
            return Err(Fault::MemoryWornOut);
        }
        let mut record = self.encode(job, wanted.entry);
        let header = Header { kind: job.kind(), lap: self.head.lap };
        frame::seal::<R>(&mut record, header, self.id, self.head.slot);
        self.job = Some((job, SlotWriter::new(record, ring.address(self.head.slot))));
        self.tried_again = false;
        Ok(true)
    }

    fn choose(
        &mut self,
        ring: Ring,
        wanted: Wanted<'_>,
        ledger: &Ledger,
    ) -> Result<Option<Job>, Fault> {
        let fitted = self.base.is_some();
        if wanted.urgent && R::ANSWER_POWER_FAIL && fitted {
            return Ok(Some(Job::Checkpoint));
        }
        if self.repair.is_some() {
            return Ok(Some(Job::Repair));
        }
        if self.first_copy.is_some() && wanted.entry.is_some() {
            return Ok(Some(Job::EntryCopy { second: true }));
        }
        if self.draft_is_complete() {
            return Ok(Some(Job::Commit));
        }
        if fitted && (self.commits_left > 0 || wanted.checkpoint) {
            return Ok(Some(Job::Checkpoint));
        }
        if let Some(draft) = &self.draft {
            return Ok(Some(Job::Member { index: draft.next_index }));
        }
        if self.snapshot_wanted || self.is_snapshot_due(ring) {
            self.begin_draft(ledger)?;
            return Ok(Some(Job::Member { index: 0 }));
        }
        Ok(wanted.entry.map(|_| Job::EntryCopy { second: false }))
    }

    /// Whether the snapshot has to be written anew: the ring comes near it, a field
    /// gets full, or the journal gets long.
    fn is_snapshot_due(&self, ring: Ring) -> bool {
        let Some(base) = &self.base else { return true };
        if self.first_copy.is_some() {
            // Not between the copies of one entry.
            return false;
        }
        // Room for a whole snapshot, its commit, a second try, and what else comes.
        let members = self.stream.len() as u16 / MEMBER_BYTES as u16;
        let reserve =
            (members + ring.slots() / 16 + self.retired.len() as u16).min(ring.slots() / 2);
        ring.distance(self.head.slot, base.place.slot) <= reserve
            || self.entries >= ENTRIES_MAX
            || measures::room(&self.counters.since(&base.counters)) >= FULL
    }

    fn begin_draft(&mut self, ledger: &Ledger) -> Result<(), Fault> {
        let length =
            snapshot::encode(&mut self.stream, self.id, &self.counters, ledger, &self.retired)
                .ok_or(Fault::MemoryWornOut)?;
        let count = length.div_ceil(MEMBER_BYTES);
        let base = Base { place: self.head, counters: self.counters };
        self.draft = Some(Draft { base, length, count, next_index: 0 });
        self.snapshot_wanted = false;
        Ok(())
    }

    fn draft_is_complete(&self) -> bool {
        self.draft.is_some_and(|d| d.next_index > d.count - usize::from(!R::SNAPSHOT_PARITY))
    }

    /// Growth since the live snapshot, or since the one being written.
    fn growth(&self, commit: bool) -> Counters {
        let draft = self.draft.as_ref().map(|d| &d.base);
        let base = if commit { draft } else { self.base.as_ref() };
        base.map_or_else(Counters::default, |base| self.counters.since(&base.counters))
    }

    fn encode(&self, job: Job, entry: Option<&Entry>) -> Record {
        let base_slot = self.base.as_ref().map_or(0, |base| base.place.slot);
        let draft = self.draft.as_ref();
        match (job, entry, &self.repair) {
            (Job::Checkpoint, ..) => {
                let growth = self.growth(false);
                Checkpoint { base_slot, entry_slot: self.entry_slot, growth }.encode::<R>()
            }
            (Job::Commit, ..) => {
                let base_slot = draft.map_or(0, |d| d.base.place.slot);
                Checkpoint { base_slot, entry_slot: None, growth: self.growth(true) }.encode::<R>()
            }
            (Job::EntryCopy { second }, Some(entry), _) => {
                let base = self.base.as_ref().map(|b| &b.counters);
                let at = base.map_or_else(Counters::default, |base| entry.at.since(base));
                let previous_slot = self.entry_slot;
                let entry = Entry { at, ..*entry };
                StoredEntry { base_slot, previous_slot, second_copy: second, entry }.encode::<R>()
            }
            (Job::Repair, _, Some(stored)) => {
                StoredEntry { second_copy: true, ..*stored }.encode::<R>()
            }
            (Job::Member { index }, ..) => {
                let (length, count) = draft.map_or((0, 0), |d| (d.length, d.count));
                snapshot::member(self.stream.get(..length).unwrap_or(&[]), index, count)
            }
            // `choose` never asks for an entry that is not there.
            (Job::EntryCopy { .. } | Job::Repair, ..) => [0; frame::RECORD_BYTES],
        }
    }

    /// The record under way is in its slot.
    fn stored(&mut self) -> Option<StoreEvent> {
        let (job, _) = self.job.take()?;
        let place = self.head;
        self.advance();
        let event = match job {
            Job::Checkpoint => {
                self.note_saved(false);
                self.commits_left = self.commits_left.saturating_sub(1);
                Some(StoreEvent::CheckpointStored)
            }
            Job::Commit => {
                self.note_saved(true);
                // The old snapshot is no longer needed. One more checkpoint, so that
                // no single slot holds the only pointer to the new one.
                self.commits_left = 1 + u8::from(self.base.is_none());
                self.base = self.draft.take().map(|draft| draft.base);
                (self.entry_slot, self.entries) = (None, 0);
                Some(StoreEvent::SnapshotStored)
            }
            Job::EntryCopy { second } => self.entry_copy_stored(place, second),
            Job::Repair => {
                self.repair = None;
                None
            }
            Job::Member { index } => {
                if let Some(draft) = &mut self.draft {
                    if index == 0 {
                        draft.base.place = place;
                    }
                    draft.next_index = index + 1;
                }
                None
            }
        };
        if let (Job::Checkpoint | Job::Commit, Some(ring), None) = (job, self.ring, &self.draft) {
            self.snapshot_wanted |= self.is_snapshot_due(ring);
        }
        event
    }

    /// Notes what a reader of the checkpoint just stored would add up.
    fn note_saved(&mut self, commit: bool) {
        let growth = self.growth(commit);
        self.saved = self.counters;
        if measures::room(&growth) >= 256 || growth.glitches > 0xFFFF || growth.missed_edges > 0xFF
        {
            let record = Checkpoint { base_slot: 0, entry_slot: None, growth }.encode::<R>();
            let lost = growth.since(&Checkpoint::decode(&record).growth);
            self.saved = self.counters.since(&lost);
        }
    }

    fn entry_copy_stored(&mut self, place: Place, second: bool) -> Option<StoreEvent> {
        let first = *self.first_copy.get_or_insert(place.slot);
        if R::JOURNAL_COPIES > 1 && !second {
            return None;
        }
        self.first_copy = None;
        self.entry_slot = Some(first);
        self.entries = self.entries.saturating_add(1);
        Some(StoreEvent::EntryStored)
    }

    /// The slot does not hold what was written: once more, then never again.
    fn differs(&mut self, urgent: bool) -> Option<StoreEvent> {
        if !self.tried_again && !urgent {
            self.tried_again = true;
            if let Some((_, writer)) = &mut self.job {
                writer.restart();
            }
            return None;
        }
        let slot = self.head.slot;
        self.job = None;
        let ring = self.ring?;
        if !R::RETIRE {
            self.advance();
            return None;
        }
        let full = self.retired.len() >= retired::RETIRED_MAX.min(usize::from(ring.slots() / 8));
        if full || !self.retired.insert(slot) {
            self.worn_out = true;
            return Some(StoreEvent::Trouble(Fault::MemoryWornOut));
        }
        self.advance();
        Some(StoreEvent::SlotRetired(slot))
    }

    fn advance(&mut self) {
        if let Some(ring) = self.ring {
            self.head = ring.usable_after::<R>(self.head, &self.retired);
        }
    }

    fn failed(&mut self, now: Instant, error: MediumError) -> Option<StoreEvent> {
        self.failures = self.failures.saturating_add(1);
        let lasting = self.failures >= FAILURES_SHOWN;
        self.wake = now.plus_us(if lasting { LONG_RETRY_PAUSE_US } else { RETRY_PAUSE_US });
        let fault = Fault::from(error);
        if lasting && self.failing != Some(fault) {
            self.failing = Some(fault);
            return Some(StoreEvent::Trouble(fault));
        }
        None
    }

    /// The part did as asked.
    fn worked(&mut self) {
        self.failures = 0;
        self.over = self.failing.take().or(self.over);
    }
}
