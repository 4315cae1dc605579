//! The rig of the proofs: a board on its real driver and the simulated bus, one poll
//! at a time, with what truly happened kept beside it.
//!
//! Unlike the bench that `sew` uses, the rig shows every single poll, so that a
//! proof can fork the world at any bus transaction and cut the power there.
//!
//! - [`figures`]: what a command changes wholly or not at all
//! - [`mod@fitting`]: the board of the proofs: its identity, key and profile
//! - `machine`: what the machine does: stitches, jumps, trims, breaks
//! - `orders`: what a person asks of the board
//! - [`power`]: cuts, resets and recoveries
//! - `turns`: the main loop with a display on the bus
//! - this file: one poll, and time that passes
//!
//! Invariants: the truth is what was fed in, counted here and not by the core; a
//! recovery starts from the bytes of the part alone.

pub mod figures;
pub mod fitting;
mod machine;
mod orders;
pub mod power;
mod turns;

use shaftbook_core::board::{Board, Command, Effect, Polled};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Input;
use shaftbook_core::journal::Event;
use shaftbook_core::medium::Geometry;
use shaftbook_core::settings::Settings;
use shaftbook_core::store::serial::Lap;
use shaftbook_core::time::Instant;
use shaftbook_core::turn::Next;
use shaftbook_drivers::memory::WiredPart;

use super::screen::Screen;
use super::under_test::UnderTest;
use shaftbook_world::bus::{Bus, Part, Timing};

/// Polls after which a board that has not come to rest counts as hanging.
const POLLS_MAX: u32 = 40_000;

pub use figures::Figures;
pub use fitting::{BELT, BOARD, KEY, KNIFE, OPERATORS, any_needle, fitting};
pub use power::Recovered;

/// A board under proof.
#[derive(Clone, Debug)]
pub struct Rig<R: UnderTest> {
    /// The bus and the part.
    pub bus: Bus,
    /// The board.
    pub board: Board<R>,
    /// Time since the board's reset, µs.
    pub now_us: u64,
    /// Bus time at the board's reset, ns.
    origin_ns: u64,
    /// Lifetime truth at the last power-up.
    truth_before: Counters,
    /// What was fed in since.
    truth_session: Counters,
    truth_running_us: u64,
    last_pulse_us: Option<u64>,
    /// The most that was acknowledged as durable.
    pub acknowledged: Counters,
    /// The figures as last acknowledged.
    pub figures: Figures,
    /// What they will be when the command under way is done.
    pub pending: Option<Figures>,
    /// Effects seen since the last power-up.
    pub effects: Vec<Effect>,
    /// A display on the bus that is redrawn without pause, if there is one.
    screen: Option<Screen>,
    /// The needle over the plate, and whether the needle bar is disengaged.
    levels: (Option<Needle>, bool),
    /// Something delayed the board since its power-up: a command may be done late.
    pub may_be_late: bool,
    /// What the board's driver takes the part for.
    wired: WiredPart,
}

impl<R: UnderTest> Rig<R> {
    /// A board on a part, just powered.
    #[must_use]
    pub fn new(part: Part, seed: u64) -> Self {
        Self::on(Bus::new(part, Timing::FAST_MODE, seed), BOARD)
    }

    /// A board on a bus, just powered, at the bus's time.
    #[must_use]
    pub fn on(bus: Bus, id: BoardId) -> Self {
        Self::with(bus, Board::new(id, Settings::default()))
    }

    /// `board`, as it is just after a reset, on a bus, at the bus's time.
    fn with(bus: Bus, board: Board<R>) -> Self {
        let origin_ns = bus.now_ns();
        let figures = Figures::of(board.ledger());
        Self {
            bus,
            board,
            now_us: 0,
            origin_ns,
            truth_before: Counters::default(),
            truth_session: Counters { power_ups: 1, ..Counters::default() },
            truth_running_us: 0,
            last_pulse_us: None,
            acknowledged: Counters::default(),
            figures,
            pending: None,
            effects: Vec::new(),
            screen: None,
            levels: (None, false),
            may_be_late: false,
            wired: WiredPart::REFERENCE,
        }
    }

    /// The same board, its driver made for a part of another shape.
    #[must_use]
    pub fn wired(mut self, wired: WiredPart) -> Self {
        self.wired = wired;
        self
    }

    /// A board fitted on a blank reference part whose ring starts at `lap`.
    ///
    /// # Panics
    /// As [`Rig::fit`].
    #[must_use]
    pub fn fitted(seed: u64, lap: Lap) -> Self {
        Self::fitted_as(seed, lap, BOARD)
    }

    /// The same for the board `id`.
    ///
    /// # Panics
    /// As [`Rig::fit`].
    #[must_use]
    pub fn fitted_as(seed: u64, lap: Lap, id: BoardId) -> Self {
        let part = Part::blank(Geometry::REFERENCE).expect("the reference part is supported");
        let mut rig = Self::on(Bus::new(part, Timing::FAST_MODE, seed), id);
        rig.rest(&mut |_| {});
        rig.board.store_mut().start_at_lap(lap);
        rig.fit();
        rig
    }

    /// Fits the board and waits until that is durable.
    ///
    /// # Panics
    /// When the board refuses: it has been fitted before.
    pub fn fit(&mut self) {
        let fitting = fitting();
        let now = self.now();
        let asked = self.board.request(now, Command::Fit { fitting, reply: None });
        assert_eq!(asked, Ok(()), "a blank part can be fitted");
        self.rest(&mut |_| {});
        self.figures = Figures::of(self.board.ledger());
    }

    /// Time since reset.
    #[must_use]
    pub fn now(&self) -> Instant {
        Instant::from_us(self.now_us)
    }

    /// What truly happened until now, over the whole life.
    #[must_use]
    pub fn truth(&self) -> Counters {
        self.truth_at(self.now_us)
    }

    /// The same at `at_us`, since when nothing was fed in.
    #[must_use]
    pub fn truth_at(&self, at_us: u64) -> Counters {
        let mut session = self.truth_session;
        session.powered_ms = at_us / 1_000;
        session.running_ms = self.truth_running_us / 1_000;
        self.truth_before.plus(&session)
    }

    /// One change of an input.
    pub fn input(&mut self, at: Instant, input: Input) {
        R::input(&mut self.board, at, input);
    }

    /// One poll. Bus time passes for the board too. `watch` sees the world after it.
    pub fn poll_once(&mut self, watch: &mut impl FnMut(&Self)) -> Polled {
        self.bus.advance_to(self.origin_ns + self.now_us * 1_000);
        let now = self.now();
        let polled = R::poll(&mut self.board, now, &mut self.bus, self.wired);
        self.now_us = self.now_us.max((self.bus.now_ns() - self.origin_ns).div_ceil(1_000));
        match polled.effect {
            Some(Effect::CheckpointDurable(counters) | Effect::LedgerDurable(counters)) => {
                self.acknowledged = self.acknowledged.most(&counters);
            }
            Some(Effect::EntryDurable { event, .. }) => {
                if matches!(event, Event::Renewed | Event::Served)
                    && let Some(pending) = self.pending.take()
                {
                    let now = Figures::of(self.board.ledger());
                    self.figures = if pending.are(&now) { now } else { pending };
                }
            }
            _ => {}
        }
        self.effects.extend(polled.effect);
        watch(self);
        polled
    }

    /// Polls until the board has nothing to do now; whether it came to rest.
    pub fn work(&mut self, watch: &mut impl FnMut(&Self)) -> bool {
        (0..POLLS_MAX).any(|_| {
            let polled = self.poll_once(watch);
            polled.effect.is_none() && polled.deadline.as_us() > self.now_us
        })
    }

    /// Lets time pass to `until_us`, with all the work that falls due.
    pub fn pass_to(&mut self, until_us: u64, watch: &mut impl FnMut(&Self)) {
        for _ in 0..POLLS_MAX {
            let polled = self.poll_once(watch);
            if polled.effect.is_some() {
                continue;
            }
            if self.has_screen() && self.now_us < until_us {
                match self.next(polled) {
                    Next::Poll => {}
                    Next::Step => {
                        self.skip_rounds(until_us.min(polled.deadline.as_us()));
                        self.step();
                    }
                    Next::Sleep(deadline) => self.now_us = deadline.as_us().min(until_us),
                }
                continue;
            }
            if polled.deadline.as_us() > until_us {
                break;
            }
            self.now_us = self.now_us.max(polled.deadline.as_us());
        }
        self.now_us = self.now_us.max(until_us);
    }

    /// Lets the board work until nothing falls due within a second; whether it came
    /// to rest.
    pub fn rest(&mut self, watch: &mut impl FnMut(&Self)) -> bool {
        (0..POLLS_MAX).any(|_| {
            let polled = self.poll_once(watch);
            if polled.effect.is_none() && !self.bus.is_cut() {
                let idle_us = polled.deadline.as_us().saturating_sub(self.now_us);
                if idle_us > 1_000_000 {
                    return true;
                }
                self.now_us += idle_us;
            }
            self.bus.is_cut()
        })
    }
}
