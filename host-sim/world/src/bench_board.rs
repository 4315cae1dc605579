//! A board on the bench: the board's state machine, its memory driver and the
//! simulated bus with its part, driven by events.
//!
//! Purpose: what the firmware's main loop does on the board, this does here, for
//! `sew`, `replay` and the proofs alike.
//!
//! How time is kept: a transaction takes bus time, and edges that come meanwhile are
//! captured with their own stamps and handed to the board before it is polled again,
//! as the capture queue does on the board. Work that an event asks for is done when
//! the next event is known, so that a cut can fall into the middle of it.
//!
//! Invariants: polls and inputs come in the order of time, but for edges captured
//! during a transaction; a cut destroys the board and keeps the part.

use shaftbook_core::board::{Board, Command, Effect, Fitting};
use shaftbook_core::counters::Counters;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Input;
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_core::rules::{Rules, Sound};
use shaftbook_core::service::Refusal;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::{Eeprom, Fram, WiredPart};

use crate::bus::{Bus, Kind, Tear};

/// Simulated time before the first event, µs: the board is fitted in it.
const BENCH_US: u64 = 60_000_000;

/// The part behind the board's own driver, with the bus clock brought up to the
/// board's before a transaction.
struct Wired<'a> {
    bus: &'a mut Bus,
    part: WiredPart,
    now_ns: u64,
}

impl Wired<'_> {
    /// Lets `call` use the driver that the part needs.
    fn with<T>(&mut self, call: impl FnOnce(&mut dyn Medium) -> T) -> T {
        self.bus.advance_to(self.now_ns);
        match self.bus.part().kind() {
            Kind::Eeprom => call(&mut Eeprom::new(&mut *self.bus, self.part)),
            Kind::Fram => call(&mut Fram::new(&mut *self.bus, self.part)),
        }
    }
}

impl Medium for Wired<'_> {
    #[inline]
    fn geometry(&self) -> Geometry {
        self.part.geometry()
    }

    #[inline]
    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        self.with(|part| part.read(address, bytes))
    }

    #[inline]
    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        self.with(|part| part.begin_program(address, bytes))
    }

    #[inline]
    fn is_ready(&mut self) -> Result<bool, MediumError> {
        self.with(|part| part.is_ready())
    }
}

/// What a session ended with, noted at its cut.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ended {
    /// Lifetime counters the board had counted; `None` if it did not know its past.
    pub lifetime: Option<Counters>,
    /// Lifetime counters that were durable.
    pub saved: Counters,
    /// Counted since power-up.
    pub session: Counters,
}

/// A board on the bench. Cloning it forks the world at this moment.
#[derive(Clone, Debug)]
pub struct Bench<R: Rules = Sound> {
    bus: Bus,
    part: WiredPart,
    id: BoardId,
    fallback: Settings,
    board: Option<Board<R>>,
    /// Bench time of the board's reset, µs.
    reset_us: u64,
    /// Bench time up to which everything is done, µs.
    now_us: u64,
    /// When the board is to be polled next, bench time, µs.
    poll_us: u64,
    /// When the transaction under way ends, bench time, µs.
    free_us: u64,
}

impl<R: Rules + Clone> Bench<R> {
    /// A board that is not powered yet, on `bus` at time 0. `fallback` is what it
    /// counts with while its part gives no settings. `None` for a part that the
    /// board's driver cannot address.
    #[must_use]
    pub fn new(bus: Bus, id: BoardId, fallback: Settings) -> Option<Self> {
        let part = WiredPart::new(0x50, bus.part().geometry())?;
        Some(Self {
            bus,
            part,
            id,
            fallback,
            board: None,
            reset_us: 0,
            now_us: 0,
            poll_us: u64::MAX,
            free_us: 0,
        })
    }

    /// The bus with its part.
    #[must_use]
    pub fn bus(&self) -> &Bus {
        &self.bus
    }

    /// The bus, to give it faults.
    pub fn bus_mut(&mut self) -> &mut Bus {
        &mut self.bus
    }

    /// Lets something else on the board use the bus at `at_us` of the session's time:
    /// its display.
    pub fn with_bus<T>(&mut self, at_us: u64, call: impl FnOnce(&mut Bus) -> T) -> T {
        self.bus.advance_to((at_us + BENCH_US) * 1_000);
        let answer = call(&mut self.bus);
        self.free_us = self.free_us.max(self.bus.now_ns().div_ceil(1_000));
        answer
    }

    /// The board; `None` while it has no power.
    #[must_use]
    pub fn board(&self) -> Option<&Board<R>> {
        self.board.as_ref()
    }

    /// The board's lifetime counters at `at_us` of the session's time; `None` without
    /// power or until it knows its past.
    #[must_use]
    pub fn lifetime(&self, at_us: u64) -> Option<Counters> {
        let since_us = (at_us + BENCH_US).saturating_sub(self.reset_us);
        self.board.as_ref()?.lifetime(Instant::from_us(since_us))
    }

    /// The board's own time at `at_us` of the session's time: since its reset.
    #[must_use]
    pub fn board_time(&self, at_us: u64) -> Instant {
        Instant::from_us((at_us + BENCH_US).saturating_sub(self.reset_us))
    }

    /// Lets `ask` ask something of the board at `at_us` of the session's time, when all
    /// work up to then is done; `None` without power.
    pub fn ask<T>(
        &mut self,
        at_us: u64,
        ask: impl FnOnce(&mut Board<R>, Instant) -> T,
        seen: impl FnMut(Effect),
    ) -> Option<T> {
        self.run_until(at_us, seen);
        let now = self.board_time(at_us);
        let answer = ask(self.board.as_mut()?, now);
        self.poll_us = self.now_us;
        Some(answer)
    }

    /// Gives the board power at `at_us` of the session's time.
    pub fn power_up(&mut self, at_us: u64) {
        self.power_up_at(at_us + BENCH_US);
    }

    /// Hands the board an input at `at_us` of the session's time; nothing happens
    /// without power. Effects of work done since the last event go to `seen`.
    #[inline]
    pub fn input(&mut self, at_us: u64, input: Input, seen: impl FnMut(Effect)) {
        let at_us = at_us + BENCH_US;
        self.work_until(at_us, seen);
        self.now_us = at_us;
        if let Some(board) = &mut self.board {
            board.input(Instant::from_us(at_us - self.reset_us), input);
            self.poll_us = at_us;
        }
    }

    /// Lets time pass up to `at_us` of the session's time.
    pub fn run_until(&mut self, at_us: u64, seen: impl FnMut(Effect)) {
        let at_us = at_us + BENCH_US;
        self.work_until(at_us, seen);
        self.now_us = self.now_us.max(at_us);
    }

    /// Cuts the supply at `at_us` of the session's time, in the middle of whatever the
    /// board is doing, and says what is lost with its memory. A page whose program
    /// cycle had begun is left as `tear` says.
    pub fn cut(&mut self, at_us: u64, tear: Tear, seen: impl FnMut(Effect)) -> Ended {
        self.cut_at(at_us + BENCH_US, tear, seen)
    }

    /// Fits a board whose part is blank, before the session: power up, fit, wait until
    /// it is durable, cut. Gives the lifetime counters it has then.
    ///
    /// # Errors
    /// What the board refused the fitting with; [`Refusal::NotReady`] also when it is
    /// not durable in 50 s.
    pub fn fit(&mut self, fitting: Fitting) -> Result<Counters, Refusal> {
        self.fit_on(fitting, None)
    }

    /// [`Bench::fit`], of a board whose clock says that it is `day` (see
    /// [`Board::set_day`]).
    ///
    /// # Errors
    /// As [`Bench::fit`].
    pub fn fit_on(&mut self, fitting: Fitting, day: Option<u16>) -> Result<Counters, Refusal> {
        self.power_up_at(0);
        self.work_until(1_000_000, |_| {});
        self.now_us = 1_000_000;
        let board = self.board.as_mut().ok_or(Refusal::NotReady)?;
        board.set_day(day);
        board.request(Instant::from_us(1_000_000), Command::Fit { fitting, reply: None })?;
        self.poll_us = 1_000_000;
        let mut fitted = None;
        let mut end_us = 1_000_000;
        while fitted.is_none() && end_us < 50_000_000 {
            end_us += 100_000;
            self.work_until(end_us, |effect| {
                if let Effect::LedgerDurable(counters) = effect {
                    fitted = Some(counters);
                }
            });
            self.now_us = end_us;
        }
        let ended = self.cut_at(end_us + 1_000_000, Tear::New, |_| {});
        fitted.map(|_| ended.saved).ok_or(Refusal::NotReady)
    }

    fn power_up_at(&mut self, at_us: u64) {
        if self.board.is_none() {
            self.board = Some(Board::new(self.id, self.fallback));
            self.reset_us = at_us;
            self.now_us = at_us;
            self.poll_us = at_us;
            self.free_us = at_us;
            self.bus.advance_to(at_us * 1_000);
        }
    }

    fn cut_at(&mut self, at_us: u64, tear: Tear, seen: impl FnMut(Effect)) -> Ended {
        self.bus.cut_at_ns(at_us * 1_000);
        self.work_until(at_us, seen);
        self.now_us = at_us;
        self.bus.advance_to(at_us * 1_000);
        self.bus.power_cycle(tear);
        self.poll_us = u64::MAX;
        let Some(board) = self.board.take() else { return Ended::default() };
        let now = Instant::from_us(at_us - self.reset_us);
        Ended { lifetime: board.lifetime(now), saved: *board.saved(), session: board.session(now) }
    }

    /// Polls the board for all work that falls due before `at_us`.
    #[inline]
    fn work_until(&mut self, at_us: u64, mut seen: impl FnMut(Effect)) {
        while self.poll_us.max(self.free_us) < at_us {
            let now_us = self.poll_us.max(self.free_us);
            let Some(board) = &mut self.board else { return };
            let now = Instant::from_us(now_us - self.reset_us);
            let mut wired = Wired { bus: &mut self.bus, part: self.part, now_ns: now_us * 1_000 };
            let polled = board.poll(now, &mut wired);
            let bus_ns = self.bus.now_ns();
            if bus_ns > self.free_us * 1_000 {
                self.free_us = bus_ns.div_ceil(1_000);
            }
            self.poll_us = match polled.effect {
                Some(effect) => {
                    seen(effect);
                    now_us
                }
                // A turn of the main loop takes time: at least 1 µs.
                None => polled.deadline.as_us().saturating_add(self.reset_us).max(now_us + 1),
            };
        }
    }
}

#[cfg(test)]
mod tests;
