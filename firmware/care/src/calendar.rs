//! Judges what a clock chip says, and gives a day that can be trusted.
//!
//! Invariants: a trusted day is never before the last known day, and never far after it. A
//! clock that cannot be trusted has a named state, and the last known day is kept. That day
//! comes from the board ([`Board::day`],
//! [`Ledger::day_reached`](shaftbook_core::ledger::Ledger::day_reached)), so it outlives a cut.
//!
//! Not done here: reading the chip (`shaftbook-drivers`), keeping the day (`Board`).

use shaftbook_core::board::Board;
use shaftbook_core::fault::Fault;

use crate::rules::CareRules;

/// Longest jump from a known day that is believed without a person, days. A machine that
/// stood for longer needs its date confirmed ([`confirm`]).
pub const LEAP_DAYS: u16 = 400;
/// The first day that a clock is believed where no day is known: 1 January 2026. No board
/// was made before.
pub const FIRST_DAY: u16 = 2_193;
/// The last such day: 31 December 2065, the last of 40 years. Our own choice.
pub const LAST_FIRST_DAY: u16 = FIRST_DAY + 14_609;

/// How a clock stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ClockState {
    /// Its day is believed.
    Trusted,
    /// It gives none: no answer, stopped, or no date.
    NoAnswer,
    /// Its day is before one that is known.
    Backwards,
    /// Its day is more than [`LEAP_DAYS`] after the last one known, or not in the life of
    /// any board.
    Leaps,
}

/// What a reading comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Judged {
    /// The day to go by: today if the clock is trusted, else the last one known.
    pub day: Option<u16>,
    /// How the clock stands.
    pub state: ClockState,
}

impl ClockState {
    /// The fault to show; `None` if the clock is trusted.
    #[must_use]
    pub const fn fault(self) -> Option<Fault> {
        match self {
            Self::Trusted => None,
            Self::NoAnswer => Some(Fault::ClockNoAnswer),
            Self::Backwards | Self::Leaps => Some(Fault::ClockWrong),
        }
    }
}

/// Judges a `reading` (a day number, 1 is 1 January 2020; `None` or 0: the clock gives
/// none) by the last day `known`.
#[must_use]
pub fn judge(known: Option<u16>, reading: Option<u16>) -> Judged {
    let Some(day) = reading.filter(|day| *day != 0) else {
        return Judged { day: known, state: ClockState::NoAnswer };
    };
    let state = match known {
        Some(known) if day < known => ClockState::Backwards,
        Some(known) if day - known > LEAP_DAYS => ClockState::Leaps,
        None if day < FIRST_DAY => ClockState::Backwards,
        None if day > LAST_FIRST_DAY => ClockState::Leaps,
        _ => ClockState::Trusted,
    };
    let day = if state == ClockState::Trusted { Some(day) } else { known };
    Judged { day, state }
}

/// Judges a reading and tells the board. Call once the board is ready, then about once an
/// hour. Before it is ready nothing is known of the past, so nothing is told.
pub fn tell<R: CareRules>(board: &mut Board<R>, reading: Option<u16>) -> Option<Judged> {
    if !board.is_ready() {
        return None;
    }
    let mut judged = judge(board.day(), reading);
    if judged.state == ClockState::Leaps && !R::leaps_are_doubted() {
        judged = Judged { day: reading, state: ClockState::Trusted };
    }
    board.clock(judged.day, judged.state.fault());
    Some(judged)
}

/// A person has confirmed the date that the clock shows: it is taken however far it
/// leaps, but not before a day that is known. Returns whether it was taken.
pub fn confirm<R: CareRules>(board: &mut Board<R>, reading: Option<u16>) -> bool {
    let day = reading.filter(|day| *day != 0 && Some(*day) >= board.day());
    if day.is_some() && board.is_ready() {
        board.clock(day, None);
        return true;
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_is_believed_forwards_and_not_far() {
        let known = Some(3_000);
        for (reading, day, state) in [
            (Some(3_000), 3_000, ClockState::Trusted),
            (Some(3_001), 3_001, ClockState::Trusted),
            (Some(3_400), 3_400, ClockState::Trusted),
            (Some(3_401), 3_000, ClockState::Leaps),
            (Some(u16::MAX), 3_000, ClockState::Leaps),
            (Some(2_999), 3_000, ClockState::Backwards),
            (Some(1), 3_000, ClockState::Backwards),
            (Some(0), 3_000, ClockState::NoAnswer),
            (None, 3_000, ClockState::NoAnswer),
        ] {
            assert_eq!(judge(known, reading), Judged { day: Some(day), state }, "{reading:?}");
        }
    }

    #[test]
    fn the_first_day_ever_must_be_in_the_life_of_a_board() {
        // 1 January 2026 and 2020 are 2,192 days apart: 366 + 365 + 365 + 365 + 366 + 365.
        assert_eq!(judge(None, Some(2_193)).state, ClockState::Trusted);
        assert_eq!(judge(None, Some(2_192)), Judged { day: None, state: ClockState::Backwards });
        assert_eq!(judge(None, Some(16_802)).state, ClockState::Trusted);
        assert_eq!(judge(None, Some(16_803)), Judged { day: None, state: ClockState::Leaps });
        assert_eq!(judge(None, None), Judged { day: None, state: ClockState::NoAnswer });
    }
}
