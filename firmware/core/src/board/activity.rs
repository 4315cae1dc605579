//! What a board is in the middle of, beside its store: for whoever counts which states
//! a power cut has met.
//!
//! Nothing on a board decides by it: it is compiled with the feature `activity` only, which
//! no image asks for.

use super::Board;
use crate::rules::Rules;
use crate::time::Instant;

/// What a board is in the middle of. Several can be true at once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BoardActivity {
    /// A challenge is open.
    pub challenge_open: bool,
    /// A reply is being stored as tried, before it is judged.
    pub judging: bool,
    /// After wrong replies, none is taken for a while.
    pub locked_out: bool,
    /// A new fitting waits for its reply to be judged.
    pub refitting: bool,
    /// A journal entry waits for its turn, or is being written.
    pub entry_waiting: bool,
    /// The power-fail warning is on.
    pub warned: bool,
    /// Edges wait until the settings are known.
    pub edges_early: bool,
}

impl<R: Rules> Board<R> {
    /// What the board is in the middle of at `now`.
    #[must_use]
    pub fn activity(&self, now: Instant) -> BoardActivity {
        BoardActivity {
            challenge_open: self.requests.gate().is_open(now),
            judging: self.requests.is_judging(),
            locked_out: self.requests.gate().wait_s(now) > 0,
            refitting: self.requests.is_refitting(),
            entry_waiting: self.entries.current().is_some() || self.entries.are_waiting(),
            warned: self.due.is_warned(),
            edges_early: !self.early.is_empty(),
        }
    }
}
