//! The bare core on its memory driver: the fast device, for searching.
//!
//! It has no main loop. The bus time that a main loop would take for its panel is put in at its
//! worst: a display that is redrawn without pause ([`BenchScreen`]), if one is fitted.

use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::{Board, Command, Polled};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Input;
use shaftbook_core::rules::Sound;
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_core::turn::{self, Next};
use shaftbook_drivers::memory::WiredPart;

use super::Device;
use crate::bench::Bench;
use crate::bench::screen::BenchScreen;
use crate::bench::under_test::UnderTest;
use crate::bus::Bus;

/// The bare core.
#[derive(Clone, Debug)]
pub struct Core<R: UnderTest = Sound> {
    board: Board<R>,
    /// What the driver takes the part for.
    wired: WiredPart,
    screen: Option<BenchScreen>,
}

impl<R: UnderTest> Core<R> {
    /// The core's state, to ask something of it that no panel does.
    pub fn board_mut(&mut self) -> &mut Board<R> {
        &mut self.board
    }

    /// The display is left alone from now on.
    pub fn rest_screen(&mut self) {
        self.screen = None;
    }

    /// What its driver takes the part for.
    #[must_use]
    pub fn wired(&self) -> WiredPart {
        self.wired
    }

    fn again(&self, board: Board<R>) -> Self {
        let screen = self.screen.as_ref().map(BenchScreen::powered_again);
        Self { board, wired: self.wired, screen }
    }
}

impl<R: UnderTest> Device for Core<R> {
    type Rules = R;

    const NAME: &'static str = "core";
    const POLLS_MAX: u32 = 40_000;
    const HAS_PANEL: bool = false;

    fn new(id: BoardId, wired: WiredPart, fallback: Settings) -> Self {
        Self { board: Board::new(id, fallback), wired, screen: None }
    }

    fn take_over(core: Bench<Self>) -> Bench<Self> {
        core
    }

    fn powered_again(&self) -> Self {
        self.again(R::power_up(self.board.id(), &self.board))
    }

    fn watchdog(&self) -> Self {
        self.again(R::watchdog(self.board.id(), &self.board))
    }

    #[inline]
    fn board(&self) -> &Board<R> {
        &self.board
    }

    #[inline]
    fn edge(&mut self, at: Instant, input: Input) {
        R::input(&mut self.board, at, input);
    }

    #[inline]
    fn turn(&mut self, now_us: &mut u64, bus: &mut Bus, origin_ns: u64) -> Polled {
        bus.advance_to(origin_ns + *now_us * 1_000);
        let polled = R::poll(&mut self.board, Instant::from_us(*now_us), bus, self.wired);
        *now_us = (*now_us).max((bus.now_ns() - origin_ns).div_ceil(1_000));
        polled
    }

    #[inline]
    fn rests_until(&self, now: Instant) -> Option<Instant> {
        R::is_idle(&self.board, now).then(|| self.board.deadline())
    }

    fn idle_us(&self, now: Instant, polled: Polled) -> u64 {
        polled.deadline.since_us(now)
    }

    fn next(&self, now: Instant, polled: Polled) -> Next {
        turn::next(&self.board, now, polled, self.has_screen())
    }

    fn step(&mut self, bus: &mut Bus) -> u64 {
        self.screen.as_mut().map_or(0, |screen| screen.step::<R>(bus))
    }

    fn fit_screen(&mut self, seed: u64) {
        self.screen = Some(BenchScreen::new(seed));
    }

    fn has_screen(&self) -> bool {
        self.screen.is_some()
    }

    fn round_us(&self) -> Option<u64> {
        self.screen.as_ref().and_then(BenchScreen::round_us)
    }

    fn request(bench: &mut Bench<Self>, command: Command) -> Result<(), Refusal> {
        let now = bench.now();
        bench.expect(&command, bench.now_us);
        let answer = bench.device.board.request(now, command);
        if answer.is_err() {
            bench.pending = None;
        }
        answer
    }

    fn challenge(bench: &mut Bench<Self>, allows: Authorised) -> Result<EightDigits, Refusal> {
        let now = bench.now();
        bench.device.board.challenge(now, allows)
    }
}
