//! What a proof is run on: the core's rules, and what stands between the core and the
//! wires, the memory driver, the inputs' way to it, the clock and the reset.
//!
//! Purpose: many mistakes are made outside the core. A board that is broken there replaces
//! one of the functions below; the core knows nothing of it.
//!
//! Invariant: every default is what a sound board does. Nothing here keeps any state.

use shaftbook_core::board::{Board, Polled};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Input;
use shaftbook_core::rules::{Rules, Sound};
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::{Eeprom, WiredPart};

use crate::bus::Bus;

/// A board that a proof can be run on. Every default is the sound one.
pub trait UnderTest: Rules + Clone + Send + Sync {
    /// One poll of the board on its memory driver.
    fn poll(board: &mut Board<Self>, now: Instant, bus: &mut Bus, part: WiredPart) -> Polled {
        board.poll(now, &mut Eeprom::new(bus, part))
    }

    /// One change of an input, stamped `at`, reaches the core.
    fn input(board: &mut Board<Self>, at: Instant, input: Input) {
        board.input(at, input);
    }

    /// The board after the supply was gone. `_before` is what its RAM held.
    #[must_use]
    fn power_up(id: BoardId, _before: &Board<Self>) -> Board<Self> {
        Board::new(id, Settings::default())
    }
}

impl UnderTest for Sound {}
