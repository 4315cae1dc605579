//! What a board is in the middle of, beside its store: for whoever counts which states
//! a power cut has met.
//!
//! Nothing on a board decides by it, and a board that does not ask for it does not
//! carry it.

use super::Board;
use crate::rules::Rules;
use crate::time::Instant;

/// What a board is in the middle of. Several can be true at once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Activity {
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
    pub fn activity(&self, now: Instant) -> Activity {
        Activity {
            challenge_open: self.gate.is_open(now),
            judging: self.reply.is_some(),
            locked_out: self.gate.wait_s(now) > 0,
            refitting: self.refit.is_some(),
            entry_waiting: self.entry.is_some() || !self.waiting.is_empty(),
            warned: self.warned_at.is_some(),
            edges_early: !self.early.is_empty(),
        }
    }
}
