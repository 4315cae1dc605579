//! Finds out, from bytes alone, what a board knew before its power went.
//!
//! Method: every record carries its lap, so the newest place is where the lap
//! changes: a binary search over 3-byte headers, which are only *hints*. The slot
//! found must pass its CRC, and none of the slots after it, as many as can be
//! retired, may be newer; otherwise, and only then, every slot is read. From the
//! newest place back to the newest checkpoint or entry; from there to its snapshot,
//! parity included; from there along the journal, newest entry first, both copies.
//! Whatever is found damaged asks for a new snapshot, before a second damage comes.
//!
//! - `members`: the snapshot, member by member
//! - `chain`: the journal since, entry by entry
//! - this file: the stages, and those that look for the newest record and its snapshot
//!
//! Invariants: at most one bus transaction a step; nothing is written; a record
//! counts only if its CRC fits and its lap is the one that its place must have; no
//! bytes on the part make it panic or run for ever; counters that were told never
//! go down again.

mod chain;
mod members;

use super::ring::Place;
use super::{Stage, Store, StoreEvent};
use crate::codec::checkpoint::{self, Pointers};
use crate::codec::entry;
use crate::codec::fields::Fields;
use crate::codec::frame::{self, HEADER_BYTES, Header, PAYLOAD_BIT, RecordKind};
use crate::codec::snapshot::{self, MEMBER_BYTES, MEMBERS_MAX};
use crate::counters::{Counters, Merge};
use crate::fault::Fault;
use crate::journal::EntryNumber;
use crate::ledger::Decided;
use crate::medium::{Medium, MediumError};
use crate::retired::RETIRED_MAX;
use crate::rules::Rules;
use crate::serial::Lap;

/// Room for a snapshot's stream and its parity member.
pub const STREAM_BYTES: usize = MEMBER_BYTES * (MEMBERS_MAX + 1);

/// Slots looked at after the newest one found, beside as many as can be retired: so
/// many neighbours may be stuck, at whatever content, without hiding a newer record.
const LOOK_AHEAD_SLOTS: u16 = 4;
/// Slots looked back from a torn newest slot before everything is read.
const TORN_SLOTS_MAX: u16 = 4;
/// No slot of any ring.
const NO_SLOT: u16 = u16::MAX;

/// In `Chain`, `seen` is the entry before the one whose first copy was found.
#[derive(Clone, Copy, Debug)]
enum At {
    Reference { slot: u16 },
    Search { low: u16, high: u16 },
    Verify,
    LookAhead { ahead: u16, full: bool },
    Scan { slot: u16 },
    FindCheckpoint { full: bool },
    Members,
    Chain { slot: u16, reach: u16, seen: Option<u16> },
}

/// The newest entry after the newest checkpoint; its delta is in `tip_delta`.
#[derive(Clone, Copy, Debug)]
struct Tip {
    /// Its first copy, as far as is known.
    place: Place,
    number: EntryNumber,
    /// Name of the snapshot that it adds to.
    snapshot: u32,
}

/// Where the recovery stands.
// Each flag is one independent fact about the part, told as such.
#[allow(clippy::struct_excessive_bools)]
#[derive(Clone, Debug)]
pub(super) struct Recovery {
    at: At,
    /// Where to look next, in the stages that go from place to place.
    place: Place,
    /// Places looked at in this stage.
    steps: u16,
    reference: Lap,
    /// The slot whose record is in `record`.
    held: Option<u16>,
    /// Newest place that holds a valid record.
    pub newest: Place,
    found_any: bool,
    seen_foreign: bool,
    seen_data: bool,
    /// Name of a snapshot that was lost: of one that is whole, though another was named in its
    /// slot, or of none but the slot.
    lost: Option<u32>,
    /// Name of the snapshot that is looked for.
    snapshot: u32,
    /// The record that names the snapshot.
    holder: Place,
    /// The newest checkpoint or entry: all that follows was left unfinished.
    tail: Option<Place>,
    tip: Option<Tip>,
    tip_delta: Counters,
    /// The snapshot's place.
    base: Place,
    members: u32,
    members_count: u8,
    mark: u8,
    told: bool,
    decided: Decided,
    /// Number that the entry looked for must have.
    number: Option<EntryNumber>,
}

impl Recovery {
    /// A recovery that has not read anything yet.
    pub fn new() -> Self {
        let start = Place { lap: Lap::new(0), slot: 0 };
        Self {
            at: At::Reference { slot: 0 },
            place: start,
            steps: 0,
            reference: Lap::new(0),
            held: None,
            newest: start,
            found_any: false,
            seen_foreign: false,
            seen_data: false,
            lost: None,
            snapshot: 0,
            holder: start,
            tail: None,
            tip: None,
            tip_delta: Counters::default(),
            base: start,
            members: 0,
            members_count: 0,
            mark: 0,
            told: false,
            decided: Decided::new(),
            number: None,
        }
    }
}

type Stepped = Result<Option<StoreEvent>, MediumError>;

impl<R: Rules> Store<R> {
    /// Does the recovery's next bus transaction.
    pub(super) fn recovery_step<M: Medium>(&mut self, medium: &mut M) -> Stepped {
        match self.recovery.at {
            At::Reference { slot } => self.reference(medium, slot),
            At::Search { low, high } => self.search(medium, low, high),
            At::Verify => self.verify(medium),
            At::LookAhead { ahead, full } => self.look_ahead(medium, ahead, full),
            At::Scan { slot } => self.scan(medium, slot),
            At::FindCheckpoint { full } => self.find_checkpoint(medium, full),
            At::Members => self.member(medium),
            At::Chain { slot, reach, seen } => self.chain(medium, slot, reach, seen),
        }
    }

    // Always well: so that every stage ends with it.
    #[allow(clippy::unnecessary_wraps)]
    fn go(&mut self, at: At) -> Stepped {
        self.recovery.at = at;
        Ok(None)
    }

    /// Begins a stage that goes from place to place.
    #[inline(never)]
    fn start_at(&mut self, place: Place, at: At) {
        (self.recovery.place, self.recovery.steps, self.recovery.at) = (place, 0, at);
    }

    #[inline(never)]
    fn read_header<M: Medium>(
        &self,
        medium: &mut M,
        slot: u16,
    ) -> Result<Option<Header>, MediumError> {
        let mut bytes = [0; HEADER_BYTES];
        medium.read(self.ring.address(slot), &mut bytes)?;
        Ok(Header::decode(&bytes))
    }

    /// Reads a slot into `self.record`; its header if the CRC fits.
    #[inline(never)]
    fn read_record<M: Medium>(
        &mut self,
        medium: &mut M,
        slot: u16,
    ) -> Result<Option<Header>, MediumError> {
        self.recovery.held = None;
        medium.read(self.ring.address(slot), &mut self.record)?;
        self.recovery.held = Some(slot);
        Ok(frame::open::<R>(&self.record, self.id, slot))
    }

    /// The lap of one of the first slots, as the lap to search for.
    fn reference<M: Medium>(&mut self, medium: &mut M, slot: u16) -> Stepped {
        let at = match self.read_header(medium, slot)? {
            Some(header) => {
                self.recovery.reference = header.lap;
                At::Search { low: slot, high: self.ring.slots() }
            }
            None if slot < LOOK_AHEAD_SLOTS => At::Reference { slot: slot + 1 },
            None => At::Scan { slot: 0 },
        };
        self.go(at)
    }

    /// Slots `low` and before are of the reference lap, `high` and after are not.
    fn search<M: Medium>(&mut self, medium: &mut M, low: u16, high: u16) -> Stepped {
        if high - low <= 1 {
            let place = Place { slot: low, lap: self.recovery.reference };
            self.start_at(place, At::Verify);
            return Ok(None);
        }
        let middle = low + (high - low) / 2;
        let header = self.read_header(medium, middle)?;
        let same_lap = header.is_some_and(|h| h.lap == self.recovery.reference);
        self.go(if same_lap {
            At::Search { low: middle, high }
        } else {
            At::Search { low, high: middle }
        })
    }

    fn verify<M: Medium>(&mut self, medium: &mut M) -> Stepped {
        let place = self.recovery.place;
        let header = self.read_record(medium, place.slot)?;
        if header.is_some_and(|h| h.lap == place.lap) {
            self.recovery.newest = place;
            self.recovery.found_any = true;
            self.recovery.steps = 0;
            self.recovery.at = if R::look_ahead() {
                At::LookAhead { ahead: 1, full: false }
            } else {
                At::FindCheckpoint { full: false }
            };
        } else if self.recovery.steps < TORN_SLOTS_MAX {
            self.recovery.place = self.ring.before(place);
            self.recovery.steps += 1;
        } else {
            self.recovery.at = At::Scan { slot: 0 };
        }
        Ok(None)
    }

    fn look_ahead<M: Medium>(&mut self, medium: &mut M, ahead: u16, full: bool) -> Stepped {
        let newest = self.recovery.newest;
        let reach = (self.ring.slots() / 8).min(RETIRED_MAX as u16) + LOOK_AHEAD_SLOTS;
        if ahead > reach {
            self.start_at(newest, At::FindCheckpoint { full: false });
            return Ok(None);
        }
        let slot = self.ring.ahead(newest.slot, ahead);
        let header =
            if full { self.read_record(medium, slot)? } else { self.read_header(medium, slot)? };
        let newer = header.is_some_and(|h| Place { slot, lap: h.lap }.is_after::<R>(newest));
        self.go(match (newer, full) {
            (false, _) => At::LookAhead { ahead: ahead + 1, full: false },
            (true, false) => At::LookAhead { ahead, full: true },
            (true, true) => At::Scan { slot: 0 },
        })
    }

    fn scan<M: Medium>(&mut self, medium: &mut M, slot: u16) -> Stepped {
        if slot >= self.ring.slots() {
            if self.recovery.found_any {
                self.start_at(self.recovery.newest, At::FindCheckpoint { full: false });
                return Ok(None);
            }
            let fault = if self.recovery.seen_foreign {
                Fault::ForeignMemory
            } else if self.recovery.seen_data {
                Fault::MemoryUnreadable
            } else {
                Fault::NotFitted
            };
            return Ok(Some(self.nothing(fault)));
        }
        let header = self.read_record(medium, slot)?;
        if slot == 0 {
            self.recovery.found_any = false;
            self.scanned = true;
        }
        if let Some(header) = header {
            let place = Place { slot, lap: header.lap };
            if !self.recovery.found_any || place.is_after::<R>(self.recovery.newest) {
                self.recovery.newest = place;
            }
            self.recovery.found_any = true;
        } else if self.record.iter().any(|byte| *byte != 0xFF) {
            self.recovery.seen_data = true;
            if let Some(board) = snapshot::board_of(&self.record).filter(|b| *b != self.id) {
                self.recovery.seen_foreign |= frame::open::<R>(&self.record, board, slot).is_some();
            }
        }
        self.go(At::Scan { slot: slot + 1 })
    }

    /// Nothing of this board is on the part, or nothing that can be used.
    fn nothing(&mut self, fault: Fault) -> StoreEvent {
        self.ledger.clear();
        self.stage = Stage::Empty;
        // Whatever is there, later laps than it are free.
        self.head = Place { slot: 0, lap: self.recovery.newest.lap.plus(1) };
        StoreEvent::Nothing(fault)
    }

    /// Back from the newest place; journal entries on the way are newer than the
    /// checkpoint and are kept.
    fn find_checkpoint<M: Medium>(&mut self, medium: &mut M, full: bool) -> Stepped {
        let place = self.recovery.place;
        if self.recovery.steps >= self.ring.slots() {
            // Only members: a first fitting that was cut.
            let unfinished = self.recovery.tail.is_none();
            let fault = if unfinished { Fault::NotFitted } else { Fault::MemoryUnreadable };
            return Ok(Some(self.nothing(fault)));
        }
        // The newest record has just been read to verify it.
        let full = full || self.recovery.held == Some(place.slot);
        let header = if self.recovery.held == Some(place.slot) {
            frame::open::<R>(&self.record, self.id, place.slot)
        } else if full {
            self.read_record(medium, place.slot)?
        } else {
            self.read_header(medium, place.slot)?
        };
        let kind = header.filter(|h| h.lap == place.lap || !R::check_lap()).map(|h| h.kind);
        let wanted = matches!(kind, Some(RecordKind::Checkpoint | RecordKind::Entry));
        self.recovery.at = At::FindCheckpoint { full: wanted && !full };
        if full || !wanted {
            self.recovery.place = self.ring.before(place);
            self.recovery.steps += 1;
        }
        if wanted && full {
            self.recovery.tail.get_or_insert(place);
            if kind == Some(RecordKind::Checkpoint) {
                self.found_checkpoint(place);
            } else if self.recovery.lost.is_none() {
                self.found_entry(place);
            }
        }
        Ok(None)
    }

    #[inline(never)]
    fn found_entry(&mut self, place: Place) {
        let Some((pointers, _)) = self.read_entry() else { return };
        let number = self.entry.number;
        match &mut self.recovery.tip {
            None if pointers.base_slot() < self.ring.slots() => {
                self.recovery.tip = Some(Tip { place, number, snapshot: pointers.snapshot });
                self.recovery.tip_delta = self.entry.at;
            }
            Some(tip) if tip.number == number && tip.snapshot == pointers.snapshot => {
                tip.place = place;
            }
            _ => {}
        }
    }

    #[inline(never)]
    fn found_checkpoint(&mut self, place: Place) {
        let mut pointers = Pointers::of(&self.record);
        // Another than the one that is in its slot.
        let is_lost = self.recovery.lost.is_some_and(|lost| {
            lost != pointers.snapshot && checkpoint::base_slot_of(lost) == pointers.base_slot()
        });
        if is_lost || pointers.base_slot() >= self.ring.slots() {
            return;
        }
        let mut fields = Fields::reader(&self.record, PAYLOAD_BIT);
        checkpoint::pass::<R>(&mut fields, &mut pointers, &mut self.delta);
        // A pointer looks back from the record that holds it.
        let mut holder = place;
        if let Some(tip) = &self.recovery.tip {
            if tip.snapshot == pointers.snapshot {
                if R::growth_of_entry() {
                    self.delta.merge(&self.recovery.tip_delta, Merge::RaiseTo);
                }
            } else {
                // The checkpoint that committed the entry's snapshot was lost; the
                // entry stands in for it.
                self.delta = self.recovery.tip_delta;
                pointers.snapshot = tip.snapshot;
            }
            pointers.entry_slot = tip.place.slot;
            holder = tip.place;
        }
        let base = self.ring.last_written(pointers.base_slot(), holder);
        self.entry_slot = pointers.entry().filter(|slot| *slot < self.ring.slots());
        (self.recovery.base, self.recovery.holder) = (base, holder);
        self.recovery.snapshot = pointers.snapshot;
        (self.recovery.members, self.recovery.members_count) = (0, 0);
        self.start_at(base, At::Members);
    }

    /// The journal entry in `self.record`, into `self.entry` with its delta; its
    /// pointers, and whether it is the second copy.
    #[inline(never)]
    fn read_entry(&mut self) -> Option<(Pointers, bool)> {
        let (mut pointers, mut second) = (Pointers::default(), false);
        self.entry.at = Counters::default();
        let mut fields = Fields::reader(&self.record, PAYLOAD_BIT);
        entry::pass::<R>(&mut fields, &mut pointers, &mut self.entry, &mut second)?;
        Some((pointers, second))
    }

    /// All that can be known is known.
    fn recovered(&mut self) -> StoreEvent {
        let newest = self.recovery.newest;
        // Members of a snapshot that was cut are overwritten in the same lap: a board
        // that is cut in every snapshot must not eat up the ring.
        let tail = self.recovery.tail.unwrap_or(newest);
        let is_left = R::newest_entry_stays() || self.recovery.tip.is_none();
        self.head = if R::head_after_newest() && is_left {
            self.ring.usable_after::<R>(tail, &self.retired)
        } else {
            tail
        };
        self.base = Some(self.recovery.base);
        self.stage = Stage::Ready;
        StoreEvent::Ready
    }
}
