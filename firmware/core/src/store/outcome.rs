//! What the end of a record under way brings: it is stored, it differs from what was
//! written, or the part failed.
//!
//! Invariants: what is told as saved is what a reader of the part would add up; a slot
//! is retired only when it failed twice and the part as a whole is not in doubt.

use super::ring::Place;
use super::trouble::LONG_RETRY_PAUSE_US;
use super::{ALIASES, DIFFERING_SLOTS, Job, Stage, Store, StoreEvent, slot_writer};
use crate::counters::Merge;
use crate::fault::Fault;
use crate::journal::Event;
use crate::medium::Medium;
use crate::retired::RETIRED_MAX;
use crate::rules::Rules;
use crate::time::Instant;

impl<R: Rules> Store<R> {
    /// The record under way is in its slot.
    #[inline(never)]
    pub(super) fn stored(&mut self, job: Job) -> Option<StoreEvent> {
        let place = self.head;
        if R::differing_ends() {
            self.differing = 0;
        }
        if R::copies_apart() || job != (Job::EntryCopy { second: false }) {
            self.advance();
        }
        match job {
            Job::Checkpoint => {
                self.commits_left = self.commits_left.saturating_sub(1);
                self.note_saved();
                Some(StoreEvent::CheckpointStored)
            }
            Job::Commit => {
                // The old snapshot is no longer needed. One more checkpoint, so that
                // no single slot holds the only pointer to the new one.
                self.commits_left = 1 + u8::from(self.base.is_none());
                if !R::commit_twice() {
                    self.commits_left = 0;
                }
                if let Some(draft) = self.draft.take() {
                    (self.base, self.base_binding) = (Some(draft.base), draft.binding);
                    self.base_members = draft.next.count;
                }
                self.base_counters = self.draft_counters;
                (self.entry_slot, self.entries) = (None, 0);
                self.note_saved();
                Some(StoreEvent::SnapshotStored)
            }
            Job::EntryCopy { second } => self.entry_copy_stored(place, second),
            Job::Member => {
                self.gave_way = false;
                if let Some(draft) = &mut self.draft {
                    if draft.next.index == 0 {
                        draft.base = place;
                        self.aliases_left = if self.base.is_none() { ALIASES } else { 0 };
                    }
                    draft.next.index += 1;
                }
                None
            }
        }
    }

    /// Notes what a reader of the checkpoint just stored will add up.
    pub(super) fn note_saved(&mut self) {
        self.saved = self.base_counters;
        self.saved.merge(&self.delta, Merge::Add);
        if self.draft.is_none() {
            self.snapshot_wanted |= self.is_snapshot_due();
        }
        self.gave_way = true;
    }

    pub(super) fn entry_copy_stored(&mut self, place: Place, second: bool) -> Option<StoreEvent> {
        let first = *self.first_copy.get_or_insert(place.slot);
        let is_once = self.entry.event == Event::SlotRetired && !R::retirement_twice();
        if R::journal_copies() > 1 && !second && !is_once {
            return None;
        }
        self.first_copy = None;
        self.entry_slot = Some(first);
        self.entries = self.entries.saturating_add(1);
        // As a reader of the part would add it up.
        self.entry.at.merge(&self.base_counters, Merge::Add);
        self.ledger.apply::<R>(&self.entry);
        Some(StoreEvent::EntryStored { number: self.entry.number, event: self.entry.event })
    }

    /// The slot does not hold what was written: once more, then never again.
    #[inline(never)]
    pub(super) fn differs(&mut self, now: Instant, urgent: bool) -> Option<StoreEvent> {
        let doubtful = self.differing + 1 >= DIFFERING_SLOTS;
        if !self.tried_again && (doubtful || !urgent) {
            self.tried_again = true;
            if let Some((_, writer)) = &mut self.job {
                writer.restart();
            }
            if doubtful {
                self.trouble.pause_until(now.plus_us(LONG_RETRY_PAUSE_US));
            }
            return None;
        }
        self.differing = self.differing.saturating_add(1);
        let slot = self.head.slot;
        self.job = None;
        if !R::retire() {
            self.advance();
            return None;
        }
        let most = RETIRED_MAX.min(usize::from(self.ring.slots() / 8));
        if self.retired.len() >= most || !self.retired.insert(slot) {
            self.worn_out = true;
            return Some(StoreEvent::Trouble(Fault::MemoryWornOut));
        }
        self.advance();
        Some(StoreEvent::SlotRetired(slot))
    }

    /// After the first record on a blank part: a part that is smaller than believed
    /// shows it at other addresses too.
    #[inline(never)]
    pub(super) fn check_alias<M: Medium>(
        &mut self,
        now: Instant,
        medium: &mut M,
    ) -> Option<StoreEvent> {
        let first = self.draft.map_or(0, |draft| draft.base.slot);
        let slot = self.ring.ahead(first, self.ring.slots() >> self.aliases_left);
        let address = self.ring.address(slot);
        match slot_writer::holds(medium, address, &self.record, &mut self.back) {
            Ok(true) => {
                self.stage = Stage::Unusable;
                Some(StoreEvent::Trouble(Fault::MemoryShape))
            }
            Ok(false) => {
                self.aliases_left -= 1;
                None
            }
            Err(error) => self.trouble.failed(now, error),
        }
    }

    pub(super) fn advance(&mut self) {
        self.head = self.ring.usable_after::<R>(self.head, &self.retired);
    }
}
