//! All that is known of the machine at one moment: what screens, hints and the
//! read-out code are made from.

use core::marker::PhantomData;

use shaftbook_core::board::Board;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::FaultSet;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::rules::{Rules, Sound};
use shaftbook_core::time::Instant;

use crate::finding::Hint;

/// The machine, as its board knows it at one moment; `R` are the board's rules.
#[derive(Debug)]
pub struct Machine<'a, R = Sound> {
    /// The board.
    pub id: BoardId,
    /// Lifetime counters; `None` until the past is known.
    pub lifetime: Option<Counters>,
    /// Counted since this power-up.
    pub session: Counters,
    /// Settings, profile, baselines, journal.
    pub ledger: &'a Ledger,
    /// Faults present.
    pub faults: FaultSet,
    /// Calendar day number (1 is 1 January 2020), where a clock is fitted.
    pub day: Option<u16>,
    /// The hints of the last look, the surest first; empty until there was one.
    pub hints: &'a [Hint],
    /// The rules by which it is judged.
    pub rules: PhantomData<fn() -> R>,
}

// Not derived: a copy needs nothing of the rules.
impl<R> Clone for Machine<'_, R> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<R> Copy for Machine<'_, R> {}

impl<'a, R: Rules> Machine<'a, R> {
    /// The machine of `board` at `now`.
    #[must_use]
    pub fn of(board: &'a Board<R>, now: Instant) -> Self {
        Self {
            id: board.id(),
            lifetime: board.lifetime(now),
            session: board.session(now),
            ledger: board.ledger(),
            faults: board.faults(),
            day: board.day(),
            hints: &[],
            rules: PhantomData,
        }
    }

    /// The same machine with the hints of a look.
    #[must_use]
    pub const fn with_hints(self, hints: &'a [Hint]) -> Self {
        Self { hints, ..self }
    }
}
