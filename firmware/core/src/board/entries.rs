//! The journal entries that wait to be written: one at a time gets its number and goes
//! to the store.
//!
//! Invariants: what a command asks for always finds room, since notes leave it; entries
//! are written in the order in which they were asked for.

use super::Board;
use crate::counters::Counters;
use crate::journal::{ComponentSet, Entry, Event};
use crate::rules::Rules;
use crate::time::Instant;
use heapless::Deque;

/// Journal entries waiting to be written.
const WAITING_MAX: usize = 6;
/// Most of them that one command asks for.
const COMMAND_ENTRIES: usize = 2;

/// An entry that waits for its turn; numbered when it gets it.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    event: Event,
    subject: u16,
    renewed: ComponentSet,
    at: Option<Counters>,
}

/// The entry that is being written, and those behind it.
#[derive(Clone, Debug)]
pub(super) struct Entries {
    current: Option<Entry>,
    waiting: Deque<Waiting, WAITING_MAX>,
}

impl Entries {
    /// None.
    pub(super) const fn new() -> Self {
        Self { current: None, waiting: Deque::new() }
    }

    /// The entry that is being written.
    pub(super) fn current(&self) -> Option<&Entry> {
        self.current.as_ref()
    }

    /// Whether one waits for its turn.
    pub(super) fn are_waiting(&self) -> bool {
        !self.waiting.is_empty()
    }

    /// The entry that was being written is durable.
    pub(super) fn stored(&mut self) {
        self.current = None;
    }

    /// None will be written any more.
    pub(super) fn give_up(&mut self) {
        self.current = None;
        self.waiting.clear();
    }
}

impl<R: Rules> Board<R> {
    /// An entry for the journal; with `requested`, dated then and not when it is written.
    pub(super) fn wait(
        &mut self,
        event: Event,
        subject: u16,
        renewed: ComponentSet,
        requested: Option<Instant>,
    ) {
        let at = requested.and_then(|now| self.lifetime(now));
        let waiting = Waiting { event, subject, renewed, at };
        // Cannot fail: commands find the room that `note` leaves.
        let _ = self.entries.waiting.push_back(waiting);
        self.attention = true;
    }

    /// A note for the journal, if there is room beside what a command needs; whether
    /// it will be written.
    pub(super) fn note(&mut self, event: Event, subject: u16) -> bool {
        let room = self.entries.waiting.len() + COMMAND_ENTRIES < WAITING_MAX;
        if room {
            self.wait(event, subject, ComponentSet::default(), None);
        }
        room
    }

    /// Gives the next waiting entry its number.
    pub(super) fn next_entry(&mut self, now: Instant) {
        if self.entries.current.is_some() || !self.is_ready() {
            return;
        }
        let Some(lifetime) = self.lifetime(now) else { return };
        let Some(waiting) = self.entries.waiting.pop_front() else { return };
        self.entries.current = Some(Entry {
            number: self.ledger().next_entry,
            event: waiting.event,
            subject: waiting.subject,
            renewed: waiting.renewed,
            day: self.day(),
            at: match waiting.at {
                Some(at) if R::dated_when_asked() => at,
                _ => lifetime,
            },
        });
    }
}
