//! The states of store and service that a fault can meet, each with a name, so that a campaign
//! can say which of them its faults have met.
//!
//! Invariant: only states that are named here are counted; a campaign that leaves one unvisited
//! says so.

use serde::{Deserialize, Serialize};
use shaftbook_core::board::Board;
use shaftbook_core::rules::Rules;
use shaftbook_core::time::Instant;

use shaftbook_world::bus::Bus;

/// Bits of a lap's number.
const LAP_BITS: u32 = 21;

/// A state. Several hold at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MetState {
    /// Nothing is being written or found out.
    AtRest,
    /// The ring has not been written round yet.
    FirstLap,
    /// The ring has been written round.
    RingWrapped,
    /// The number of the lap is about to wrap, or has just wrapped.
    LapNumberWraps,
    /// Nothing of this board is on the part.
    NotFitted,
    /// The past is being found out.
    Recovering,
    /// The recovery had to read every slot.
    EverySlotRead,
    /// A page is in its program cycle.
    ProgramCycle,
    /// A checkpoint is being written.
    Checkpoint,
    /// The first copy of a journal entry is being written.
    FirstCopy,
    /// The first copy is there, the second is not.
    SecondCopy,
    /// A snapshot is being written: what it holds migrates.
    Snapshot,
    /// A snapshot is whole, and the checkpoint that makes it live is being written.
    Commit,
    /// The live snapshot has one pointer to it.
    SinglePointer,
    /// The journal is full: a snapshot is wanted.
    JournalFull,
    /// A slot is being written a second time.
    SecondTry,
    /// A page has been retired.
    PageRetired,
    /// The part or the bus has failed.
    PartFailing,
    /// Too few good slots are left.
    WornOut,
    /// Edges wait for the settings.
    EdgesEarly,
    /// A journal entry waits.
    EntryWaiting,
    /// A challenge is open.
    ChallengeOpen,
    /// A reply is being judged.
    Judging,
    /// No reply is taken for a while.
    LockedOut,
    /// A new fitting is being judged.
    Refitting,
    /// The power-fail warning is on.
    Warned,
}

impl MetState {
    /// All of them, in the order of the tables.
    pub const ALL: [Self; 26] = [
        Self::AtRest,
        Self::FirstLap,
        Self::RingWrapped,
        Self::LapNumberWraps,
        Self::NotFitted,
        Self::Recovering,
        Self::EverySlotRead,
        Self::ProgramCycle,
        Self::Checkpoint,
        Self::FirstCopy,
        Self::SecondCopy,
        Self::Snapshot,
        Self::Commit,
        Self::SinglePointer,
        Self::JournalFull,
        Self::SecondTry,
        Self::PageRetired,
        Self::PartFailing,
        Self::WornOut,
        Self::EdgesEarly,
        Self::EntryWaiting,
        Self::ChallengeOpen,
        Self::Judging,
        Self::LockedOut,
        Self::Refitting,
        Self::Warned,
    ];

    /// Its name in files and tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::AtRest => "at-rest",
            Self::FirstLap => "first-lap",
            Self::RingWrapped => "ring-wrapped",
            Self::LapNumberWraps => "lap-number-wraps",
            Self::NotFitted => "not-fitted",
            Self::Recovering => "recovering",
            Self::EverySlotRead => "every-slot-read",
            Self::ProgramCycle => "program-cycle",
            Self::Checkpoint => "checkpoint",
            Self::FirstCopy => "first-copy",
            Self::SecondCopy => "second-copy",
            Self::Snapshot => "snapshot",
            Self::Commit => "commit",
            Self::SinglePointer => "single-pointer",
            Self::JournalFull => "journal-full",
            Self::SecondTry => "second-try",
            Self::PageRetired => "page-retired",
            Self::PartFailing => "part-failing",
            Self::WornOut => "worn-out",
            Self::EdgesEarly => "edges-early",
            Self::EntryWaiting => "entry-waiting",
            Self::ChallengeOpen => "challenge-open",
            Self::Judging => "judging",
            Self::LockedOut => "locked-out",
            Self::Refitting => "refitting",
            Self::Warned => "warned",
        }
    }

    /// What it is, in a few words.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::AtRest => "nothing is being written or found out",
            Self::FirstLap => "the ring has not been written round yet",
            Self::RingWrapped => "the ring has been written round",
            Self::LapNumberWraps => "the lap's 21 bits are about to wrap, or just have",
            Self::NotFitted => "nothing of this board is on the part",
            Self::Recovering => "the past is being found out",
            Self::EverySlotRead => "the recovery had to read every slot",
            Self::ProgramCycle => "a page is in its program cycle",
            Self::Checkpoint => "a checkpoint is being written",
            Self::FirstCopy => "the first copy of a journal entry is being written",
            Self::SecondCopy => "the first copy is in its slot, the second is not",
            Self::Snapshot => "a snapshot is being written: the ledger migrates",
            Self::Commit => "a snapshot is whole, its first pointer is being written",
            Self::SinglePointer => "the live snapshot has one pointer to it",
            Self::JournalFull => "the journal is full: a snapshot is wanted",
            Self::SecondTry => "a slot failed its read-back and is written once more",
            Self::PageRetired => "a page has been retired",
            Self::PartFailing => "the part or the bus failed and has not worked since",
            Self::WornOut => "too few good slots are left: nothing is stored any more",
            Self::EdgesEarly => "edges wait until the settings are known",
            Self::EntryWaiting => "a journal entry waits or is being written",
            Self::ChallengeOpen => "a challenge is open",
            Self::Judging => "a reply is being stored, before it is judged",
            Self::LockedOut => "after wrong replies none is taken for a while",
            Self::Refitting => "a new fitting waits for its judgement",
            Self::Warned => "the power-fail warning is on",
        }
    }

    /// The state called `name`.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.name() == name)
    }

    /// Its place in [`MetState::ALL`].
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }
}

/// A set of states.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct StateSet(u32);

impl StateSet {
    /// Adds `state` if `holds`.
    pub const fn add_if(&mut self, holds: bool, state: MetState) {
        self.0 |= (holds as u32) << state.index();
    }

    /// All of both.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether `state` is in it.
    #[must_use]
    pub const fn contains(self, state: MetState) -> bool {
        self.0 >> state.index() & 1 == 1
    }

    /// The states in it, in order.
    pub fn iter(self) -> impl Iterator<Item = MetState> {
        MetState::ALL.into_iter().filter(move |state| self.contains(*state))
    }

    /// The states of a board at `now`, on a bus.
    #[must_use]
    pub fn of<R: Rules>(board: &Board<R>, now: Instant, bus: &Bus) -> Self {
        let store = board.store().activity();
        let service = board.activity(now);
        let (lap, ready) = (board.store().head().lap.get(), board.store().is_ready());
        let wraps = !(2..(1 << LAP_BITS) - 2).contains(&lap);
        let first = !is_round(bus);
        let mut set = Self::default();
        for (holds, state) in [
            (store.is_empty, MetState::NotFitted),
            (store.is_recovering, MetState::Recovering),
            (board.store().scanned(), MetState::EverySlotRead),
            (ready && first, MetState::FirstLap),
            (ready && !first, MetState::RingWrapped),
            (ready && wraps && !first, MetState::LapNumberWraps),
            (bus.page_under_way().is_some(), MetState::ProgramCycle),
            (store.checkpoint, MetState::Checkpoint),
            (store.first_copy, MetState::FirstCopy),
            (store.second_copy, MetState::SecondCopy),
            (store.snapshot, MetState::Snapshot),
            (store.commit, MetState::Commit),
            (store.single_pointer, MetState::SinglePointer),
            (store.journal_full, MetState::JournalFull),
            (store.second_try, MetState::SecondTry),
            (!board.store().retired().is_empty(), MetState::PageRetired),
            (store.failing, MetState::PartFailing),
            (store.worn_out, MetState::WornOut),
            (service.edges_early, MetState::EdgesEarly),
            (service.entry_waiting, MetState::EntryWaiting),
            (service.challenge_open, MetState::ChallengeOpen),
            (service.judging, MetState::Judging),
            (service.locked_out, MetState::LockedOut),
            (service.refitting, MetState::Refitting),
            (service.warned, MetState::Warned),
            (ready && !board.store().is_busy() && !service.entry_waiting, MetState::AtRest),
        ] {
            set.add_if(holds, state);
        }
        set
    }
}

/// Whether the last page of the part has ever been programmed.
fn is_round(bus: &Bus) -> bool {
    bus.part().wear().page_cycles().last().is_some_and(|cycles| *cycles > 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_state_has_its_place_and_its_own_name() {
        for (place, state) in MetState::ALL.into_iter().enumerate() {
            assert_eq!(state.index(), place);
            assert_eq!(MetState::named(state.name()), Some(state));
        }
    }
}
