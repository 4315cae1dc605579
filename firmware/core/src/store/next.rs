//! What is written next: which record, of what, and what gives way to a warning.
//!
//! Invariants: a checkpoint that a warning asks for goes first, and a snapshot goes on
//! between other checkpoints; the last slots before the live snapshot are a new one's.

use super::slot_writer::SlotWriter;
use super::{Draft, Job, Store, Wanted};
use crate::codec::checkpoint::{self, Pointers};
use crate::codec::entry;
use crate::codec::fields::Fields;
use crate::codec::frame::{self, Header, PAYLOAD_BIT, RECORD_BYTES, RecordKind};
use crate::codec::snapshot::{
    self, COUNTER_MEMBERS, MARKS, MEMBER_BYTES, MEMBERS_MAX, MemberPlace,
};
use crate::counters::Merge;
use crate::fault::Fault;
use crate::journal::Entry;
use crate::rules::Rules;

/// Journal entries since a snapshot after which a new snapshot is written.
pub(super) const ENTRIES_MAX: u8 = 12;
/// Slots before the live snapshot that only a new one may use, beside those that are
/// retired: the largest with its parity member and its commit, and a few slots that fail.
/// On a small ring half of what is left when a snapshot is due, but what the next one takes.
const LAST_SLOTS: u16 = MEMBERS_MAX as u16 + 2 + 5;
/// Slots that a new snapshot takes beside as many data members as the live one has: its parity
/// member, its commit, and as many members as the journal can have grown by.
const MORE_SLOTS: u16 = 5;
/// A field this full (of 256) asks for a new snapshot.
const FULL: u32 = 224;

impl<R: Rules> Store<R> {
    /// A power-fail warning: whatever was begun before it and has not been sent whole gives way.
    pub(super) fn make_way(&mut self) {
        let Some((job, writer)) = &self.job else { return };
        // A checkpoint of several pages that was begun before the warning is no answer to it. One
        // that was begun since goes on: else a line that chatters would never be answered.
        let goes_on = self.answers || !R::checkpoint_gives_way();
        if (goes_on && job.kind() == RecordKind::Checkpoint)
            || self.base.is_none()
            || !writer.can_give_way()
        {
            return;
        }
        if let Job::EntryCopy { .. } = job {
            // It will be written again, whole.
            self.first_copy = None;
        }
        self.job = None;
    }

    /// Chooses the next record, encodes it, and puts its writer in place, if there
    /// is anything to write.
    #[inline(never)]
    pub(super) fn next_record(&mut self, wanted: Wanted<'_>) -> Result<(), Fault> {
        self.delta = self.counters;
        self.delta.merge(&self.base_counters, Merge::TakeAway);
        let Some(job) = self.choose(wanted)? else { return Ok(()) };
        if R::guard_live_snapshot() && self.base.is_some_and(|base| base.slot == self.head.slot) {
            return Err(Fault::MemoryWornOut);
        }
        self.encode(job, wanted.entry);
        let header = Header { kind: job.kind(), lap: self.head.lap };
        frame::seal::<R>(&mut self.record, header, self.id, self.head.slot);
        self.job = Some((job, SlotWriter::new(self.ring.address(self.head.slot))));
        self.tried_again = false;
        self.answers = wanted.urgent;
        Ok(())
    }

    fn choose(&mut self, wanted: Wanted<'_>) -> Result<Option<Job>, Fault> {
        let has_room = self.has_room();
        if wanted.urgent && R::answer_power_fail() && R::power_fail_first() && has_room {
            return Ok(Some(Job::Checkpoint));
        }
        if self.first_copy.is_some() && wanted.entry.is_some() {
            return Ok(Some(Job::EntryCopy { second: true }));
        }
        if !R::entry_waits_for_snapshot() && wanted.entry.is_some() && self.base.is_some() {
            return Ok(Some(Job::EntryCopy { second: false }));
        }
        if self.draft_is_complete() {
            return Ok(Some(Job::Commit));
        }
        let snapshot = self.draft.is_some() || self.snapshot_wanted || self.is_snapshot_due();
        // However much checkpoints are wanted, the snapshot goes on between them.
        let wants_any = wanted.checkpoint || (!R::power_fail_first() && wanted.urgent);
        let checkpoint = wants_any && !(snapshot && self.gave_way);
        if has_room && (self.commits_left > 0 || checkpoint) {
            return Ok(Some(Job::Checkpoint));
        }
        if self.draft.is_some() {
            return Ok(Some(Job::Member));
        }
        if snapshot {
            self.begin_draft()?;
            return Ok(Some(Job::Member));
        }
        Ok(wanted.entry.map(|_| Job::EntryCopy { second: false }))
    }

    /// Whether there is a snapshot, and room before it for more than a new one: a supply that
    /// flaps must not use up the last of it with checkpoints.
    pub(super) fn has_room(&self) -> bool {
        let due = self.due_slots();
        let needed = if R::room_for_second_try() { self.snapshot_slots() } else { 0 };
        let last = LAST_SLOTS.min(needed.max(due / 2));
        let last = (last + self.retired.len() as u16).min(due - 1);
        self.base.is_some_and(|base| {
            self.ring.distance(self.head.slot, base.slot) > last || !R::keep_last_room()
        })
    }

    /// Slots that a new snapshot may take.
    fn snapshot_slots(&self) -> u16 {
        u16::from(self.base_members) + MORE_SLOTS
    }

    /// Slots left before the live snapshot at which a new one is due: room for a whole one,
    /// its commit, and many tries that are cut. On a small ring, half of it, or room for two:
    /// an answer to a warning in the middle of the first would leave too little for another.
    fn due_slots(&self) -> u16 {
        let (slots, needed) = (self.ring.slots(), self.snapshot_slots());
        let reserve = MEMBERS_MAX as u16 + 1 + slots / 4 + self.retired.len() as u16;
        let two = if R::room_for_second_try() { 2 * needed } else { 0 };
        reserve.min((slots / 2).max(two.min(slots - needed)))
    }

    /// Whether the snapshot has to be written anew: the ring comes near it, a field
    /// gets full, or the journal gets long. Of the delta of the last record.
    pub(super) fn is_snapshot_due(&self) -> bool {
        let Some(base) = self.base else { return true };
        self.ring.distance(self.head.slot, base.slot) <= self.due_slots()
            || self.entries >= ENTRIES_MAX
            || checkpoint::room::<R>(&self.delta) >= FULL
    }

    #[inline(never)]
    fn begin_draft(&mut self) -> Result<(), Fault> {
        self.draft_counters = self.counters;
        self.stream.fill(0);
        let mut fields = Fields::writer(&mut self.stream, 0);
        let counters = &mut self.draft_counters;
        let length = snapshot::pass::<R>(
            &mut fields,
            self.id,
            counters,
            &mut self.ledger,
            &mut self.retired,
        )
        .ok_or(Fault::MemoryWornOut)?;
        let mut count = 0;
        while usize::from(count) * MEMBER_BYTES < length {
            count += 1;
        }
        let mark = self.draft_counters.power_ups as u8 & (MARKS - 1);
        self.draft = Some(Draft {
            base: self.head,
            next: MemberPlace { index: 0, count, mark },
            binding: snapshot::binding::<R>(&self.stream),
        });
        self.snapshot_wanted = false;
        Ok(())
    }

    fn draft_is_complete(&self) -> bool {
        self.draft.is_some_and(|draft| {
            draft.next.index + u8::from(!R::snapshot_parity()) > draft.next.count
                || (!R::members_before_commit() && usize::from(draft.next.index) > COUNTER_MEMBERS)
        })
    }

    /// Encodes the payload of `job`; `delta` is the delta since the live snapshot.
    fn encode(&mut self, job: Job, entry: Option<&Entry>) {
        self.record = [0; RECORD_BYTES];
        let base_slot = self.base.map_or(0, |base| base.slot);
        let mut pointers = Pointers::new(base_slot, self.base_binding, self.entry_slot);
        let mut fields = Fields::writer(&mut self.record, PAYLOAD_BIT);
        match (job, self.draft, entry) {
            (Job::Checkpoint, ..) => {
                checkpoint::pass::<R>(&mut fields, &mut pointers, &mut self.delta);
            }
            (Job::Commit, Some(draft), _) => {
                self.delta = self.counters;
                self.delta.merge(&self.draft_counters, Merge::TakeAway);
                let binding = if R::write_binding() { draft.binding } else { self.base_binding };
                pointers = Pointers::new(draft.base.slot, binding, None);
                checkpoint::pass::<R>(&mut fields, &mut pointers, &mut self.delta);
            }
            (Job::EntryCopy { second }, _, Some(entry)) => {
                self.entry = *entry;
                self.entry.at.merge(&self.base_counters, Merge::TakeAway);
                let mut second = second;
                // Cannot fail: every event has a code.
                let _ = entry::pass::<R>(&mut fields, &mut pointers, &mut self.entry, &mut second);
            }
            (Job::Member, Some(draft), _) => {
                snapshot::write_member(&mut self.record, &self.stream, draft.next);
            }
            // `choose` never asks for what is not there.
            _ => {}
        }
    }
}
