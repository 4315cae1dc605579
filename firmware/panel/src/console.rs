//! The panel together with what it does: presses carried to the board, and the board's answers
//! back to the screen. One board image has one [`Console`].
//!
//! Invariants: the console decides nothing about the machine; the board does. A request that
//! the board refuses changes nothing.

use shaftbook_care::calendar;
use shaftbook_care::hint::{Hints, Look};
use shaftbook_care::machine::Machine;
use shaftbook_core::board::{Board, Command, Effect};
use shaftbook_core::exchange::{Exchange, Outcome};
use shaftbook_core::service::Refusal;
use shaftbook_core::time::Instant;

use crate::button::Press;
use crate::panel::{Ask, Panel};
use crate::rules::PanelRules;
use crate::state::{Build, State};
use crate::view::View;

/// Time from one look for hints to the next, µs.
pub const LOOK_EVERY_US: u64 = 10_000_000;

/// The panel, the hints, and the exchange with the engineer that it shows.
#[derive(Clone, Debug)]
pub struct Console {
    panel: Panel,
    exchange: Exchange,
    look: Look,
    hints: Hints,
    /// When the next look begins.
    look_at: Instant,
    /// What the clock says.
    clock: Option<u16>,
    /// The board's firmware.
    build: Build,
}

impl Console {
    /// A panel after power-up. `version` is that of the image it runs in.
    #[must_use]
    pub const fn new(version: &'static str) -> Self {
        Self {
            panel: Panel::new(),
            exchange: Exchange::new(),
            look: Look::new(),
            hints: Hints::new(),
            look_at: Instant::ZERO,
            clock: None,
            build: Build { version, hash: None },
        }
    }

    /// The board's firmware.
    #[must_use]
    pub const fn build(&self) -> Build {
        self.build
    }

    /// The hash of the firmware's own bytes was worked out; see [`Build::hash`].
    pub const fn hashed(&mut self, hash: u32) {
        self.build.hash = Some(hash);
    }

    /// The panel.
    #[must_use]
    pub const fn panel(&self) -> &Panel {
        &self.panel
    }

    /// The exchange with the engineer.
    #[must_use]
    pub const fn exchange(&self) -> &Exchange {
        &self.exchange
    }

    /// Does what `press` asks for.
    pub fn press<R: PanelRules>(&mut self, board: &mut Board<R>, now: Instant, press: Press) {
        let mut state = State::of(board, now, &self.hints, self.build);
        state.clock = self.clock;
        let Some(ask) = self.panel.press(now, press, &state) else { return };
        if let Err(refusal) = self.ask(board, now, ask) {
            self.panel.refused(now, refusal);
        }
    }

    fn ask<R: PanelRules>(
        &mut self,
        board: &mut Board<R>,
        now: Instant,
        ask: Ask,
    ) -> Result<(), Refusal> {
        match ask {
            Ask::Renew(components) => {
                board.request(now, Command::Renew { components, reply: None })
            }
            Ask::Challenge(allows) => {
                // Before anybody telephones for nothing.
                match board.reply_wait_s(now) {
                    0 => {}
                    seconds => return Err(Refusal::Wait { seconds }),
                }
                let request = self.exchange.begin(board, now, allows)?;
                self.panel.challenge(request.challenge);
                Ok(())
            }
            Ask::Reply(reply) => self.exchange.reply(board, now, reply),
            Ask::ConfirmDay(day) => {
                self.panel.day_confirmed(now, calendar::confirm(board, Some(day)));
                Ok(())
            }
        }
    }

    /// The clock was read: what it says, a day number (1 is 1 January 2020). The board is
    /// told what is believed of it. Call about once an hour, and when the board is ready.
    pub fn clock<R: PanelRules>(&mut self, board: &mut Board<R>, reading: Option<u16>) {
        self.clock = reading;
        calendar::tell(board, reading);
    }

    /// Something has happened on the board.
    pub fn effect(&mut self, now: Instant, effect: &Effect) {
        match self.exchange.effect(effect) {
            Outcome::Pending => {}
            outcome => self.panel.judged(now, outcome),
        }
        self.panel.effect(now, effect);
    }

    /// Lets time pass.
    pub fn tick(&mut self, now: Instant) {
        self.panel.tick(now);
    }

    /// When [`Console::think`] has a step to do; in the past: now.
    #[must_use]
    pub fn thinks_at(&self) -> Instant {
        if self.look.is_new() { self.look_at } else { Instant::ZERO }
    }

    /// One step of the look for hints, if one is due: a look begins every
    /// [`LOOK_EVERY_US`]. `false` when there is nothing to do.
    pub fn think<R: PanelRules>(&mut self, board: &Board<R>, now: Instant) -> bool {
        if now < self.thinks_at() {
            return false;
        }
        if let Some(hints) = self.look.step(&Machine::of(board, now)) {
            self.hints = hints;
            self.look_at = now.plus_us(LOOK_EVERY_US);
        }
        true
    }

    /// What stands on the screen at `now`.
    #[must_use]
    pub fn view<R: PanelRules>(&self, board: &Board<R>, now: Instant) -> View {
        let mut state = State::of(board, now, &self.hints, self.build);
        state.clock = self.clock;
        self.panel.view(&state)
    }
}
