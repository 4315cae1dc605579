//! Finds out, from bytes alone, what a board knew before its power went.
//!
//! Method: every record carries its lap, so the newest place is where the lap
//! changes: a binary search over 3-byte headers, which are only *hints*. The slot
//! found must pass its CRC and the slots after it must not be newer; otherwise,
//! and only then, every slot is read. From the newest place back to the newest
//! checkpoint; from there to its snapshot; from there along the journal, newest
//! entry first.
//!
//! Invariants: at most one bus transaction a step; nothing is written; a record
//! counts only if its CRC fits and its lap is the one that its place must have; no
//! bytes on the part make it panic or run for ever.

use super::retired::Retired;
use super::ring::{Place, Ring};
use super::serial::Lap;
use crate::codec::checkpoint::Checkpoint;
use crate::codec::entry::StoredEntry;
use crate::codec::frame::{self, HEADER_BYTES, Header, Kind, RECORD_BYTES, Record};
use crate::codec::snapshot::{self, COUNTER_MEMBERS, MEMBER_BYTES, MEMBERS_MAX};
use crate::counters::Counters;
use crate::fault::Fault;
use crate::identity::BoardId;
use crate::journal::EntryNumber;
use crate::ledger::{Decided, Ledger};
use crate::medium::{Medium, MediumError};
use crate::rules::Rules;

/// Room for a snapshot's stream and its parity member.
pub const STREAM_BYTES: usize = MEMBER_BYTES * (MEMBERS_MAX + 1);

/// Slots looked at after the newest one found: so many neighbouring slots may be
/// stuck at their old content without the search stopping short of the newest.
const LOOK_AHEAD_SLOTS: u16 = 4;
/// Slots looked back from a torn newest slot before everything is read.
const TORN_SLOTS_MAX: u8 = 4;
/// Slots in which the second copy of an entry may lie after the first.
const COPY_REACH_SLOTS: u16 = 6;
/// Slots beyond a snapshot's own that may lie between its members.
const MEMBER_REACH_SLOTS: u16 = 48;
/// Longest journal chain that is followed; the writer stops far below it.
const CHAIN_MAX: u8 = 40;

/// What a step brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Step {
    /// Go on.
    Again,
    /// The lifetime counters are known: [`Recovery::past`].
    CountersKnown,
    /// Something is missing, but the recovery goes on.
    Trouble(Fault),
    /// All that can be known is known.
    Done,
    /// There is nothing of this board here.
    Nothing(Fault),
}

#[derive(Clone, Copy, Debug)]
enum Stage {
    Reference { slot: u16 },
    Search { low: u16, high: u16 },
    Verify { place: Place, tries: u8 },
    LookAhead { place: Place, ahead: u16, full: bool },
    Scan { slot: u16 },
    FindCheckpoint { place: Place, steps: u16, full: bool },
    Members { place: Place, last_index: Option<usize>, steps: u16 },
    Chain { slot: u16, reach: u16, number: Option<EntryNumber> },
    Done,
}

/// An entry found after the newest checkpoint.
#[derive(Clone, Copy, Debug)]
struct Tip {
    place: Place,
    copies: u8,
    stored: StoredEntry,
}

/// The recovery under way, and in the end its result.
// Each flag is one independent fact about the part, told as such.
#[allow(clippy::struct_excessive_bools)]
#[derive(Clone, Debug)]
pub struct Recovery {
    id: BoardId,
    ring: Ring,
    stage: Stage,
    reference: Lap,
    /// Newest place that holds a valid record.
    newest: Place,
    found_any: bool,
    seen_foreign: bool,
    seen_data: bool,
    /// Slot of a snapshot that could not be read.
    lost_base: Option<u16>,
    checkpoint: Option<Checkpoint>,
    tip: Option<Tip>,
    members: u32,
    members_count: usize,
    counters_told: bool,
    decided: Decided,
    /// The snapshot's place.
    pub base: Place,
    /// The counters in the snapshot.
    pub base_counters: Counters,
    /// The lifetime counters as last stored.
    pub past: Counters,
    /// Slot of the newest journal entry since the snapshot.
    pub entry_slot: Option<u16>,
    /// Journal entries since the snapshot.
    pub entries: u8,
    /// An entry of which only one copy was found.
    pub half_stored: Option<StoredEntry>,
    /// A member of the snapshot was made good from the parity.
    pub made_good: bool,
    /// Every slot had to be read.
    pub scanned: bool,
}

impl Recovery {
    /// A recovery that has not read anything yet.
    #[must_use]
    pub fn new(id: BoardId, ring: Ring) -> Self {
        Self {
            id,
            ring,
            stage: Stage::Reference { slot: 0 },
            reference: Lap::default(),
            newest: Place::default(),
            found_any: false,
            seen_foreign: false,
            seen_data: false,
            lost_base: None,
            checkpoint: None,
            tip: None,
            members: 0,
            members_count: 0,
            counters_told: false,
            decided: Decided::default(),
            base: Place::default(),
            base_counters: Counters::default(),
            past: Counters::default(),
            entry_slot: None,
            entries: 0,
            half_stored: None,
            made_good: false,
            scanned: false,
        }
    }

    /// The newest place that holds a valid record; meaningful when done.
    #[must_use]
    pub fn newest(&self) -> Place {
        self.newest
    }

    /// Does the next bus transaction. `stream` collects the snapshot; `ledger` and
    /// `retired` are set when it is whole.
    ///
    /// # Errors
    /// [`MediumError`] when the part could not be read: call again.
    pub fn step<R: Rules, M: Medium>(
        &mut self,
        medium: &mut M,
        stream: &mut [u8; STREAM_BYTES],
        ledger: &mut Ledger,
        retired: &mut Retired,
    ) -> Result<Step, MediumError> {
        match self.stage {
            Stage::Reference { slot } => self.reference(medium, slot),
            Stage::Search { low, high } => self.search(medium, low, high),
            Stage::Verify { place, tries } => self.verify::<R, M>(medium, place, tries),
            Stage::LookAhead { place, ahead, full } => {
                self.look_ahead::<R, M>(medium, place, ahead, full)
            }
            Stage::Scan { slot } => self.scan::<R, M>(medium, slot),
            Stage::FindCheckpoint { place, steps, full } => {
                self.find_checkpoint::<R, M>(medium, place, steps, full)
            }
            Stage::Members { place, last_index, steps } => {
                let step = self.member::<R, M>(medium, stream, place, last_index, steps)?;
                if matches!(self.stage, Stage::Members { .. }) {
                    return Ok(step);
                }
                Ok(self.members_read(stream, ledger, retired, step))
            }
            Stage::Chain { slot, reach, number } => {
                self.chain::<R, M>(medium, ledger, slot, reach, number)
            }
            Stage::Done => Ok(Step::Done),
        }
    }

    fn header<M: Medium>(&self, medium: &mut M, slot: u16) -> Result<Option<Header>, MediumError> {
        let mut bytes = [0; HEADER_BYTES];
        medium.read(self.ring.address(slot), &mut bytes)?;
        Ok(Header::decode(&bytes))
    }

    fn record<R: Rules, M: Medium>(
        &self,
        medium: &mut M,
        slot: u16,
        record: &mut Record,
    ) -> Result<Option<Header>, MediumError> {
        medium.read(self.ring.address(slot), record)?;
        Ok(frame::open::<R>(record, self.id, slot))
    }

    /// The lap of one of the first slots, as the lap to search for.
    fn reference<M: Medium>(&mut self, medium: &mut M, slot: u16) -> Result<Step, MediumError> {
        self.stage = match self.header(medium, slot)? {
            Some(header) => {
                self.reference = header.lap;
                Stage::Search { low: slot, high: self.ring.slots() }
            }
            None if slot < LOOK_AHEAD_SLOTS => Stage::Reference { slot: slot + 1 },
            None => Stage::Scan { slot: 0 },
        };
        Ok(Step::Again)
    }

    /// Slots `low` and before are of the reference lap, `high` and after are not.
    fn search<M: Medium>(
        &mut self,
        medium: &mut M,
        low: u16,
        high: u16,
    ) -> Result<Step, MediumError> {
        if high - low <= 1 {
            let place = Place { slot: low, lap: self.reference };
            self.stage = Stage::Verify { place, tries: 0 };
            return Ok(Step::Again);
        }
        let middle = low + (high - low) / 2;
        let same_lap = self.header(medium, middle)?.is_some_and(|h| h.lap == self.reference);
        self.stage = if same_lap {
            Stage::Search { low: middle, high }
        } else {
            Stage::Search { low, high: middle }
        };
        Ok(Step::Again)
    }

    fn verify<R: Rules, M: Medium>(
        &mut self,
        medium: &mut M,
        place: Place,
        tries: u8,
    ) -> Result<Step, MediumError> {
        let mut record = [0; RECORD_BYTES];
        let header = self.record::<R, M>(medium, place.slot, &mut record)?;
        self.stage = if header.is_some_and(|h| h.lap == place.lap) {
            self.newest = place;
            self.found_any = true;
            if R::LOOK_AHEAD {
                Stage::LookAhead { place, ahead: 1, full: false }
            } else {
                Stage::FindCheckpoint { place, steps: 0, full: false }
            }
        } else if tries < TORN_SLOTS_MAX {
            Stage::Verify { place: self.ring.before(place), tries: tries + 1 }
        } else {
            Stage::Scan { slot: 0 }
        };
        Ok(Step::Again)
    }

    fn look_ahead<R: Rules, M: Medium>(
        &mut self,
        medium: &mut M,
        place: Place,
        ahead: u16,
        full: bool,
    ) -> Result<Step, MediumError> {
        if ahead > LOOK_AHEAD_SLOTS {
            self.stage = Stage::FindCheckpoint { place: self.newest, steps: 0, full: false };
            return Ok(Step::Again);
        }
        let next = Stage::LookAhead { place, ahead: ahead + 1, full: false };
        let slot = (place.slot + ahead) % self.ring.slots();
        let header = if full {
            let mut record = [0; RECORD_BYTES];
            self.record::<R, M>(medium, slot, &mut record)?
        } else {
            self.header(medium, slot)?
        };
        let newer = header.is_some_and(|h| Place { slot, lap: h.lap }.is_after::<R>(self.newest));
        self.stage = match (newer, full) {
            (false, _) => next,
            (true, false) => Stage::LookAhead { place, ahead, full: true },
            (true, true) => Stage::Scan { slot: 0 },
        };
        Ok(Step::Again)
    }

    fn scan<R: Rules, M: Medium>(
        &mut self,
        medium: &mut M,
        slot: u16,
    ) -> Result<Step, MediumError> {
        if slot >= self.ring.slots() {
            if self.found_any {
                let place = self.newest;
                self.stage = Stage::FindCheckpoint { place, steps: 0, full: false };
                return Ok(Step::Again);
            }
            self.stage = Stage::Done;
            return Ok(Step::Nothing(if self.seen_foreign {
                Fault::ForeignMemory
            } else if self.seen_data {
                Fault::MemoryUnreadable
            } else {
                Fault::NotFitted
            }));
        }
        if slot == 0 {
            self.found_any = false;
            self.scanned = true;
        }
        let mut record = [0; RECORD_BYTES];
        if let Some(header) = self.record::<R, M>(medium, slot, &mut record)? {
            let place = Place { slot, lap: header.lap };
            if !self.found_any || place.is_after::<R>(self.newest) {
                self.newest = place;
            }
            self.found_any = true;
        } else {
            let foreign = snapshot::board_of(&record).filter(|board| *board != self.id);
            self.seen_foreign |=
                foreign.is_some_and(|board| frame::open::<R>(&record, board, slot).is_some());
            self.seen_data |= record.iter().any(|b| *b != 0xFF);
        }
        self.stage = Stage::Scan { slot: slot + 1 };
        Ok(Step::Again)
    }

    /// Back from the newest place; journal entries on the way are newer than the
    /// checkpoint and are kept.
    fn find_checkpoint<R: Rules, M: Medium>(
        &mut self,
        medium: &mut M,
        place: Place,
        steps: u16,
        full: bool,
    ) -> Result<Step, MediumError> {
        if steps >= self.ring.slots() {
            self.stage = Stage::Done;
            return Ok(Step::Nothing(Fault::MemoryUnreadable));
        }
        let next =
            Stage::FindCheckpoint { place: self.ring.before(place), steps: steps + 1, full: false };
        if !full {
            let header = self.header(medium, place.slot)?;
            let wanted = header.is_some_and(|h| h.lap == place.lap && h.kind != Kind::Snapshot);
            self.stage =
                if wanted { Stage::FindCheckpoint { place, steps, full: true } } else { next };
            return Ok(Step::Again);
        }
        let mut record = [0; RECORD_BYTES];
        let header = self.record::<R, M>(medium, place.slot, &mut record)?;
        self.stage = next;
        match header.filter(|h| h.lap == place.lap).map(|h| h.kind) {
            Some(Kind::Checkpoint) => {
                let checkpoint = Checkpoint::decode(&record);
                if self.lost_base != Some(checkpoint.base_slot)
                    && checkpoint.base_slot < self.ring.slots()
                {
                    self.start_members(checkpoint, place);
                }
            }
            Some(Kind::Entry) if self.lost_base.is_none() => {
                if let Some(stored) = StoredEntry::decode(&record) {
                    self.found_entry(place, &stored);
                }
            }
            _ => {}
        }
        Ok(Step::Again)
    }

    fn found_entry(&mut self, place: Place, stored: &StoredEntry) {
        if stored.base_slot >= self.ring.slots() {
            return; // from a part of another size
        }
        match &mut self.tip {
            None => self.tip = Some(Tip { place, copies: 1, stored: *stored }),
            Some(tip) if tip.stored.entry == stored.entry => {
                tip.copies = tip.copies.saturating_add(1);
                tip.place = place;
            }
            Some(_) => {}
        }
    }

    fn start_members(&mut self, checkpoint: Checkpoint, place: Place) {
        let mut checkpoint = checkpoint;
        if let Some(tip) = &self.tip {
            if tip.stored.base_slot == checkpoint.base_slot {
                checkpoint.growth = checkpoint.growth.most(&tip.stored.entry.at);
            } else {
                // The checkpoint that committed the entry's snapshot was lost; the
                // entry stands in for it.
                checkpoint.growth = tip.stored.entry.at;
                checkpoint.base_slot = tip.stored.base_slot;
            }
            checkpoint.entry_slot = Some(tip.place.slot);
            self.half_stored = (tip.copies < 2).then_some(tip.stored);
        }
        // A pointer looks back from the record that holds it.
        let holder = self.tip.map_or(place, |tip| tip.place);
        self.base = self.ring.last_written(checkpoint.base_slot, holder);
        self.entry_slot = checkpoint.entry_slot.filter(|slot| *slot < self.ring.slots());
        self.checkpoint = Some(checkpoint);
        self.members = 0;
        self.members_count = 0;
        self.stage = Stage::Members { place: self.base, last_index: None, steps: 0 };
    }

    /// Reads one slot of the snapshot. Leaves [`Stage::Members`] when there is no
    /// more to read.
    fn member<R: Rules, M: Medium>(
        &mut self,
        medium: &mut M,
        stream: &mut [u8; STREAM_BYTES],
        place: Place,
        last_index: Option<usize>,
        steps: u16,
    ) -> Result<Step, MediumError> {
        let mut record = [0; RECORD_BYTES];
        let header = self.record::<R, M>(medium, place.slot, &mut record)?;
        let mut last_index = last_index;
        let mut over = steps >= MEMBERS_MAX as u16 + MEMBER_REACH_SLOTS || place == self.newest;
        let is_member = header.is_some_and(|h| h.lap == place.lap && h.kind == Kind::Snapshot);
        if let Some((index, count, data)) =
            is_member.then(|| snapshot::member_parts(&record)).flatten()
        {
            // The same member may stand twice: a slot that failed its read-back.
            let fits = last_index.is_none_or(|last| index >= last)
                && (self.members_count == 0 || self.members_count == count);
            if fits {
                self.members_count = count;
                self.members |= 1 << index;
                last_index = Some(index);
                let at = index * MEMBER_BYTES;
                if let Some(to) = stream.get_mut(at..at + MEMBER_BYTES) {
                    to.copy_from_slice(data);
                }
            } else {
                over = true;
            }
        }
        let all_data = (1_u32 << self.members_count) - 1;
        over |= self.members_count != 0 && self.members & all_data == all_data;
        // The parity is the last member: nothing more will come.
        over |= self.members_count != 0 && self.members >> self.members_count & 1 == 1;
        self.stage = if over {
            Stage::Done
        } else {
            let place = self.ring.after::<R>(place);
            Stage::Members { place, last_index, steps: steps + 1 }
        };
        let counters_in = (1_u32 << COUNTER_MEMBERS) - 1;
        if !self.counters_told
            && self.members & counters_in == counters_in
            && let Some(counters) = snapshot::decode_counters(stream)
        {
            return Ok(self.tell_counters(counters));
        }
        Ok(Step::Again)
    }

    fn tell_counters(&mut self, base: Counters) -> Step {
        self.counters_told = true;
        self.base_counters = base;
        let growth = self.checkpoint.map(|c| c.growth).unwrap_or_default();
        self.past = base.plus(&growth);
        Step::CountersKnown
    }

    /// All members that there are have been read: make a missing one good, decode,
    /// and go on to the journal.
    fn members_read(
        &mut self,
        stream: &mut [u8; STREAM_BYTES],
        ledger: &mut Ledger,
        retired: &mut Retired,
        step: Step,
    ) -> Step {
        let whole = self.make_good(stream);
        let length = self.members_count * MEMBER_BYTES;
        let decoded = stream
            .get(..length)
            .filter(|_| whole)
            .and_then(|s| Some((snapshot::decode_counters(s)?, snapshot::decode(s)?)));
        let Some((counters, (read_ledger, read_retired))) = decoded else {
            // Look for an older checkpoint with another snapshot.
            self.lost_base = Some(self.base.slot);
            (self.tip, self.half_stored, self.counters_told) = (None, None, false);
            let place = self.ring.before(self.base);
            self.stage = Stage::FindCheckpoint { place, steps: 0, full: false };
            return Step::Trouble(Fault::SnapshotLost);
        };
        *ledger = read_ledger;
        *retired = read_retired;
        self.stage = match self.entry_slot {
            Some(slot) => Stage::Chain { slot, reach: 0, number: None },
            None => Stage::Done,
        };
        match step {
            Step::CountersKnown => step,
            _ if !self.counters_told => self.tell_counters(counters),
            _ => step,
        }
    }

    /// Whether the stream is whole, after making good one missing member.
    fn make_good(&mut self, stream: &mut [u8; STREAM_BYTES]) -> bool {
        let count = self.members_count;
        if count == 0 {
            return false;
        }
        let missing = !self.members & ((1_u32 << count) - 1);
        if missing == 0 {
            return true;
        }
        let parity_read = self.members >> count & 1 == 1;
        if missing.count_ones() > 1 || !parity_read {
            return false;
        }
        let lost = missing.trailing_zeros() as usize;
        let mut sum = [0_u8; MEMBER_BYTES];
        for (index, chunk) in stream.chunks(MEMBER_BYTES).take(count + 1).enumerate() {
            if index != lost {
                sum.iter_mut().zip(chunk).for_each(|(s, c)| *s ^= c);
            }
        }
        if let Some(to) = stream.get_mut(lost * MEMBER_BYTES..(lost + 1) * MEMBER_BYTES) {
            to.copy_from_slice(&sum);
        }
        self.made_good = true;
        true
    }

    /// Reads one slot in search of a copy of the entry at `slot`.
    fn chain<R: Rules, M: Medium>(
        &mut self,
        medium: &mut M,
        ledger: &mut Ledger,
        slot: u16,
        reach: u16,
        number: Option<EntryNumber>,
    ) -> Result<Step, MediumError> {
        if reach > COPY_REACH_SLOTS || self.entries >= CHAIN_MAX {
            self.stage = Stage::Done;
            return Ok(Step::Trouble(Fault::JournalGap));
        }
        let at = (slot + reach) % self.ring.slots();
        let mut record = [0; RECORD_BYTES];
        let header = self.record::<R, M>(medium, at, &mut record)?;
        let expected = self.ring.last_written(at, self.newest);
        let stored = header
            .filter(|h| h.kind == Kind::Entry && h.lap == expected.lap)
            .and_then(|_| StoredEntry::decode(&record))
            .filter(|s| s.base_slot == self.base.slot)
            .filter(|s| number.is_none_or(|n| n == s.entry.number));
        let Some(stored) = stored else {
            self.stage = Stage::Chain { slot, reach: reach + 1, number };
            return Ok(Step::Again);
        };
        let mut entry = stored.entry;
        entry.at = self.base_counters.plus(&entry.at);
        ledger.apply_older(&entry, &mut self.decided);
        self.entries += 1;
        self.stage = match stored.previous_slot.filter(|s| *s < self.ring.slots()) {
            Some(slot) => Stage::Chain { slot, reach: 0, number: Some(entry.number.previous()) },
            None => Stage::Done,
        };
        Ok(Step::Again)
    }
}
