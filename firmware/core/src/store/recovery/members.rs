//! The snapshot, read back: its members, one of which may be missing, and whether it is the one
//! that the record that led here names.

use super::super::{Store, StoreEvent};
use super::{At, NO_SLOT, Stepped};
use crate::codec::checkpoint::{self, Pointers};
use crate::codec::fields::Fields;
use crate::codec::frame::RecordKind;
use crate::codec::snapshot::{self, COUNTER_MEMBERS, MEMBER_BYTES, MEMBERS_MAX};
use crate::counters::Merge;
use crate::fault::Fault;
use crate::ledger::Decided;
use crate::medium::Medium;
use crate::rules::Rules;

/// Slots beyond a snapshot's own that may lie between its members.
const MEMBER_REACH_SLOTS: u16 = 48;
/// With a slot, the name of no snapshot.
const NO_NAME: u32 = 1 << 31;

impl<R: Rules> Store<R> {
    /// Reads one slot of the snapshot.
    pub(super) fn member<M: Medium>(&mut self, medium: &mut M) -> Stepped {
        let place = self.recovery.place;
        let header = self.read_record(medium, place.slot)?;
        let kind = header.filter(|h| h.lap == place.lap || !R::check_lap()).map(|h| h.kind);
        let mut over = self.recovery.steps >= MEMBERS_MAX as u16 + MEMBER_REACH_SLOTS
            || place == self.recovery.newest;
        if kind == Some(RecordKind::Snapshot) {
            self.take_member();
            // The parity is the last member: nothing more will come.
            let count = self.recovery.members_count;
            over |= count != 0 && self.recovery.members >> count & 1 == 1;
        } else if kind == Some(RecordKind::Checkpoint) {
            // Its commit: all members lie before it.
            over |= Pointers::of(&self.record).base_slot() == self.recovery.base.slot;
        }
        if over {
            return Ok(self.members_read());
        }
        self.recovery.place = self.ring.after::<R>(place);
        self.recovery.steps += 1;
        let counters_in = (1_u32 << COUNTER_MEMBERS) - 1;
        if self.recovery.members & counters_in == counters_in
            && !self.recovery.told
            && self.read_counters()
        {
            return Ok(Some(self.tell_counters()));
        }
        Ok(None)
    }

    /// Takes the member in `self.record` into the stream. The same member may stand
    /// twice (a slot that failed its read-back): the later one counts.
    #[inline(never)]
    fn take_member(&mut self) {
        let Some(member) = snapshot::member_place(&self.record) else { return };
        if self.recovery.members_count == 0 {
            (self.recovery.members_count, self.recovery.mark) = (member.count, member.mark);
        }
        if (member.count, member.mark) != (self.recovery.members_count, self.recovery.mark)
            && R::mark_drafts()
        {
            return; // left over from a snapshot that was cut
        }
        self.recovery.members |= 1 << member.index;
        let data = snapshot::member_data(&self.record);
        let to = self.stream.iter_mut().skip(usize::from(member.index) * MEMBER_BYTES);
        to.zip(data).for_each(|(to, from)| *to = *from);
    }

    fn read_counters(&mut self) -> bool {
        let mut fields = Fields::reader(&self.stream, 0);
        snapshot::pass_counters(&mut fields, self.id, &mut self.base_counters).is_some()
            && self.is_bound()
    }

    /// Whether the first members that were read are of the snapshot that is looked for.
    #[inline(never)]
    fn is_bound(&mut self) -> bool {
        self.base_binding = snapshot::binding::<R>(&self.stream);
        self.base_members = self.recovery.members_count;
        !R::check_binding() || self.recovery.snapshot == self.name_of_base()
    }

    /// The name of the snapshot that is there.
    pub(super) fn name_of_base(&self) -> u32 {
        checkpoint::name(self.recovery.base.slot, self.base_binding)
    }

    fn tell_counters(&mut self) -> StoreEvent {
        self.recovery.told = true;
        self.counters = self.base_counters;
        self.counters.merge(&self.delta, Merge::Add);
        // A snapshot whose counters were read may yet be lost: they are kept.
        self.saved.merge(&self.counters, Merge::RaiseTo);
        StoreEvent::CountersKnown
    }

    /// All members that there are have been read: make a missing one good, decode,
    /// and go on to the journal.
    #[inline(never)]
    fn members_read(&mut self) -> Option<StoreEvent> {
        let length = usize::from(self.recovery.members_count) * MEMBER_BYTES;
        let whole = self.make_good() && {
            let stream = self.stream.get(..length).unwrap_or_default();
            let mut fields = Fields::reader(stream, 0);
            let counters = &mut self.base_counters;
            snapshot::pass::<R>(&mut fields, self.id, counters, &mut self.ledger, &mut self.retired)
                .is_some()
        };
        if !(self.is_bound() && whole) {
            // Look for an older checkpoint: of what is there, if it was the record that named
            // it that does not belong to it; else with another snapshot.
            let mut from = self.recovery.base;
            let mut lost = u32::from(from.slot) + NO_NAME;
            if whole && self.recovery.lost.is_none() {
                (from, lost) = (self.recovery.holder, self.name_of_base());
            }
            self.recovery.lost = Some(lost);
            (self.recovery.tip, self.recovery.told) = (None, false);
            self.snapshot_wanted = true;
            self.start_at(self.ring.before(from), At::FindCheckpoint { full: false });
            return Some(StoreEvent::Trouble(Fault::SnapshotLost));
        }
        self.recovery.number = None;
        self.recovery.decided = Decided::new();
        self.entries = 0;
        self.recovery.at =
            At::Chain { slot: self.entry_slot.unwrap_or(NO_SLOT), reach: 0, seen: None };
        (!self.recovery.told).then(|| self.tell_counters())
    }

    /// Whether the stream is whole, after making good one missing member.
    fn make_good(&mut self) -> bool {
        let count = self.recovery.members_count;
        if count == 0 {
            return false;
        }
        let missing = !self.recovery.members & ((2_u32 << count) - 1);
        if missing == 0 || (!R::parity_looked_for() && missing == 1 << count) {
            return true;
        }
        if missing & (missing - 1) != 0 {
            return false; // more than one
        }
        if !R::member_made_good() {
            return true;
        }
        // Before the next one is lost.
        self.snapshot_wanted |= R::written_anew();
        let lost = missing.trailing_zeros() as u8;
        let (start, end) = (usize::from(lost) * MEMBER_BYTES, MEMBER_BYTES);
        let mut sum = [0_u8; MEMBER_BYTES];
        for index in (0..=count).filter(|index| *index != lost) {
            snapshot::add_member(&mut sum, &self.stream, index);
        }
        let to = self.stream.iter_mut().skip(start).take(end);
        to.zip(sum).for_each(|(to, from)| *to = from);
        true
    }
}
