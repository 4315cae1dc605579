//! The turn of a main loop: what comes after a poll of the board.
//!
//! Purpose: board and panel share one loop and one I²C bus, and counting comes first. A
//! panel works in *steps*, each at most a few ms: draw a little, or send one tile to the
//! display. This function says when there is room for one, so that every board's loop
//! and the simulator go by the same rule:
//!
//! ```text
//! loop: drain edges into Board::input
//!       polled = Board::poll
//!       next(board, now, polled, panel waits) ─► Poll   nothing in between
//!                                             ├► Step   one step of the panel
//!                                             └► Sleep  until an edge or the deadline
//! ```
//!
//! Invariants:
//! - a step comes only when the board has nothing to do at that moment, and there is one
//!   poll between any two steps;
//! - while a power-fail warning is being answered there is no step at all, for up to
//!   [`ANSWER_TIME_US`];
//! - so a warning waits for at most one step, and the panel never waits for good.
//!
//! Not done here: what a step does, and how long it may take. That is measured, and
//! `shaftbook prove` takes it in.

pub use crate::board::ANSWER_TIME_US;
use crate::board::{Board, Polled};
use crate::rules::Rules;
use crate::time::Instant;

/// What a main loop does next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Next {
    /// Poll the board again, at once.
    Poll,
    /// One step of the panel, then poll the board again.
    Step,
    /// Sleep until this moment or the next edge, then poll the board again.
    Sleep(Instant),
}

/// What comes after a poll that answered `polled`; `now` is the time after that poll.
/// `panel_waits`: whether the panel has a step to do.
#[must_use]
#[inline]
pub fn next<R: Rules>(board: &Board<R>, now: Instant, polled: Polled, panel_waits: bool) -> Next {
    if polled.effect.is_some() || polled.deadline <= now {
        Next::Poll
    } else if !panel_waits {
        Next::Sleep(polled.deadline)
    } else if R::panel_yields() && board.is_answering(now) {
        Next::Sleep(polled.deadline.min(now.plus_us(ANSWER_TIME_US)))
    } else {
        Next::Step
    }
}
