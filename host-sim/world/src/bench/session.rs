//! A bench that is driven by events with their times: for `sew`, `replay` and the live panel.
//!
//! An event has a time of the session. Work that falls due before an event is done only when
//! that event is known, so that a cut can fall into the middle of that work. A transaction
//! takes bus time. Edges that come meanwhile keep their own stamps, and are handed to the board
//! before its next turn, as the capture queue does on the board.
//!
//! Events do not say what they truly mean: whoever makes them keeps the truth.
//!
//! A board that asks to be woken at once, for ever, would never let time pass. After
//! [`Device::POLLS_MAX`] turns in a row without one that lets it sleep, it gets no more turns until
//! its next reset, and [`Session::never_sleeps`] says so.
//!
//! Invariants: turns and inputs come in the order of time, except edges captured during a
//! transaction; a cut destroys the board and keeps the part; time always passes.

use shaftbook_core::board::{Board, Command, Effect, Fitting};
use shaftbook_core::counters::Counters;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::service::Refusal;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_core::turn::Next;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_panel::button::Button;

use super::core::Core;
use super::device::Device;
use super::firmware::Firmware;
use super::under_test::UnderTest;
use super::{Bench, Meant};
use crate::bus::{Bus, DisplayFailure, Tear};

/// Simulated time before the session's, µs: the board is fitted in it.
const BENCH_US: u64 = 60_000_000;
/// A fitting is durable within this, or never, µs.
const FITTED_US: u64 = 50_000_000;

/// What a power-up ended with, noted at its cut.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SessionEnd {
    /// Lifetime counters the board had counted; `None` if it did not know its past.
    pub lifetime: Option<Counters>,
    /// Lifetime counters that were durable.
    pub saved: Counters,
    /// Counted since power-up.
    pub session: Counters,
    /// Its running time in the signals' own unit, µs.
    pub running_us: u64,
}

/// A board on the bench, driven by events. Cloning it forks the world at this moment.
#[derive(Clone, Debug)]
pub struct Session<D: Device = Core> {
    bench: Bench<D>,
    id: BoardId,
    wired: WiredPart,
    fallback: Settings,
    is_powered: bool,
    /// Time of the bus at the board's reset, µs.
    origin_us: u64,
    /// When the board is to be turned next, µs since its reset: never before the bench's
    /// time, and never without power.
    due_us: u64,
    /// Turns in a row after which the board was to be turned again at once, and which took no
    /// time on the bus.
    turns_at_once: u32,
}

/// The part of a bus as the board's driver is made for it: at 0x50, of its kind and shape.
/// `None` for a part that no driver can address.
#[must_use]
pub fn wired_to(bus: &Bus) -> Option<WiredPart> {
    WiredPart::new(bus.part().kind(), 0x50, bus.part().geometry())
}

impl<D: Device> Session<D> {
    /// A board that is not powered yet, on `bus` at time 0. `fallback` is what it
    /// counts with while its part gives no settings, where that can be chosen. `None` for
    /// a part that the board's driver cannot address.
    #[must_use]
    pub fn new(bus: Bus, id: BoardId, fallback: Settings) -> Option<Self> {
        let wired = wired_to(&bus)?;
        let origin_us = bus.now_ns() / 1_000;
        Some(Self {
            bench: Bench::wired(bus, id, wired, fallback),
            id,
            wired,
            fallback,
            is_powered: false,
            origin_us,
            due_us: u64::MAX,
            turns_at_once: 0,
        })
    }

    /// The same, on a part on which the bare core fitted it before the session, as on the
    /// engineer's bench; `day` is what its clock said (see [`Board::set_day`]). Gives the
    /// lifetime counters that it has then, too.
    ///
    /// # Errors
    /// What the board refused the fitting with; [`Refusal::NotReady`] also when it is
    /// not durable in 50 s, or the driver cannot address the part.
    pub fn fitted(
        bus: Bus,
        id: BoardId,
        fitting: Fitting,
        day: Option<u16>,
    ) -> Result<(Self, Counters), Refusal> {
        let fallback = fitting.settings;
        let core: Session<Core<D::Rules>> =
            Session::new(bus, id, fallback).ok_or(Refusal::NotReady)?;
        let (core, counters) = core.fit(fitting, day)?;
        let session = Self::new(core.bench.bus, id, fallback).ok_or(Refusal::NotReady)?;
        Ok((session, counters))
    }

    /// The bus with its part.
    #[must_use]
    pub fn bus(&self) -> &Bus {
        &self.bench.bus
    }

    /// The bus, to give it faults.
    pub fn bus_mut(&mut self) -> &mut Bus {
        &mut self.bench.bus
    }

    /// The device; `None` while it has no power.
    #[must_use]
    pub fn device(&self) -> Option<&D> {
        self.is_powered.then_some(&self.bench.device)
    }

    /// The board; `None` while it has no power.
    #[must_use]
    pub fn board(&self) -> Option<&Board<D::Rules>> {
        self.device().map(Device::board)
    }

    /// The board's lifetime counters at `at_us` of the session's time; `None` without
    /// power or until it knows its past.
    #[must_use]
    pub fn lifetime(&self, at_us: u64) -> Option<Counters> {
        self.board()?.lifetime(self.board_time(at_us))
    }

    /// The board's own time at `at_us` of the session's time: since its reset.
    #[must_use]
    pub fn board_time(&self, at_us: u64) -> Instant {
        Instant::from_us(self.since_reset_us(at_us + BENCH_US))
    }

    #[inline]
    fn since_reset_us(&self, bench_us: u64) -> u64 {
        bench_us.saturating_sub(self.origin_us)
    }

    /// Gives the board power at `at_us` of the session's time.
    pub fn power_up(&mut self, at_us: u64) {
        self.power_up_at(at_us + BENCH_US);
    }

    fn power_up_at(&mut self, bench_us: u64) {
        if self.is_powered {
            return;
        }
        self.bench.bus.advance_to(bench_us * 1_000);
        self.start(D::new(self.id, self.wired, self.fallback));
    }

    /// `device`, which has just been reset, goes on with the bus.
    fn start(&mut self, device: D) {
        let next = self.bench.started_again(self.bench.bus.clone(), device);
        self.bench = next;
        self.origin_us = self.bench.origin_ns / 1_000;
        self.is_powered = true;
        self.due_us = 0;
        self.turns_at_once = 0;
    }

    /// Hands the board an input at `at_us` of the session's time; nothing happens
    /// without power. Effects of work done since the last event go to `seen`.
    #[inline]
    pub fn input(&mut self, at_us: u64, input: Input, seen: impl FnMut(Effect)) {
        let at_us = self.since_reset_us(at_us + BENCH_US);
        self.work_until(at_us, seen);
        if self.is_powered {
            self.bench.feed(Instant::from_us(at_us), input, Meant::Nothing);
            // A turn in which the board would find nothing to do is left out.
            let turn_at = Instant::from_us(at_us.max(self.bench.now_us));
            let is_drawing = self.is_drawing();
            let rests_until = self.bench.device.rests_until(turn_at).filter(|_| !is_drawing);
            self.due_us = rests_until.unwrap_or(turn_at).as_us();
        }
    }

    /// Lets time pass up to `at_us` of the session's time.
    pub fn run_until(&mut self, at_us: u64, seen: impl FnMut(Effect)) {
        self.work_until(self.since_reset_us(at_us + BENCH_US), seen);
    }

    /// Time of the bus, µs of the session's time, rounded up: later than what the board was
    /// last turned for if a transaction took it further; it stands still from a cut on.
    #[must_use]
    pub fn bus_us(&self) -> u64 {
        self.bench.bus.now_ns().div_ceil(1_000).saturating_sub(BENCH_US)
    }

    /// Cuts the supply at `at_us` of the session's time, in the middle of whatever the
    /// board is doing, and says what is lost with its memory. A page whose program
    /// cycle had begun is left as `tear` says.
    pub fn cut(&mut self, at_us: u64, tear: Tear, seen: impl FnMut(Effect)) -> SessionEnd {
        self.cut_at(at_us + BENCH_US, tear, seen)
    }

    /// The watchdog resets the board at `at_us` of the session's time, in the middle of whatever
    /// it is doing; the supply stays, and a program cycle that had begun ends well. Says what is
    /// lost with its memory. Nothing happens without power.
    pub fn reset(&mut self, at_us: u64, seen: impl FnMut(Effect)) -> SessionEnd {
        if !self.is_powered {
            return SessionEnd::default();
        }
        let ended = self.cut_at(at_us + BENCH_US, Tear::New, seen);
        let device = self.bench.device.watchdog();
        self.start(device);
        ended
    }

    /// The board has asked to be turned at once [`Device::POLLS_MAX`] times in a row, while
    /// nothing took time: it hangs, and nothing of it goes on until its next reset.
    #[inline]
    #[must_use]
    pub fn never_sleeps(&self) -> bool {
        self.turns_at_once >= D::POLLS_MAX
    }

    fn cut_at(&mut self, bench_us: u64, tear: Tear, seen: impl FnMut(Effect)) -> SessionEnd {
        self.bench.bus.cut_at_ns(bench_us * 1_000);
        let at_us = self.since_reset_us(bench_us);
        self.work_until(at_us, seen);
        self.bench.bus.advance_to(bench_us * 1_000);
        self.bench.bus.power_cycle(tear);
        self.due_us = u64::MAX;
        if !std::mem::take(&mut self.is_powered) {
            return SessionEnd::default();
        }
        let (board, now) = (self.bench.board(), Instant::from_us(at_us));
        SessionEnd {
            lifetime: board.lifetime(now),
            saved: *board.saved(),
            session: board.session(now),
            running_us: board.session_running_us(),
        }
    }

    /// Turns the board for all work that falls due before `at_us` since its reset.
    #[inline]
    fn work_until(&mut self, at_us: u64, seen: impl FnMut(Effect)) {
        if self.due_us < at_us {
            self.turns_until(at_us, seen);
        }
    }

    #[inline(never)]
    fn turns_until(&mut self, at_us: u64, mut seen: impl FnMut(Effect)) {
        while self.due_us < at_us && !self.never_sleeps() {
            self.turn(&mut seen);
        }
    }

    /// One turn of the board, at the time that it is due.
    fn turn(&mut self, seen: &mut impl FnMut(Effect)) {
        let bench = &mut self.bench;
        let begun_us = self.due_us;
        bench.now_us = begun_us;
        let polled = bench.device.turn(&mut bench.now_us, &mut bench.bus, bench.origin_ns);
        let takes_time = bench.now_us > begun_us;
        let lets_sleep = polled.effect.is_none() && polled.deadline.as_us() > begun_us;
        self.turns_at_once = if takes_time || lets_sleep { 0 } else { self.turns_at_once + 1 };
        let due_us = match polled.effect {
            Some(effect) => {
                seen(effect);
                begun_us
            }
            None if self.is_drawing() && self.bench.next(polled) == Next::Step => {
                self.bench.step();
                begun_us + 1
            }
            // A turn of the main loop takes time: at least 1 µs.
            None => polled.deadline.as_us().max(begun_us + 1),
        };
        self.due_us = due_us.max(self.bench.now_us);
    }

    /// Whether it is the bench that steps a display.
    #[inline]
    fn is_drawing(&self) -> bool {
        !D::HAS_PANEL && self.bench.has_screen()
    }
}

impl<R: UnderTest> Session<Core<R>> {
    /// Somebody is at the board at `at_us` of the session's time: `act` gets the board, and its
    /// own time. Nothing happens without power.
    pub fn at_board<T>(
        &mut self,
        at_us: u64,
        act: impl FnOnce(&mut Board<R>, Instant) -> T,
        seen: impl FnMut(Effect),
    ) -> Option<T> {
        let at_us = self.since_reset_us(at_us + BENCH_US);
        self.work_until(at_us, seen);
        if !self.is_powered {
            return None;
        }
        // A transaction under way ends first.
        let now_us = at_us.max(self.bench.now_us);
        self.due_us = now_us;
        Some(act(self.bench.device.board_mut(), Instant::from_us(now_us)))
    }

    /// Puts a display on the bus at `at_us` of the session's time, which is redrawn without pause
    /// until [`Session::rest_screen`] or the next reset. `fails` is after how many bytes it fails,
    /// and how, if it does.
    pub fn fit_screen(
        &mut self,
        at_us: u64,
        seed: u64,
        fails: Option<(u64, DisplayFailure)>,
        seen: impl FnMut(Effect),
    ) {
        let at_us = self.since_reset_us(at_us + BENCH_US);
        self.work_until(at_us, seen);
        self.bench.fit_screen(seed);
        if let Some(((bytes, how), display)) = fails.zip(self.bench.bus.display_mut()) {
            display.fail_after(bytes, how);
        }
        if self.is_powered {
            self.due_us = at_us.max(self.bench.now_us);
        }
    }

    /// From now on the display on the bus, if there is one, is left alone.
    pub fn rest_screen(&mut self) {
        self.bench.device.rest_screen();
    }

    /// Powers up, fits, waits until it is durable, cuts.
    fn fit(mut self, fitting: Fitting, day: Option<u16>) -> Result<(Self, Counters), Refusal> {
        let mut begun_us = 1_000_000;
        self.power_up_at(0);
        let fit = Command::Fit { fitting, reply: None };
        loop {
            self.work_until(begun_us, |_| {});
            let board = self.bench.device.board_mut();
            board.set_day(day);
            match board.request(Instant::from_us(begun_us), fit.clone()) {
                Ok(()) => break,
                // A blank part is read to its end first: the more slots, the longer.
                Err(Refusal::NotReady) if begun_us < FITTED_US => begun_us += 100_000,
                Err(refusal) => return Err(refusal),
            }
        }
        self.due_us = begun_us.max(self.bench.now_us);
        let mut fitted = None;
        let mut end_us = begun_us;
        while fitted.is_none() && end_us < FITTED_US {
            end_us += 100_000;
            self.work_until(end_us, |effect| {
                if let Effect::LedgerDurable(counters) = effect {
                    fitted = Some(counters);
                }
            });
        }
        let ended = self.cut_at(end_us + 1_000_000, Tear::New, |_| {});
        fitted.map(|_| (self, ended.saved)).ok_or(Refusal::NotReady)
    }
}

impl<R: UnderTest> Session<Firmware<R>> {
    /// A button goes to `level` at `at_us` of the session's time; nothing happens without
    /// power.
    pub fn button(&mut self, at_us: u64, button: Button, level: Level, seen: impl FnMut(Effect)) {
        let at_us = self.since_reset_us(at_us + BENCH_US);
        self.work_until(at_us, seen);
        if self.is_powered {
            self.bench.device.button(Instant::from_us(at_us), button, level);
            self.due_us = at_us.max(self.bench.now_us);
        }
    }
}

#[cfg(test)]
mod tests;
