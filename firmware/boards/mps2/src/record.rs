//! One record of the script that makes this board's time and signals.
//!
//! ```text
//! byte  0      1 … 2            3 … 6             7
//!       kind   value (u16, LE)  gap_us (u32, LE)  sum: all eight add up to 0xA5 (mod 256)
//! ```
//!
//! `gap_us` is the time since the record before it, in µs; for the first record after a reset
//! it is the time since the reset. A `level` is 1 when the signal is asserted and 0 when it is
//! at rest.
//!
//! | kind | name | value |
//! |---|---|---|
//! | 0 | nothing: time goes on | 0 |
//! | 1 | shaft | level |
//! | 2 | trim | level |
//! | 3 | thread break | level |
//! | 4 | jump | level |
//! | 5 | needle code lines | bit 0 is line 0 |
//! | 6 | needle-position voltage | mV |
//! | 7 | power-fail warning | level |
//! | 8, 9, 10 | button Back, Next, Act | level |
//! | 11 | stand: time stands here until the next record is there | 0 |
//!
//! Invariant: bytes with another sum, or with a kind that is not in the table, are not a
//! record.

use shaftbook_core::input::{Input, Level};
use shaftbook_panel::button::Button;

/// Bytes of a record.
pub const RECORD_BYTES: usize = 8;
/// What a record's bytes add up to, modulo 256.
const SUM: u8 = 0xA5;

/// What a record says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Time goes on to here.
    Nothing,
    /// A change at the machine.
    Machine(Input),
    /// A button moves.
    Button(Button, Level),
    /// Time stands here until the next record is there.
    Stand,
}

/// A record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Record {
    /// µs since the record before it.
    pub gap_us: u32,
    /// What it says.
    pub what: What,
}

impl Record {
    /// The record in `bytes`; `None` when they are none.
    pub fn decode(bytes: &[u8; RECORD_BYTES]) -> Option<Self> {
        let sum = bytes.iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte));
        let [kind, v0, v1, g0, g1, g2, g3, ..] = *bytes;
        let value = u16::from_le_bytes([v0, v1]);
        let level = Level::from_bool(value != 0);
        let what = match kind {
            0 => What::Nothing,
            1 => What::Machine(Input::Shaft(level)),
            2 => What::Machine(Input::Trim(level)),
            3 => What::Machine(Input::ThreadBreak(level)),
            4 => What::Machine(Input::Jump(level)),
            5 => What::Machine(Input::NeedleCode(value as u8)),
            6 => What::Machine(Input::NeedleLevel(value)),
            7 => What::Machine(Input::PowerFail(level)),
            8 => What::Button(Button::Back, level),
            9 => What::Button(Button::Next, level),
            10 => What::Button(Button::Act, level),
            11 => What::Stand,
            _ => return None,
        };
        (sum == SUM).then_some(Self { gap_us: u32::from_le_bytes([g0, g1, g2, g3]), what })
    }
}
