//! The simulated world of the live panel: a machine that follows its scenario, its board with
//! memory and display on one bus, the panel, and a wall switch.
//!
//! Invariants: time only goes on by [`World::pass`]; while the wall switch is off, the board
//! has no power and sees no signal; what the machine truly did is kept apart.

use std::collections::VecDeque;

use shaftbook_core::authority::{self, EightDigits};
use shaftbook_core::board::{Board, Effect, Fitting};
use shaftbook_core::counters::Counters;
use shaftbook_core::input::{Input, Level};
use shaftbook_panel::button::{Button, LONG_US, Press};
use shaftbook_panel::console::Console;
use shaftbook_panel::frame::Frame;
use shaftbook_panel::screen::Screen as At;
use shaftbook_panel::text::Language;
use shaftbook_panel::view::View;

use super::action::Action;
use super::screen::seen;
use crate::inspect::names;
use crate::sew::run::{RunError, fit};
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::session::Session;
use shaftbook_world::bus::{DisplayModel, Part, Tear};
use shaftbook_world::fitting::bus_of;
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::{Sewing, SewingEvent, Timed};

/// Lines of the log.
const LOG_MAX: usize = 40;
/// A short press takes this long, µs.
const SHORT_US: u64 = 200_000;
/// A long press is held this much longer than it must be, µs.
const HELD_LONGER_US: u64 = 100_000;
/// After a press the board has this long to answer before the next action, µs.
const ANSWER_US: u64 = 300_000;
/// A picture on which nothing changes for this long is whole, µs.
const STILL_US: u64 = 30_000;
/// A picture is whole within this, µs: the display is woken, and all of it is painted.
const WHOLE_US: u64 = 2_000_000;

/// The world.
pub struct World {
    sewing: Sewing,
    /// The next event of the scenario.
    coming: Option<Timed>,
    session: Session<Firmware>,
    fitting: Fitting,
    at_us: u64,
    /// The wall switch, and whether the scenario has the machine switched on.
    wall: bool,
    machine_on: bool,
    cuts: u32,
    seed: u64,
    log: VecDeque<Happened>,
    /// The machine's signals as they are now.
    signals: Signals,
}

/// The machine's signals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Signals {
    /// Revolutions a minute, from the last two pulses of the shaft.
    pub rpm: u64,
    /// The last shaft pulse, µs.
    last_pulse_us: u64,
    /// The needle code, or mV.
    pub needle: Option<Input>,
    /// Trimmer, thread break, jump: asserted.
    pub trim: bool,
    /// See [`Signals::trim`].
    pub thread_break: bool,
    /// See [`Signals::trim`].
    pub jump: bool,
}

/// Something that happened, once or several times on end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Happened {
    /// When it happened last, µs since midnight of the first day.
    pub at_us: u64,
    /// What.
    pub what: String,
    /// How often on end.
    pub times: u32,
}

/// Something that the board's memory is told by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slot {
    /// Program cycles of its page, of 8 levels over the hottest page.
    Worn(u8),
    /// The newest record.
    Newest,
    /// No longer used.
    Retired,
}

impl World {
    /// The machine of `scenario` with its board fitted by `fitting`, before its first
    /// switching-on.
    ///
    /// # Errors
    /// A part that the board cannot use, or a fitting that it refuses.
    pub fn new(scenario: &Scenario, seed: u64, fitting: Fitting) -> Result<Self, RunError> {
        let bus = bus_of(&scenario.part, seed).map_err(RunError::Part)?.with_display(seed);
        let (session, _) = fit(bus, fitting.clone(), None)?;
        let mut sewing = Sewing::new(scenario, seed);
        let coming = sewing.next();
        Ok(Self {
            sewing,
            coming,
            session,
            fitting,
            at_us: coming.map_or(0, |timed| timed.at_us.saturating_sub(1_000_000)),
            wall: true,
            machine_on: false,
            cuts: 0,
            seed,
            log: VecDeque::new(),
            signals: Signals::default(),
        })
    }

    /// Simulated time, µs since midnight of the first day.
    #[must_use]
    pub fn at_us(&self) -> u64 {
        self.at_us
    }

    /// The board has power.
    #[must_use]
    pub fn is_powered(&self) -> bool {
        self.session.board().is_some()
    }

    /// The wall switch is on.
    #[must_use]
    pub fn wall_is_on(&self) -> bool {
        self.wall
    }

    /// The scenario is over.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.coming.is_none()
    }

    /// The board, if it has power.
    #[must_use]
    pub fn board(&self) -> Option<&Board> {
        self.session.board()
    }

    /// The panel and its exchange with the engineer, if the board has power.
    #[must_use]
    pub fn console(&self) -> Option<&Console> {
        self.session.device().map(|board| board.main_loop().console())
    }

    /// What stands on the screen; `None` without power.
    #[must_use]
    pub fn view(&self) -> Option<View> {
        let now = self.session.board_time(self.at_us);
        self.session.device().map(|board| board.view(now))
    }

    /// The board's lifetime counters, if it has power and knows its past.
    #[must_use]
    pub fn lifetime(&self) -> Option<Counters> {
        self.session.lifetime(self.at_us)
    }

    /// The machine's signals.
    #[must_use]
    pub fn signals(&self) -> Signals {
        let still = self.at_us.saturating_sub(self.signals.last_pulse_us) > 2_000_000;
        Signals { rpm: if still { 0 } else { self.signals.rpm }, ..self.signals }
    }

    /// What happened, the newest last.
    #[must_use]
    pub fn log(&self) -> impl DoubleEndedIterator<Item = &Happened> {
        self.log.iter()
    }

    /// Power cuts so far.
    #[must_use]
    pub fn cuts(&self) -> u32 {
        self.cuts
    }

    /// The memory part, page by page.
    #[must_use]
    pub fn memory(&self) -> Vec<Slot> {
        let part: &Part = self.session.bus().part();
        let cycles = part.wear().page_cycles();
        let hottest = u64::from(part.wear().hottest_page_cycles().max(1));
        let mut slots: Vec<Slot> = cycles
            .iter()
            .map(|cycles| Slot::Worn((u64::from(*cycles) * 8 / hottest) as u8))
            .collect();
        if let Some(board) = self.session.board() {
            let page_bytes = usize::from(part.geometry().page_bytes);
            let page_of = |slot: u16| usize::from(slot) * 64 / page_bytes;
            for slot in board.store().retired().iter() {
                if let Some(page) = slots.get_mut(page_of(slot)) {
                    *page = Slot::Retired;
                }
            }
            if let Some(page) = slots.get_mut(page_of(board.store().head().slot)) {
                *page = Slot::Newest;
            }
        }
        slots
    }

    /// Lets `us` pass.
    pub fn pass(&mut self, us: u64) {
        let end_us = self.at_us + us;
        while let Some(timed) = self.coming.filter(|timed| timed.at_us <= end_us) {
            self.event(timed);
            self.coming = self.sewing.next();
        }
        self.at_us = end_us;
        let mut effects = Vec::new();
        self.session.run_until(end_us, |effect| effects.push(effect));
        self.told(&effects);
    }

    fn event(&mut self, timed: Timed) {
        self.at_us = timed.at_us;
        match timed.event {
            SewingEvent::PowerUp => {
                self.machine_on = true;
                self.power();
            }
            SewingEvent::Cut => {
                self.machine_on = false;
                self.power();
            }
            SewingEvent::Input(input) if self.wall => {
                self.signal(timed.at_us, input);
                let mut effects = Vec::new();
                self.session.input(timed.at_us, input, |effect| effects.push(effect));
                self.told(&effects);
            }
            SewingEvent::Input(_) => {}
        }
    }

    fn signal(&mut self, at_us: u64, input: Input) {
        let signals = &mut self.signals;
        match input {
            // Bounce and glitches are not for the eye.
            Input::Shaft(level)
                if level.is_active()
                    && at_us.saturating_sub(signals.last_pulse_us)
                        >= u64::from(self.fitting.settings.shortest_period_us()) =>
            {
                let pulses = u64::from(self.fitting.settings.pulses_per_revolution);
                let period_us = at_us.saturating_sub(signals.last_pulse_us) * pulses;
                signals.rpm = 60_000_000_u64.checked_div(period_us).unwrap_or(0);
                signals.last_pulse_us = at_us;
            }
            Input::Trim(level) => {
                if level.is_active() && !signals.trim {
                    self.say("trim");
                }
                self.signals.trim = level.is_active();
            }
            Input::ThreadBreak(level) => {
                if level.is_active() && !signals.thread_break {
                    self.say("thread break");
                }
                self.signals.thread_break = level.is_active();
            }
            Input::Jump(level) => signals.jump = level.is_active(),
            Input::NeedleCode(_) | Input::NeedleLevel(_) => signals.needle = Some(input),
            Input::PowerFail(level) if level.is_active() => self.say("power-fail warning"),
            Input::PowerFail(_) | Input::Shaft(_) => {}
        }
    }

    /// Power follows the wall switch and the machine's own.
    fn power(&mut self) {
        let on = self.wall && self.machine_on;
        if on == self.is_powered() {
            return;
        }
        if on {
            self.session.power_up(self.at_us);
            self.say("power on");
        } else {
            let tear = Tear::draw(self.seed ^ u64::from(self.cuts), 64);
            let mut effects = Vec::new();
            self.session.cut(self.at_us, tear, |effect| effects.push(effect));
            self.told(&effects);
            self.cuts += 1;
            self.signals = Signals::default();
            self.say("power cut");
        }
    }

    /// Does an action; nothing happens at a panel without power.
    ///
    /// # Errors
    /// Why the engineer cannot answer: no challenge is on the screen.
    pub fn act(&mut self, action: Action) -> Result<(), &'static str> {
        match action {
            Action::Press(press) => self.press(press),
            Action::Wait(seconds) => self.pass(seconds * 1_000_000),
            Action::Off | Action::On => {
                self.wall = action == Action::On;
                self.power();
                // A machine switched on beside its scenario's hours is on.
                if self.wall && !self.machine_on {
                    self.machine_on = true;
                    self.power();
                }
                self.pass(ANSWER_US);
            }
            Action::Reply => self.type_reply()?,
        }
        Ok(())
    }

    fn press(&mut self, press: Press) {
        let (button, held_us) = match press {
            Press::Short(button) => (button, SHORT_US),
            Press::Long(button) => (button, LONG_US + HELD_LONGER_US),
        };
        self.button(button, Level::Active);
        self.pass(held_us);
        self.button(button, Level::Inactive);
        self.pass(ANSWER_US);
    }

    fn button(&mut self, button: Button, level: Level) {
        let mut effects = Vec::new();
        self.session.button(self.at_us, button, level, |effect| effects.push(effect));
        self.told(&effects);
    }

    fn type_reply(&mut self) -> Result<(), &'static str> {
        let screen = self.console().map(|console| *console.panel().screen());
        let Some(At::Challenge { challenge: Some(_), .. }) = screen else {
            return Err("no challenge is on the screen: hold act at the service screen first");
        };
        let reply = self.engineers_reply().ok_or("no challenge is open")?;
        self.press(Press::Short(Button::Act));
        for place in 0..8 {
            let digit = reply.get() / 10_u32.pow(7 - place) % 10;
            for _ in 0..digit {
                self.press(Press::Short(Button::Next));
            }
            if place < 7 {
                self.press(Press::Short(Button::Act));
            }
        }
        Ok(())
    }

    /// What the engineer would answer to the open challenge.
    #[must_use]
    pub fn engineers_reply(&self) -> Option<EightDigits> {
        let request = self.console()?.exchange().open()?;
        let key = &self.fitting.key;
        Some(authority::reply(key, request.purpose(), request.services, request.challenge))
    }

    fn told(&mut self, effects: &[Effect]) {
        for effect in effects {
            match effect {
                Effect::EntryDurable { event, .. } => {
                    self.say(&format!("journal: {}", Language::English.words().event(*event)));
                }
                Effect::FaultRaised(fault) => self.say(&format!("fault: {}", names::fault(*fault))),
                Effect::FaultCleared(fault) => {
                    self.say(&format!("fault over: {}", names::fault(*fault)));
                }
                Effect::ReplyRefused => self.say("reply refused"),
                Effect::Ready => self.say("board ready"),
                _ => {}
            }
        }
    }

    fn say(&mut self, what: &str) {
        let at_us = self.at_us;
        if let Some(last) = self.log.back_mut().filter(|last| last.what == what) {
            (last.at_us, last.times) = (at_us, last.times + 1);
            return;
        }
        if self.log.len() == LOG_MAX {
            self.log.pop_front();
        }
        self.log.push_back(Happened { at_us, what: what.to_owned(), times: 1 });
    }

    /// Lets the board bring its display up to date, which takes it some ms, and gives what
    /// a person sees: nothing without power.
    pub fn display(&mut self) -> Frame {
        let mut picture = seen(self.session.bus());
        for _ in 0..WHOLE_US / STILL_US {
            if !self.is_powered() {
                break;
            }
            self.pass(STILL_US);
            let next = seen(self.session.bus());
            let is_lit = self.session.bus().display().is_some_and(DisplayModel::is_on);
            if is_lit && next == picture {
                break;
            }
            picture = next;
        }
        picture
    }
}
