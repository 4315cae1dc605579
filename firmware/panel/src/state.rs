//! What the screens are made from: the machine as its board knows it, and the health
//! of the board's memory.

use shaftbook_care::hint::Hint;
use shaftbook_care::machine::Machine;
use shaftbook_core::board::Board;
use shaftbook_core::fault::Fault;
use shaftbook_core::rules::{Rules, Sound};
use shaftbook_core::time::Instant;

/// How the memory part fares.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct MemoryHealth {
    /// Slots that are no longer used.
    pub retired_slots: u16,
    /// Times the ring of slots was written round: program cycles of every page.
    pub laps: u32,
}

/// Which firmware runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Build {
    /// Its version; a release's has the commit behind it.
    pub version: &'static str,
    /// First four bytes of the SHA-256 of its own bytes in the flash, big-endian; `None`
    /// until that is worked out, and where they cannot be read.
    pub hash: Option<u32>,
}

/// Everything that is shown.
#[derive(Debug)]
pub struct State<'a, R = Sound> {
    /// The machine.
    pub machine: Machine<'a, R>,
    /// The memory.
    pub memory: MemoryHealth,
    /// The board's firmware.
    pub build: Build,
    /// The day that the clock says, believed or not (1 is 1 January 2020); `None` without
    /// a clock or while it says none.
    pub clock: Option<u16>,
}

// Not derived: a copy needs nothing of the rules.
impl<R> Clone for State<'_, R> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<R> Copy for State<'_, R> {}

impl<'a, R: Rules> State<'a, R> {
    /// The state of `board` at `now`. `hints` are those of the last look; `build` is
    /// the firmware that it runs.
    #[must_use]
    pub fn of(board: &'a Board<R>, now: Instant, hints: &'a [Hint], build: Build) -> Self {
        let store = board.store();
        let mut machine = Machine::of(board, now);
        machine.hints = hints;
        Self {
            machine,
            memory: MemoryHealth {
                retired_slots: store.retired().len() as u16,
                laps: store.head().lap.get(),
            },
            build,
            clock: None,
        }
    }

    /// A day that the board does not believe and a person may confirm: one that is not
    /// before a day that is known.
    #[must_use]
    pub fn day_to_confirm(&self) -> Option<u16> {
        let is_doubted = self.machine.faults.contains(Fault::ClockWrong);
        self.clock.filter(|day| is_doubted && *day != 0 && Some(*day) >= self.machine.day)
    }
}
