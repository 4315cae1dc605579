//! A board that is looked at, with what is so beside it.

use shaftbook_core::counters::Counters;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::ledger::Ledger;
use shaftbook_panel::button::Press;
use shaftbook_panel::screen::{Screen, Top};
use shaftbook_panel::state::MemoryHealth;
use shaftbook_world::bench::Bench;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bus::ClockSays;

use super::known::Known;
use super::{codes, desk, screens};
use crate::reference::book;

/// A board that is looked at.
pub(super) struct Watched<R: UnderTest> {
    pub(super) bench: Bench<Firmware<R>>,
    /// What the clock says.
    pub(super) says: ClockSays,
    /// What should be known of the day, and whether the clock is at fault.
    pub(super) day: Option<u16>,
    pub(super) fault: Option<Fault>,
    /// The ledger as it should be; its journal and tries are as the board has them.
    pub(super) ledger: Ledger,
    pub(super) before: Counters,
    /// Spikes since power-up, which are no pulses and are told as rejected.
    pub(super) spikes: u32,
}

impl<R: UnderTest> Watched<R> {
    /// What was truly counted until now.
    pub(super) fn truth(&self) -> Counters {
        let truth = self.bench.truth();
        Counters { glitches: truth.glitches + self.spikes, ..truth }
    }

    /// What is so at this moment.
    pub(super) fn known(&self) -> Result<Known, String> {
        let board = self.bench.board();
        let mut ledger = board.ledger().clone();
        (ledger.history, ledger.tries) = (self.ledger.history.clone(), self.ledger.tries);
        ledger.next_entry = self.ledger.next_entry;
        if ledger != self.ledger {
            return Err(format!("the board's ledger is {ledger:?}, not {:?}", self.ledger));
        }
        let truth = self.truth();
        let session = truth.since(&self.before);
        let mut known = Known::new(board.id(), board.ledger().clone(), truth, session);
        known.day = self.day;
        known.faults = self.fault.iter().fold(FaultSet::default(), |mut faults, fault| {
            faults.raise(*fault);
            faults
        });
        known.memory = MemoryHealth { retired_slots: 0, laps: board.store().head().lap.get() };
        known.build = self.bench.device.main_loop().console().build();
        known.clock = match self.says {
            ClockSays::Day(day) => Some(day),
            _ => None,
        };
        Ok(known)
    }

    /// What should be known of the day after the clock said what it says.
    pub(super) fn clock_was_read(&mut self) {
        let reading = match self.says {
            ClockSays::Day(day) => Some(day),
            _ => None,
        };
        // A socket that was always empty is no fault.
        if self.says == ClockSays::Nothing && self.day.is_none() {
            self.fault = None;
            return;
        }
        let (day, is_believed) = book::believed(self.day, reading);
        self.day = day;
        let fault = if reading.is_none() { Fault::ClockNoAnswer } else { Fault::ClockWrong };
        self.fault = (!is_believed).then_some(fault);
    }

    pub(super) fn screen(&self) -> Screen {
        *self.bench.device.main_loop().console().panel().screen()
    }

    /// What stands on the screen is what is so.
    pub(super) fn look(&self) -> Result<(), String> {
        let (known, screen) = (self.known()?, self.screen());
        let view = self.bench.device.view(self.bench.now());
        let signs = known.signs();
        screens::agree(&screen, &view, &known, &signs)?;
        if screen == Screen::Top(Top::ReadOut) {
            let text = desk::text_of(&view.body).ok_or("no code is shown")?;
            codes::says(&text, &known.said(signs.first()))?;
        }
        Ok(())
    }

    pub(super) fn press(&mut self, press: Press) -> Result<(), String> {
        self.bench.press(press);
        self.look()
    }
}
