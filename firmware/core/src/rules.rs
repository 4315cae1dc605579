//! The rules on which the guarantees rest, each as one named switch.
//!
//! Purpose: a proof is only worth something if it fails when the thing it guards
//! is broken. Every rule below can be broken on its own, by a type that
//! implements [`Rules`] with one line changed; the simulator keeps such types and
//! shows which proof catches each. Boards use [`Sound`]; the switches are
//! constants, so that the sound build carries none of the others.
//!
//! Invariant: [`Sound`] changes nothing: every default here is the right one.

use crate::counters::Counters;
use crate::store::serial::Lap;

/// The rules of counting and storing. Every default is the sound one.
pub trait Rules {
    /// A record whose CRC does not fit is refused.
    const CHECK_CRC: bool = true;
    /// A record's CRC covers the slot that it was written for.
    const KEY_BY_SLOT: bool = true;
    /// A record's CRC covers the board that wrote it.
    const KEY_BY_BOARD: bool = true;
    /// Every record is read back and compared before it counts as stored.
    const READ_BACK: bool = true;
    /// A slot that fails twice is retired.
    const RETIRE: bool = true;
    /// Copies of a journal entry, 1 or 2.
    const JOURNAL_COPIES: u8 = 2;
    /// A snapshot carries a parity member.
    const SNAPSHOT_PARITY: bool = true;
    /// The slots after the newest record found are looked at before it is believed.
    const LOOK_AHEAD: bool = true;
    /// The live snapshot is never overwritten before its successor is committed.
    const GUARD_LIVE_SNAPSHOT: bool = true;
    /// A service takes its interval baseline and its renewals in one entry.
    const SERVICE_IN_ONE_ENTRY: bool = true;
    /// A power-fail warning is answered with a checkpoint at once.
    const ANSWER_POWER_FAIL: bool = true;
    /// Running time is carried in µs between checkpoints, not rounded at each.
    const CARRY_REMAINDER: bool = true;
    /// What was counted before the past is known is added to it.
    const ADD_SESSION: bool = true;
    /// An unsettled or unknown needle position is unattributed, not guessed.
    const UNATTRIBUTED_WHEN_UNSURE: bool = true;
    /// A service needs the engineer's reply.
    const ASK_AUTHORITY: bool = true;
    /// A reply is good only for the purpose that its challenge was asked for.
    const BIND_PURPOSE: bool = true;
    /// Wrong replies make the next try wait.
    const LOCK_OUT: bool = true;
    /// Every slot of the ring is used in turn.
    const LEVEL_WEAR: bool = true;
    /// The panel stands still while a power-fail warning is answered.
    const PANEL_YIELDS: bool = true;
    /// A picture goes to the display tile by tile, with a poll of the board after each.
    /// Boards' loops do so; the switch is for the simulator's.
    const SCREEN_IN_TILES: bool = true;
    /// Growth that does not fit a checkpoint's field forces a new snapshot, and
    /// is capped until then.
    const CAP_DELTAS: bool = true;

    /// Whether lap `a` comes after lap `b`.
    #[must_use]
    fn lap_is_newer(a: Lap, b: Lap) -> bool {
        a.is_after(b)
    }

    /// What the board adds up when the past becomes known.
    #[must_use]
    fn lifetime(past: &Counters, session: &Counters) -> Counters {
        past.plus(session)
    }
}

/// The rules as boards use them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sound;

impl Rules for Sound {}
