//! The main loop of a board, one turn at a time.
//!
//! ```text
//! turn: feed the watchdog
//!       edges from the queues ─► board, buttons
//!       poll the board ─► what happened ─► panel, port
//!       core::turn::next ─► at once again
//!                        ├► one piece of other work, the first task that is due
//!                        └► sleep until an edge or the next deadline
//! ```
//!
//! Invariants: when the board takes something for certain at a moment, it has had all edges up
//! to that moment. After edges were lost, the levels are read again. A poll comes before each
//! piece of other work. While a power-fail warning is answered there is no other work, and lamp
//! and buzzer are off. No sleep is longer than [`SLEEP_MAX_US`].
//!
//! Not done here: interrupts, pins, logging. [`MainLoop::turn`] returns what has happened, for
//! a log.

use shaftbook_core::board::{Board, Effect, Polled};
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::rules::Sound;
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_core::time::{Instant, TickClock};
use shaftbook_core::turn::{self, Next};
use shaftbook_drivers::clock::{Clock, ClockError};
use shaftbook_drivers::memory::{Memory, WiredPart};
use shaftbook_panel::button::{Buttons, Press};
use shaftbook_panel::console::Console;
use shaftbook_panel::view::View;

use crate::hardware::{Hardware, SLEEP_MAX_US};
use crate::image_hash::ImageHash;
use crate::indicator::Indicator;
use crate::port::Port;
use crate::rules::LoopRules;
use crate::showing::Showing;
use crate::stop::Stop;
use crate::task::Task;

/// The screen is looked at anew after this, µs.
pub const VIEW_US: u64 = 1_000_000;
/// The needle-position voltage is read this often, µs, and before each pulse of the shaft:
/// a position is believed after it held for 20 ms or more (`Settings::needle_debounce_ms`),
/// so twice in that time.
pub const LEVEL_US: u64 = 10_000;
/// The clock is read this often, µs.
pub const CLOCK_US: u64 = 3_600_000_000;
/// While bytes wait for room at the port, it is looked at this often, µs.
const PORT_US: u64 = 1_000;

/// What a turn did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Turned {
    /// What has happened on the board, if anything; for a log.
    pub effect: Option<Effect>,
    /// What followed the poll: nothing, one task, or sleep.
    pub next: Next,
}

/// Everything that a board keeps in RAM, but for its hardware and queues.
#[derive(Clone, Debug)]
pub struct MainLoop<R: LoopRules = Sound> {
    board: Board<R>,
    console: Console,
    buttons: Buttons,
    showing: Showing,
    indicator: Indicator,
    port: Port,
    ticks: TickClock<32>,
    part: WiredPart,
    image_hash: ImageHash,
    press: Option<Press>,
    view_at: Instant,
    level_at: Instant,
    clock_at: Instant,
}

impl<R: LoopRules> MainLoop<R> {
    /// A board at reset. `last_stop`: how the firmware stopped before this reset, if it
    /// did.
    #[must_use]
    pub fn new(
        id: BoardId,
        part: WiredPart,
        version: &'static str,
        last_stop: Option<Stop>,
    ) -> Self {
        // Made in one piece, for the sake of the stack.
        let mut main_loop = Self {
            board: Board::new(id, Settings::default()),
            console: Console::new(version),
            buttons: Buttons::new(),
            showing: Showing::new(),
            indicator: Indicator::new(),
            port: Port::new(),
            ticks: TickClock::new(),
            part,
            image_hash: ImageHash::default(),
            press: None,
            view_at: Instant::ZERO,
            level_at: Instant::ZERO,
            clock_at: Instant::NEVER,
        };
        if last_stop.is_some() {
            main_loop.board.raise(Fault::FirmwareStopped);
        }
        main_loop
    }

    /// The board.
    #[must_use]
    pub fn board(&self) -> &Board<R> {
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

    /// One turn of the loop.
    pub fn turn<H: Hardware>(&mut self, hardware: &mut H) -> Turned {
        if R::watchdog_every_turn() {
            hardware.feed_watchdog();
        }
        let polled = self.count(hardware);
        let now = self.now(hardware);
        if let Some(effect) = &polled.effect {
            self.happened(now, effect);
        }
        self.do_chores(now, hardware);
        let next = turn::next(&self.board, now, polled, self.due_task(now).is_some());
        match next {
            Next::Poll => {}
            Next::Step => self.step(now, hardware),
            Next::Sleep(until) => self.sleep(now, until, hardware),
        }
        Turned { effect: polled.effect, next }
    }

    /// The part of a turn that counts, stores and answers a power-fail warning: edges,
    /// needle level, one poll of the board.
    ///
    /// Never inlined: `.ci/images` looks for this function in every board image and shows
    /// that no panic can be reached from it.
    #[inline(never)]
    pub fn count<H: Hardware>(&mut self, hardware: &mut H) -> Polled {
        // The time before the edges: all up to it are in the queue then, so that nothing is
        // taken for certain over the head of one that came in between.
        let mut now = self.now(hardware);
        self.take_edges(now, hardware);
        if !R::time_before_edges() {
            now = self.now(hardware);
        }
        if R::lamp_off_at_once() && self.board.is_answering(now) {
            self.indicate(now, hardware);
        }
        self.read_level(now, hardware);
        self.board.poll(now, &mut Memory::new(hardware.bus(), self.part))
    }

    fn take_edges<H: Hardware>(&mut self, now: Instant, hardware: &mut H) {
        while let Some((tick_us, input)) = hardware.take_edge() {
            let stamped = self.ticks.extend(tick_us);
            let at = if R::stamped_by_interrupt() { stamped } else { now };
            if input == Input::Shaft(Level::Active) && R::level_before_pulse() {
                // The head may have moved since the last reading.
                self.level_at = now;
                self.read_level(at, hardware);
            }
            self.board.input(at, input);
        }
        let missed = hardware.take_missed();
        if missed > 0 && R::missed_told() {
            self.board.missed_edges(missed);
            if R::levels_read_again() {
                let board = &mut self.board;
                hardware.tell_levels(|input| board.input(now, input));
            }
        }
        while let Some((tick_us, (button, level))) = hardware.take_press() {
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
        if R::panel_told() {
            self.console.effect(now, effect);
        }
        self.port.effect(effect);
        self.view_at = now;
        if *effect == Effect::Ready && R::clock_is_read_when_ready() {
            self.clock_at = now;
        }
    }

    /// What is done in every turn beside counting, each in a moment.
    fn do_chores<H: Hardware>(&mut self, now: Instant, hardware: &mut H) {
        self.port.hear(hardware);
        if self.board.is_answering(now) {
            return;
        }
        self.port.send(hardware);
        if self.press.is_none() || !R::presses_wait() {
            self.press = self.buttons.poll(now);
        }
    }

    /// When [`Self::do_chores`], the needle level and the lamp want a turn.
    fn chores_deadline(&self, now: Instant) -> Instant {
        let port_at = if self.port.is_sending() { now.plus_us(PORT_US) } else { Instant::NEVER };
        let reads_level = self.reads_level() && R::level_wakes();
        let level_at = if reads_level { self.level_at } else { Instant::NEVER };
        port_at.min(level_at).min(self.buttons.deadline()).min(self.indicator.deadline(now))
    }

    /// When `task` has something to do: in the past, at once.
    fn due_at(&self, task: Task) -> Instant {
        let at_once = |is_due| if is_due { Instant::ZERO } else { Instant::NEVER };
        match task {
            Task::Press => at_once(self.press.is_some()),
            Task::PanelTime => self.console.panel().deadline(),
            Task::View if R::view_is_a_task() => self.view_at,
            Task::PortLine => at_once(self.port.has_work()),
            Task::Display => self.showing.deadline(),
            Task::Clock => self.clock_at,
            Task::ImageHash => at_once(self.image_hash.has_work()),
            Task::Hints if self.board.is_ready() => self.console.thinks_at(),
            // What is in no list is never due.
            Task::View | Task::Hints => Instant::NEVER,
        }
    }

    /// The first task, in their order, that has something to do.
    fn due_task(&self, now: Instant) -> Option<Task> {
        Task::ALL.into_iter().find(|task| self.due_at(*task) <= now)
    }

    /// One piece of other work.
    fn step<H: Hardware>(&mut self, now: Instant, hardware: &mut H) {
        while let Some(task) = self.due_task(now) {
            self.work_on(task, now, hardware);
            if R::one_step_a_poll() {
                break;
            }
        }
        self.indicate(now, hardware);
    }

    fn work_on<H: Hardware>(&mut self, task: Task, now: Instant, hardware: &mut H) {
        match task {
            Task::Press => {
                let Some(press) = self.press.take() else { return };
                self.indicator.pressed(now);
                self.console.press(&mut self.board, now, press);
                self.view_at = now;
            }
            Task::PanelTime => {
                self.console.tick(now);
                self.view_at = now;
            }
            Task::View => {
                self.view_at = now.plus_us(VIEW_US);
                let view = self.console.view(&self.board, now);
                let due = if R::lamp_tells_due() { view.due } else { 0 };
                self.indicator.stands(now, view.faulty, due);
                self.showing.offer(view);
            }
            Task::PortLine => self.port.step(&self.board, now, self.console.build()),
            Task::Display => self.showing.step::<R, _>(now, hardware.bus()),
            Task::Clock => {
                self.clock_at = now.plus_us(CLOCK_US);
                self.read_clock(hardware);
            }
            Task::Hints => {
                self.console.think(&self.board, now);
            }
            Task::ImageHash => {
                if let Some(hash) = self.image_hash.step(hardware.image()) {
                    self.console.hashed(hash);
                }
            }
        }
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

    fn sleep<H: Hardware>(&self, now: Instant, board: Instant, hardware: &mut H) {
        self.indicate(now, hardware);
        let mut until = board;
        if R::sleep_is_bounded() {
            until = until.min(now.plus_us(SLEEP_MAX_US.into()));
        }
        if !self.board.is_answering(now) {
            let tasks = Task::ALL.into_iter().map(|task| self.due_at(task));
            until = tasks.fold(until.min(self.chores_deadline(now)), Instant::min).max(now);
        }
        hardware.sleep(until.as_us() as u32);
    }
}
