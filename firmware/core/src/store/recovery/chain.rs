//! The journal since the snapshot, read back from its newest entry: each names the one before it,
//! and has two copies.

use super::super::{Store, StoreEvent};
use super::{At, NO_SLOT, Stepped};
use crate::codec::frame::RecordKind;
use crate::counters::Merge;
use crate::fault::Fault;
use crate::journal::{EntryNumber, Event};
use crate::medium::Medium;
use crate::rules::Rules;

/// Slots in which the second copy of an entry may lie after the first.
const COPY_REACH_SLOTS: u16 = 6;
/// Longest journal chain that is followed; the writer stops far below it.
const CHAIN_MAX: u8 = 40;

impl<R: Rules> Store<R> {
    /// Reads one slot in search of a copy of the entry at `slot`.
    pub(super) fn chain<M: Medium>(
        &mut self,
        medium: &mut M,
        slot: u16,
        reach: u16,
        seen: Option<u16>,
    ) -> Stepped {
        if slot >= self.ring.slots() {
            return Ok(Some(self.recovered()));
        }
        if reach > COPY_REACH_SLOTS || self.entries >= CHAIN_MAX {
            // One copy is missing, or both.
            self.snapshot_wanted |= R::written_anew();
            self.next_in_chain(seen.unwrap_or(NO_SLOT));
            return Ok(seen.is_none().then_some(StoreEvent::Trouble(Fault::JournalGap)));
        }
        let at = self.ring.ahead(slot, reach);
        let header = self.read_record(medium, at)?;
        let lap = self.ring.last_written(at, self.recovery.newest).lap;
        self.recovery.at = At::Chain { slot, reach: reach + 1, seen };
        // Beyond the newest record lies the lap before: its entries are not of this chain.
        let (base, newest) = (self.recovery.base.slot, self.recovery.newest.slot);
        let is_written = self.ring.distance(base, at) <= self.ring.distance(base, newest);
        if is_written
            && header
                .is_some_and(|h| h.kind == RecordKind::Entry && (h.lap == lap || !R::check_lap()))
        {
            self.take_copy(slot, reach, seen);
        }
        Ok(None)
    }

    #[inline(never)]
    fn take_copy(&mut self, slot: u16, reach: u16, seen: Option<u16>) {
        let Some((pointers, second)) = self.read_entry() else { return };
        let number = self.entry.number;
        let is_of_base = if R::check_binding_of_copies() {
            pointers.snapshot == self.name_of_base()
        } else {
            pointers.base_slot() == self.recovery.base.slot
        };
        if !is_of_base || self.recovery.number.is_some_and(|wanted| wanted != number) {
            return;
        }
        if seen.is_none() {
            self.recovery.number = Some(number);
            self.entries += 1;
            self.entry.at.merge(&self.base_counters, Merge::Add);
            self.ledger.apply_older::<R>(&self.entry, &mut self.recovery.decided);
            if self.entry.event == Event::SlotRetired {
                self.retired.insert(self.entry.subject);
            }
        }
        let next = pointers.entry().unwrap_or(NO_SLOT);
        if seen.is_some() || second || R::journal_copies() < 2 || !R::second_copy_looked_for() {
            // Only the second copy: the first is damaged.
            let is_half = seen.is_none() && second && R::journal_copies() > 1;
            self.snapshot_wanted |= is_half && R::written_anew();
            self.next_in_chain(next);
        } else {
            self.recovery.at = At::Chain { slot, reach: reach + 1, seen: Some(next) };
        }
    }

    fn next_in_chain(&mut self, slot: u16) {
        self.recovery.number = self.recovery.number.map(EntryNumber::previous);
        self.recovery.at = At::Chain { slot, reach: 0, seen: None };
    }
}
