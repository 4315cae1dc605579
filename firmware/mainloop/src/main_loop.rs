//! The main loop of a board, one turn at a time.
//!
//! ```text
//! turn: feed the watchdog
//!       edges from the queues ─► board, buttons
//!       poll the board ─► what happened ─► panel, port
//!       core::turn::next ─► at once again
//!                        ├► one piece of other work: press, clock, port line, hint, view, display
//!                        └► sleep until an edge or the next deadline
//! ```
//!
//! Invariants: what the board takes for certain at a moment rests on all edges up to it;
//! after edges were lost the levels are looked at; a poll comes before each piece of other work; while a power-fail warning is
//! answered there is no other work, and lamp and buzzer are dark and quiet; the sleep is
//! never longer than [`SLEEP_MAX_US`].
//!
//! Not done here: interrupts, pins, logging. [`MainLoop::turn`] says what has happened.

use shaftbook_core::board::{Board, Effect, Polled};
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_core::time::{Instant, TickClock};
use shaftbook_core::turn::{self, Next};
use shaftbook_drivers::capture::EdgeConsumer;
use shaftbook_drivers::clock::{Clock, ClockError};
use shaftbook_drivers::memory::{Eeprom, WiredPart};
use shaftbook_panel::button::{Button, Buttons, Press};
use shaftbook_panel::console::Console;
use shaftbook_panel::view::View;

use crate::hardware::{Hardware, SLEEP_MAX_US};
use crate::indicator::Indicator;
use crate::port::Port;
use crate::showing::Showing;
use crate::stop::Stop;

/// The screen is looked at anew after this, µs.
pub const VIEW_US: u64 = 1_000_000;
/// The needle-position voltage is read this often, µs: a position is believed after it
/// held for 20 ms or more (`Settings::needle_debounce_ms`), so twice in that time.
pub const LEVEL_US: u64 = 10_000;
/// The clock is read this often, µs.
pub const CLOCK_US: u64 = 3_600_000_000;
/// While bytes wait for room at the port, it is looked at this often, µs.
const PORT_US: u64 = 1_000;

/// An edge of a button.
pub type ButtonEdge = (Button, Level);

/// Everything that a board keeps in RAM, but for its hardware and queues.
#[derive(Clone, Debug)]
pub struct MainLoop {
    board: Board,
    console: Console,
    buttons: Buttons,
    showing: Showing,
    indicator: Indicator,
    port: Port,
    ticks: TickClock<32>,
    part: WiredPart,
    version: &'static str,
    press: Option<Press>,
    view_at: Instant,
    level_at: Instant,
    clock_at: Instant,
}

impl MainLoop {
    /// A board at reset. `last_stop`: how the firmware stopped before this reset, if it
    /// did.
    #[must_use]
    pub fn new(
        id: BoardId,
        part: WiredPart,
        version: &'static str,
        last_stop: Option<Stop>,
    ) -> Self {
        let mut board = Board::new(id, Settings::default());
        if last_stop.is_some() {
            board.raise(Fault::FirmwareStopped);
        }
        Self {
            board,
            console: Console::new(version),
            buttons: Buttons::new(),
            showing: Showing::new(),
            indicator: Indicator::new(),
            port: Port::new(),
            ticks: TickClock::new(),
            part,
            version,
            press: None,
            view_at: Instant::ZERO,
            level_at: Instant::ZERO,
            clock_at: Instant::NEVER,
        }
    }

    /// The board.
    #[must_use]
    pub fn board(&self) -> &Board {
        &self.board
    }

    /// The panel.
    #[must_use]
    pub fn console(&self) -> &Console {
        &self.console
    }

    /// What stands on the screen, or will as soon as it is painted.
    #[must_use]
    pub fn view(&self, now: Instant) -> View {
        self.console.view(&self.board, now)
    }

    /// The firmware was reset by its watchdog without having recorded why.
    pub fn was_reset_by_watchdog(&mut self) {
        self.board.raise(Fault::FirmwareStopped);
    }

    /// One turn of the loop. What has happened, if anything; for a log.
    pub fn turn<H: Hardware>(
        &mut self,
        hardware: &mut H,
        edges: &mut EdgeConsumer<'_>,
        presses: &mut EdgeConsumer<'_, ButtonEdge>,
    ) -> Option<Effect> {
        hardware.feed_watchdog();
        let polled = self.count(hardware, edges, presses);
        let now = self.now(hardware);
        if let Some(effect) = &polled.effect {
            self.happened(now, effect);
        }
        self.port.hear(hardware);
        if !self.board.is_answering(now) {
            self.port.send(hardware);
            self.press = self.press.or_else(|| self.buttons.poll(now));
        }
        match turn::next(&self.board, now, polled, self.has_work(now)) {
            Next::Poll => {}
            Next::Step => self.step(now, hardware),
            Next::Sleep(until) => self.sleep(now, until, hardware, edges, presses),
        }
        polled.effect
    }

    /// The part of a turn that counts, stores and answers a power-fail warning: edges,
    /// needle level, one poll of the board.
    ///
    /// Never inlined: `.ci/images` looks for this function in every board image and shows
    /// that no panic can be reached from it.
    #[inline(never)]
    pub fn count<H: Hardware>(
        &mut self,
        hardware: &mut H,
        edges: &mut EdgeConsumer<'_>,
        presses: &mut EdgeConsumer<'_, ButtonEdge>,
    ) -> Polled {
        // The time before the edges: all up to it are in the queue then, so that nothing is
        // settled over the head of one that came in between.
        let now = self.now(hardware);
        self.take_edges(now, hardware, edges, presses);
        if self.board.is_answering(now) {
            self.indicate(now, hardware);
        }
        self.read_level(now, hardware);
        self.board.poll(now, &mut Eeprom::new(hardware.bus(), self.part))
    }

    fn take_edges<H: Hardware>(
        &mut self,
        now: Instant,
        hardware: &mut H,
        edges: &mut EdgeConsumer<'_>,
        presses: &mut EdgeConsumer<'_, ButtonEdge>,
    ) {
        while let Some((tick_us, input)) = edges.pop() {
            self.board.input(self.ticks.extend(tick_us), input);
        }
        let missed = edges.take_missed();
        if missed > 0 {
            self.board.missed_edges(missed);
            let board = &mut self.board;
            hardware.tell_levels(|input| board.input(now, input));
        }
        while let Some((tick_us, (button, level))) = presses.pop() {
            self.buttons.edge(self.ticks.extend(tick_us), button, level);
        }
    }

    fn now<H: Hardware>(&mut self, hardware: &mut H) -> Instant {
        self.ticks.extend(hardware.tick_us())
    }

    fn read_level<H: Hardware>(&mut self, now: Instant, hardware: &mut H) {
        if !self.reads_level() || now < self.level_at {
            return;
        }
        self.level_at = now.plus_us(LEVEL_US);
        if let Some(mv) = hardware.needle_level_mv() {
            self.board.input(now, Input::NeedleLevel(mv));
        }
    }

    fn reads_level(&self) -> bool {
        self.board.settings().needle_source == NeedleSource::Level
    }

    fn happened(&mut self, now: Instant, effect: &Effect) {
        self.console.effect(now, effect);
        self.port.effect(effect);
        self.view_at = now;
        if *effect == Effect::Ready {
            self.clock_at = now;
        }
    }

    /// Whether anything but the board has something to do.
    fn has_work(&self, now: Instant) -> bool {
        self.press.is_some()
            || now >= self.clock_at
            || now >= self.view_at
            || now >= self.console.panel().deadline()
            || self.port.has_work()
            || self.showing.has_work(now)
            || (self.board.is_ready() && self.console.wants_to_think(now))
    }

    /// One piece of other work, what a person waits for first.
    fn step<H: Hardware>(&mut self, now: Instant, hardware: &mut H) {
        if let Some(press) = self.press.take() {
            self.indicator.pressed(now);
            self.console.press(&mut self.board, now, press);
            self.view_at = now;
        } else if now >= self.console.panel().deadline() {
            self.console.tick(now);
            self.view_at = now;
        } else if now >= self.view_at {
            self.view_at = now.plus_us(VIEW_US);
            let view = self.console.view(&self.board, now);
            self.indicator.stands(now, view.faulty, view.due);
            self.showing.offer(view);
        } else if self.port.has_work() {
            self.port.step(&self.board, now, self.version);
        } else if self.showing.has_work(now) {
            self.showing.step(now, hardware.bus());
        } else if now >= self.clock_at {
            self.clock_at = now.plus_us(CLOCK_US);
            self.read_clock(hardware);
        } else {
            self.console.think(&self.board, now);
        }
        self.indicate(now, hardware);
    }

    fn read_clock<H: Hardware>(&mut self, hardware: &mut H) {
        let reading = Clock::new(hardware.bus()).day();
        // A socket that was always empty is no fault.
        if reading == Err(ClockError::NoAnswer) && self.board.day().is_none() {
            return;
        }
        self.console.clock(&mut self.board, reading.ok());
    }

    fn indicate<H: Hardware>(&self, now: Instant, hardware: &mut H) {
        let spare = self.board.is_answering(now);
        hardware.lamp(!spare && self.indicator.is_lit(now));
        hardware.buzzer(!spare && self.indicator.is_sounding(now));
    }

    fn sleep<H: Hardware>(
        &self,
        now: Instant,
        board: Instant,
        hardware: &mut H,
        edges: &EdgeConsumer<'_>,
        presses: &EdgeConsumer<'_, ButtonEdge>,
    ) {
        self.indicate(now, hardware);
        let mut until = board.min(now.plus_us(SLEEP_MAX_US.into()));
        if !self.board.is_answering(now) {
            let port_at =
                if self.port.is_sending() { now.plus_us(PORT_US) } else { Instant::NEVER };
            let level_at = if self.reads_level() { self.level_at } else { Instant::NEVER };
            for deadline in [
                self.buttons.deadline(),
                self.console.panel().deadline(),
                self.showing.deadline(),
                self.indicator.deadline(now),
                self.view_at,
                self.clock_at,
                port_at,
                level_at,
            ] {
                until = until.min(deadline.max(now));
            }
        }
        let has_edges = || !edges.is_empty() || !presses.is_empty();
        hardware.sleep(until.as_us() as u32, has_edges);
    }
}
