//! The store: checkpoints, journal entries and snapshots in a wear-levelled ring,
//! through any power cut.
//!
//! - [`serial`](crate::serial)[]: laps that wrap (RFC 1982)
//! - [`ring`][]: places
//! - [`retired`](crate::retired)[]: slots that failed
//! - [`slot_writer`][]: one record, programmed and read back
//! - [`recovery`][]: from bytes to what the board knew
//! - `activity`: what it is in the middle of (feature `activity`)
//! - `next`: what is written next
//! - `outcome`: what the end of a record under way brings
//! - `trouble`: a part that does not do as asked, and the pauses between tries
//! - `debug`: what `Debug` shows: no bytes, for the key is among them
//! - this file: what the store knows, and one poll of it
//!
//! Invariants:
//! - slots are written strictly in turn, so all wear alike;
//! - the slots from the live snapshot on to the newest record are never written
//!   again before a newer snapshot is complete, read back, and committed by a
//!   checkpoint that names it;
//! - a journal entry counts from the moment at which one of its copies can be read,
//!   and is reported when all have been read back;
//! - the last slots before the live snapshot are for a new one only, so that a supply that
//!   flaps, however often, leaves room for it;
//! - a power-fail warning goes before everything but a program cycle under way, the answer to
//!   a warning before it, and a snapshot in those last slots.
//!
//! Work: at most one bus transaction a [`Store::poll`]. Never panics, whatever the
//! part holds or does.

#[cfg(feature = "activity")]
pub mod activity;
mod debug;
mod next;
mod outcome;
pub mod recovery;
pub mod ring;
pub mod slot_writer;
mod trouble;

use crate::authority::{KEY_BYTES, Key};
use crate::codec::frame::{RECORD_BYTES, Record, RecordKind};
use crate::codec::snapshot::MemberPlace;
use crate::counters::Counters;
use crate::fault::Fault;
use crate::identity::BoardId;
use crate::journal::{ComponentSet, Entry, EntryNumber, Event};
use crate::ledger::Ledger;
use crate::medium::Medium;
use crate::retired::Retired;
use crate::rules::Rules;
use crate::settings::Settings;
use crate::time::Instant;
use core::marker::PhantomData;
use recovery::{Recovery, STREAM_BYTES};
use ring::{Place, Ring};
use slot_writer::SlotWriter;
use trouble::Trouble;

/// Slots in a row that do not hold what was written, after which it may be the part
/// and not the slots (write-protect): the second try waits.
const DIFFERING_SLOTS: u8 = 3;
/// A part smaller than believed repeats itself at 1/2, 1/4 or 1/8 of the size.
const ALIASES: u8 = 3;

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
    /// The entry that was asked for is durable, and in the ledger.
    EntryStored {
        /// Its number.
        number: EntryNumber,
        /// What happened.
        event: Event,
    },
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
    /// Nothing has been read.
    Start,
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
    /// The next member of the snapshot being written.
    Member,
}

impl Job {
    fn kind(self) -> RecordKind {
        match self {
            Self::Checkpoint | Self::Commit => RecordKind::Checkpoint,
            Self::EntryCopy { .. } => RecordKind::Entry,
            Self::Member => RecordKind::Snapshot,
        }
    }
}

/// A snapshot being written; its counters are in `draft_counters`.
#[derive(Clone, Copy, Debug)]
struct Draft {
    base: Place,
    next: MemberPlace,
    /// Its [`binding`](crate::codec::snapshot::binding).
    binding: u16,
}

/// The store of one board on one part.
// Each flag is one independent fact that outlives a poll.
#[allow(clippy::struct_excessive_bools)]
// In this order, small and often used first: a Cortex-M0 reaches bytes 0 to 31,
// half-words to 62 and words to 124 of a struct with one instruction.
#[derive(Clone)]
#[repr(C)]
pub struct Store<R: Rules> {
    trouble: Trouble,
    stage: Stage,
    /// Commit checkpoints still to be written after a snapshot.
    commits_left: u8,
    snapshot_wanted: bool,
    /// A checkpoint went before the snapshot: next is the snapshot's turn.
    gave_way: bool,
    entries: u8,
    tried_again: bool,
    /// Slots in a row that did not hold what was written.
    differing: u8,
    /// Places at which a smaller part would repeat the first record, still to check.
    aliases_left: u8,
    scanned: bool,
    worn_out: bool,
    entry_slot: Option<u16>,
    /// The record under way was begun while a warning stood.
    answers: bool,
    /// First copy's slot of the entry under way.
    first_copy: Option<u16>,
    ring: Ring,
    /// Next place to write.
    head: Place,
    /// Where the live snapshot begins.
    base: Option<Place>,
    draft: Option<Draft>,
    /// The live snapshot's [`binding`](crate::codec::snapshot::binding); while it is looked
    /// for, what it must be.
    base_binding: u16,
    /// Data members of the live snapshot.
    base_members: u8,
    id: BoardId,
    job: Option<(Job, SlotWriter)>,
    recovery: Recovery,
    /// The record being read or written.
    record: Record,
    /// What a slot gave when it was read back.
    back: Record,
    base_counters: Counters,
    draft_counters: Counters,
    saved: Counters,
    /// The counters as of the record being read or written.
    counters: Counters,
    /// Their delta as that record holds it.
    delta: Counters,
    /// The entry being read or written; its `at` holds delta until the entry is applied.
    entry: Entry,
    retired: Retired,
    /// All that is durable beside the counters, and a fitting that is on its way there.
    ledger: Ledger,
    /// The snapshot being read or written.
    stream: [u8; STREAM_BYTES],
    rules: PhantomData<R>,
}

impl<R: Rules> Store<R> {
    /// A store that knows nothing yet; the first polls recover.
    #[must_use]
    pub fn new(id: BoardId) -> Self {
        let entry = Entry {
            number: EntryNumber::new(0),
            event: Event::Renewed,
            subject: 0,
            renewed: ComponentSet(0),
            day: None,
            at: Counters::default(),
        };
        Self {
            id,
            stage: Stage::Start,
            ring: Ring::REFERENCE,
            recovery: Recovery::new(),
            head: Place::default(),
            base: None,
            base_binding: 0,
            base_members: 0,
            base_counters: Counters::default(),
            draft: None,
            draft_counters: Counters::default(),
            commits_left: 0,
            snapshot_wanted: false,
            gave_way: false,
            entry_slot: None,
            entries: 0,
            answers: false,
            first_copy: None,
            saved: Counters::default(),
            counters: Counters::default(),
            delta: Counters::default(),
            entry,
            retired: Retired::default(),
            ledger: Ledger::new(Settings::default(), Key::new([0; KEY_BYTES])),
            stream: [0; STREAM_BYTES],
            record: [0; RECORD_BYTES],
            back: [0; RECORD_BYTES],
            job: None,
            tried_again: false,
            differing: 0,
            aliases_left: 0,
            trouble: Trouble::new(),
            worn_out: false,
            scanned: false,
            rules: PhantomData,
        }
    }

    /// When the next poll has work, if nothing new is wanted.
    #[must_use]
    pub fn wake(&self) -> Instant {
        match self.stage {
            Stage::Start | Stage::Recovering => self.trouble.wake(),
            Stage::Ready if self.is_busy() => self.trouble.wake(),
            _ => Instant::NEVER,
        }
    }

    /// Earliest time at which a poll does anything (after a failure it pauses).
    #[must_use]
    pub fn not_before(&self) -> Instant {
        self.trouble.wake()
    }

    /// Whether something is being written or has yet to be.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        !self.worn_out
            && (self.job.is_some()
                || self.draft.is_some()
                || self.trouble.is_over_untold()
                || self.commits_left > 0
                || self.aliases_left > 0
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

    /// Everything durable that is not a counter.
    #[must_use]
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
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

    /// The ledger, to be changed as a whole (fitting); a new snapshot of it is asked for.
    /// On a part with nothing of this board, this starts the ring.
    ///
    /// # Errors
    /// A fault when the part cannot be written to yet: unknown, unusable, worn.
    pub fn change_ledger(&mut self) -> Result<&mut Ledger, Fault> {
        match self.stage {
            Stage::Ready => {}
            Stage::Empty => self.stage = Stage::Ready,
            Stage::Start | Stage::Recovering => {
                return Err(self.trouble.fault().unwrap_or(Fault::MemoryNoAnswer));
            }
            Stage::Unusable => return Err(Fault::MemoryShape),
        }
        if self.worn_out {
            return Err(Fault::MemoryWornOut);
        }
        self.draft = None;
        self.snapshot_wanted = true;
        Ok(&mut self.ledger)
    }

    /// Asks for a new snapshot, when there is time for it.
    pub fn want_snapshot(&mut self) {
        self.snapshot_wanted = true;
    }

    /// Does the next piece of work: at most one bus transaction. `lifetime` fills in
    /// the counters to be stored, when they are needed.
    pub fn poll<M: Medium>(
        &mut self,
        now: Instant,
        medium: &mut M,
        wanted: Wanted<'_>,
        lifetime: impl FnOnce(&mut Counters),
    ) -> Option<StoreEvent> {
        // A warning does not sit out the pause after a failure.
        if now < self.trouble.wake() && (self.job.is_some() || !wanted.urgent) {
            return None;
        }
        if let Some(fault) = self.trouble.next_over() {
            return Some(StoreEvent::TroubleOver(fault));
        }
        match self.stage {
            Stage::Start | Stage::Recovering => self.recover(now, medium),
            Stage::Empty | Stage::Unusable => None,
            Stage::Ready if self.worn_out => None,
            Stage::Ready => {
                if wanted.urgent
                    && R::answer_power_fail()
                    && R::power_fail_first()
                    && self.has_room()
                {
                    self.make_way();
                }
                if self.job.is_none() {
                    if self.aliases_left > 0 {
                        return self.check_alias(now, medium);
                    }
                    let wants_any = wanted.checkpoint || wanted.urgent || wanted.entry.is_some();
                    if !wants_any && !self.is_busy() {
                        return None;
                    }
                    lifetime(&mut self.counters);
                    if let Err(fault) = self.next_record(wanted) {
                        self.worn_out = true;
                        return Some(StoreEvent::Trouble(fault));
                    }
                }
                self.write(now, medium, wanted.urgent)
            }
        }
    }

    #[inline(never)]
    fn recover<M: Medium>(&mut self, now: Instant, medium: &mut M) -> Option<StoreEvent> {
        if self.stage == Stage::Start {
            let Some(ring) = Ring::new(medium.geometry()) else {
                self.stage = Stage::Unusable;
                return Some(StoreEvent::Nothing(Fault::MemoryShape));
            };
            self.ring = ring;
            self.stage = Stage::Recovering;
            return None;
        }
        match self.recovery_step(medium) {
            Ok(event) => {
                self.trouble.worked::<R>();
                event
            }
            Err(error) => self.trouble.failed(now, error),
        }
    }

    #[inline(never)]
    fn write<M: Medium>(
        &mut self,
        now: Instant,
        medium: &mut M,
        urgent: bool,
    ) -> Option<StoreEvent> {
        let (job, writer) = self.job.as_mut()?;
        let job = *job;
        match writer.step::<R, M>(now, medium, &self.record, &mut self.back) {
            slot_writer::SlotStep::Again => {
                self.trouble.worked::<R>();
                None
            }
            slot_writer::SlotStep::Pause(us) => {
                self.trouble.pause_until(now.plus_us(us));
                None
            }
            slot_writer::SlotStep::Stored => {
                self.trouble.worked::<R>();
                self.job = None;
                self.stored(job)
            }
            slot_writer::SlotStep::Differs => self.differs(now, urgent),
            slot_writer::SlotStep::Failed(error) => {
                // Whatever is written next is made of the counters of then.
                self.job = None;
                self.trouble.failed(now, error)
            }
        }
    }
}
