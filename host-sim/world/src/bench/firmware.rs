//! The whole firmware that ships: `shaftbook_mainloop`, with panel and display, on a
//! simulated chip.
//!
//! Invariants: an edge reaches the capture queue at its moment, also in the middle of a
//! transaction, as an interrupt would; a full queue loses the newest edge and counts it;
//! everything that a person does goes through the buttons.

mod person;

use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::{Board, Command, Polled};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::rules::Sound;
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_core::turn::Next;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_mainloop::hardware::SLEEP_MAX_US;
use shaftbook_mainloop::main_loop::MainLoop;
use shaftbook_mainloop::stop::Stop;
use shaftbook_panel::button::Button;
use shaftbook_panel::draw::draw;
use shaftbook_panel::frame::Frame;
use shaftbook_panel::view::View;

use super::chip::Chip;
use super::core::Core;
use super::device::Device;
use super::pins::{Incoming, Pins};
use super::screen::PAINT_STEP_US;
use super::under_test::UnderTest;
use super::{Bench, CommandFigures};
use crate::bus::{Bus, Tear};

/// Version that the firmware on the bench says it is.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");
/// The watchdog of the boards resets after this, µs.
pub const WATCHDOG_US: u64 = 2 * SLEEP_MAX_US as u64;

/// The pixels of a view.
#[must_use]
pub fn frame_of(view: &View) -> Frame {
    let mut frame = Frame::new();
    match draw(view, &mut frame) {
        Ok(()) => frame,
        // Drawing into memory cannot fail.
        Err(never) => match never {},
    }
}

/// The whole firmware.
#[derive(Clone, Debug)]
pub struct Firmware<R: UnderTest = Sound> {
    main_loop: MainLoop<R>,
    id: BoardId,
    wired: WiredPart,
    /// The chip's pins.
    pub pins: Pins,
    /// What followed the last turn.
    next: Next,
    /// What it did that no board may do, the first time.
    breach: Option<String>,
}

impl<R: UnderTest> Firmware<R> {
    /// A board at reset; `last_stop`: how the firmware had stopped before, if it did.
    #[must_use]
    pub fn after_stop(id: BoardId, wired: WiredPart, last_stop: Option<Stop>) -> Self {
        Self {
            main_loop: MainLoop::new(id, wired, VERSION, last_stop),
            id,
            wired,
            pins: Pins::new(),
            next: Next::Poll,
            breach: None,
        }
    }

    /// The main loop.
    #[must_use]
    pub fn main_loop(&self) -> &MainLoop<R> {
        &self.main_loop
    }

    /// What stands on the screen, or will as soon as it is painted.
    #[must_use]
    pub fn view(&self, now: Instant) -> View {
        self.main_loop.view(now)
    }

    /// Whether the display on `bus` is lit and shows what the panel has to show at `now`.
    #[must_use]
    pub fn shows_its_view(&self, now: Instant, bus: &Bus) -> bool {
        bus.display().is_some_and(|display| {
            display.is_on() && Frame::from_bytes(*display.ram()) == frame_of(&self.view(now))
        })
    }

    /// An edge of a button, stamped `at`.
    pub fn button(&mut self, at: Instant, button: Button, level: Level) {
        self.come_in(at, Incoming::Button((button, level)));
    }

    fn come_in(&mut self, at: Instant, incoming: Incoming) {
        let place = self.pins.incoming.partition_point(|(at_us, _)| *at_us <= at.as_us());
        self.pins.incoming.insert(place, (at.as_us(), incoming));
    }

    fn breach(&mut self, what: &str) {
        self.breach.get_or_insert_with(|| what.into());
    }

    /// What no board may do: notes it.
    fn watch(&mut self, now: Instant, was_answering: bool, next: Next) {
        let is_answering = self.main_loop.board().is_answering(now);
        if was_answering && is_answering && next == Next::Step {
            self.breach("a step of the panel before the answer to a warning");
        }
        if is_answering && (self.pins.lamp || self.pins.buzzer) {
            self.breach("lamp or buzzer on while a warning is answered");
        }
        let unfed_us = now.as_us().saturating_sub(self.pins.fed_us);
        let unfed_us = unfed_us.max(self.pins.longest_unfed_us);
        if unfed_us > WATCHDOG_US {
            let ms = unfed_us / 1_000;
            self.breach(&format!("the watchdog was not fed for {ms} ms"));
        }
    }
}

impl<R: UnderTest> Device for Firmware<R> {
    type Rules = R;

    const NAME: &'static str = "firmware";
    const POLLS_MAX: u32 = 1_000_000;
    const HAS_PANEL: bool = true;

    fn new(id: BoardId, wired: WiredPart, _: Settings) -> Self {
        Self::after_stop(id, wired, None)
    }

    /// The supply is taken away, and this one boots and comes to rest.
    fn take_over(core: Bench<Core<R>>) -> Bench<Self> {
        let (id, wired) = (core.board().id(), core.device.wired());
        let mut bus = core.bus;
        bus.power_cycle(Tear::New);
        let mut next: Bench<Self> = Bench::wired(bus, id, wired, Settings::default());
        next.rest(&mut |_| {});
        let past = next.board().past().copied();
        next.found(past.as_ref());
        next.acknowledged = core.acknowledged;
        next.figures = CommandFigures::of(next.board().ledger());
        next
    }

    fn powered_again(&self) -> Self {
        Self::after_stop(self.id, self.wired, None)
    }

    fn watchdog(&self) -> Self {
        let mut next = Self::after_stop(self.id, self.wired, None);
        next.main_loop.was_reset_by_watchdog();
        next
    }

    fn board(&self) -> &Board<R> {
        self.main_loop.board()
    }

    fn edge(&mut self, at: Instant, input: Input) {
        if let Input::NeedleLevel(mv) = input {
            // No edge: the voltage stands at the pin, and the loop reads it.
            self.pins.level_mv = Some(mv);
            return;
        }
        self.come_in(at, Incoming::Machine(input));
    }

    fn turn(&mut self, now_us: &mut u64, bus: &mut Bus, origin_ns: u64) -> Polled {
        bus.advance_to(origin_ns + *now_us * 1_000);
        self.pins.interrupt(*now_us);
        let was_answering = self.board().is_answering(Instant::from_us(*now_us));
        let bytes_before = bus.tally().bytes;
        let mut chip = Chip::new(bus, &mut self.pins, origin_ns, *now_us);
        let turned = self.main_loop.turn(&mut chip);
        let (wakes_us, mut then_us) = (chip.wakes_us(), chip.now_us());
        if turned.next == Next::Step && bus.tally().bytes == bytes_before {
            // A step without the bus: painting, which takes the processor.
            then_us += PAINT_STEP_US;
        }
        *now_us = then_us;
        let now = Instant::from_us(then_us);
        self.next = turned.next;
        self.watch(now, was_answering, turned.next);
        Polled { effect: turned.effect, deadline: wakes_us.map_or(now, Instant::from_us).max(now) }
    }

    fn idle_us(&self, now: Instant, _: Polled) -> u64 {
        self.board().deadline().since_us(now)
    }

    fn next(&self, now: Instant, polled: Polled) -> Next {
        if polled.deadline <= now { Next::Poll } else { Next::Sleep(polled.deadline) }
    }

    fn step(&mut self, _: &mut Bus) -> u64 {
        0
    }

    fn fit_screen(&mut self, _: u64) {}

    fn has_screen(&self) -> bool {
        true
    }

    fn round_us(&self) -> Option<u64> {
        None
    }

    fn narrowed(command: Command) -> Command {
        person::narrowed(command)
    }

    fn request(bench: &mut Bench<Self>, command: Command) -> Result<(), Refusal> {
        person::request(bench, &command)
    }

    fn challenge(bench: &mut Bench<Self>, allows: Authorised) -> Result<EightDigits, Refusal> {
        person::challenge(bench, allows)
    }

    fn conduct(&self) -> Result<(), String> {
        self.breach.clone().map_or(Ok(()), Err)
    }
}
