//! The bench: a board on its part, bus, supply and machine, with what truly happened kept
//! beside it.
//!
//! Every single poll can be watched, so that a proof can fork the world at any bus transaction
//! and cut the power there.
//!
//! - [`device`]: a board as the bench sees it; [`mod@core`]: the bare core; [`firmware`]: the
//!   whole shipped firmware, on a simulated `chip` with its [`pins`]
//! - [`under_test`]: what stands between the core and the wires, and may be broken
//! - [`figures`]: what a command changes wholly or not at all
//! - [`proof_board`]: the board of the proofs: its identity, key and profile
//! - [`parts`]: the parts of the proofs, of every shape and kind that is promised
//! - `machine`: what the machine does: stitches, jumps, trims, breaks
//! - [`workload`]: all of it as steps, for any schedule of cuts
//! - `orders`: what a person asks of the board; `person`: the same at the panel's buttons
//! - [`session`]: the bench driven by events with their times
//! - [`first_lap`]: a part on which a board begins in a lap of one's choice
//! - [`written`]: a part that holds any past
//! - [`power`]: cuts, resets and recoveries
//! - `turns`: the main loop with a display on the bus; [`screen`]: the worst display
//! - this file: one poll, and time that passes
//!
//! Invariants: signals come in by [`Bench::feed`] only, together with what they truly mean. The
//! truth is counted from that, and not by the core. A recovery starts from the bytes of the
//! part alone.

mod chip;
pub mod device;
pub mod figures;
pub mod firmware;
pub mod first_lap;
mod machine;
mod orders;
pub mod parts;
pub mod pins;
pub mod power;
pub mod proof_board;
pub mod screen;
pub mod session;
mod turns;
pub mod under_test;
pub mod workload;
pub mod written;

use shaftbook_core::board::{Board, Command, Effect, Polled};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Input;
use shaftbook_core::journal::Event;
use shaftbook_core::medium::Geometry;
use shaftbook_core::serial::Lap;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_core::turn::Next;
use shaftbook_drivers::memory::WiredPart;

use self::device::Device;
use self::device::core::Core;
use self::first_lap::begins_in;
use self::under_test::UnderTest;
use crate::bus::{Bus, Part, Timing};

pub use device::core;
pub use figures::CommandFigures;
pub use power::Recovered;
pub use proof_board::{BELT, BOARD, KEY, KNIFE, OPERATORS, any_needle, fitting};

/// Longest gap between pulses that counts as running, µs: the default run gap.
const RUN_GAP_US: u64 = 2_000_000;

/// What a signal truly means, beside its level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meant {
    /// Nothing that is counted: a level, the end of a pulse, bounce, noise.
    Nothing,
    /// A stitch on this needle.
    Stitch(Needle),
    /// A revolution without a stitch.
    Jump,
    /// A trim.
    Trim,
    /// A thread break on this needle.
    Break(Needle),
}

/// A board on the bench. Cloning it forks the world at this moment.
#[derive(Clone, Debug)]
pub struct Bench<D: Device> {
    /// The bus and the part.
    pub bus: Bus,
    /// The board.
    pub device: D,
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
    pub figures: CommandFigures,
    /// What they will be when the command under way is done.
    pub pending: Option<CommandFigures>,
    /// Effects seen since the last power-up.
    pub effects: Vec<Effect>,
    /// The needle over the plate, and whether the needle bar is disengaged.
    levels: (Option<Needle>, bool),
    /// Something delayed the board since its power-up: a command may be done late.
    pub may_be_late: bool,
}

impl<D: Device> Bench<D> {
    /// A board on a part, just powered.
    #[must_use]
    pub fn new(part: Part, seed: u64) -> Self {
        Self::on(Bus::new(part, Timing::FAST_MODE, seed), BOARD)
    }

    /// A board on a part like `wired` that holds `image`, just powered.
    ///
    /// # Panics
    /// When `image` is not as long as the part.
    #[must_use]
    pub fn on_image(wired: WiredPart, image: Vec<u8>, seed: u64) -> Self {
        let bus = Bus::new(parts::holding(wired, image), Timing::FAST_MODE, seed);
        Self::wired(bus, BOARD, wired, Settings::default())
    }

    /// A board on a bus, just powered, at the bus's time.
    #[must_use]
    pub fn on(bus: Bus, id: BoardId) -> Self {
        Self::wired(bus, id, WiredPart::REFERENCE, Settings::default())
    }

    /// The same, its driver made for a part of another shape, and counting with `fallback`
    /// while the part gives no settings.
    #[must_use]
    pub fn wired(bus: Bus, id: BoardId, wired: WiredPart, fallback: Settings) -> Self {
        let bus = if D::HAS_PANEL && bus.display().is_none() { bus.with_display(1) } else { bus };
        Self::started(bus, D::new(id, wired, fallback))
    }

    /// `device`, as it is just after a reset, on a bus as it is, at the bus's time.
    #[must_use]
    pub fn started(bus: Bus, device: D) -> Self {
        let origin_ns = bus.now_ns();
        let figures = CommandFigures::of(device.board().ledger());
        Self {
            bus,
            device,
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
            levels: (None, false),
            may_be_late: false,
        }
    }

    /// A board fitted on a blank reference part whose ring starts at `lap`.
    ///
    /// # Panics
    /// When a blank part cannot be fitted.
    #[must_use]
    pub fn fitted(seed: u64, lap: Lap) -> Self {
        Self::fitted_as(seed, lap, BOARD)
    }

    /// The same for the board `id`. The fitting is made by the bare core, as the engineer's
    /// bench makes it; then the device goes on with the part.
    ///
    /// # Panics
    /// As [`Bench::fitted`].
    #[must_use]
    pub fn fitted_as(seed: u64, lap: Lap, id: BoardId) -> Self {
        let part = Part::blank(Geometry::REFERENCE).expect("the reference part is supported");
        Self::fitted_on(part, seed, id, WiredPart::REFERENCE, lap)
    }

    /// A board that is not fitted, whose ring will begin at `lap`, on a part like `wired`.
    ///
    /// # Panics
    /// Never: a driver is made for supported parts only.
    #[must_use]
    pub fn blank_on(wired: WiredPart, seed: u64, lap: Lap) -> Self {
        let part = begins_in::<D::Rules>(parts::blank(wired), BOARD, lap);
        let bus = Bus::new(part, Timing::FAST_MODE, seed);
        let mut core: Bench<Core<D::Rules>> = Bench::wired(bus, BOARD, wired, Settings::default());
        core.rest(&mut |_| {});
        D::take_over(core)
    }

    /// A board as [`Bench::fitted`], with a past: `live` lets the bare core live it, and
    /// the device goes on with the part.
    ///
    /// # Panics
    /// As [`Bench::fitted`].
    #[must_use]
    pub fn with_past(seed: u64, lap: Lap, live: impl FnOnce(&mut Bench<Core<D::Rules>>)) -> Self {
        Self::with_past_on(WiredPart::REFERENCE, seed, lap, live)
    }

    /// The same on a part like `wired`.
    ///
    /// # Panics
    /// As [`Bench::fitted`].
    #[must_use]
    pub fn with_past_on(
        wired: WiredPart,
        seed: u64,
        lap: Lap,
        live: impl FnOnce(&mut Bench<Core<D::Rules>>),
    ) -> Self {
        let part = parts::blank(wired);
        let mut core: Bench<Core<D::Rules>> = Bench::fitted_on(part, seed, BOARD, wired, lap);
        live(&mut core);
        D::take_over(core)
    }

    /// The same on a blank part of any shape that its driver is made for.
    ///
    /// # Panics
    /// As [`Bench::fitted`].
    #[must_use]
    pub fn fitted_on(part: Part, seed: u64, id: BoardId, wired: WiredPart, lap: Lap) -> Self {
        let part = begins_in::<D::Rules>(part, id, lap);
        let bus = Bus::new(part, Timing::FAST_MODE, seed);
        let mut core: Bench<Core<D::Rules>> = Bench::wired(bus, id, wired, Settings::default());
        core.rest(&mut |_| {});
        core.fit();
        D::take_over(core)
    }

    /// The core's state.
    #[inline]
    #[must_use]
    pub fn board(&self) -> &Board<D::Rules> {
        self.device.board()
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

    /// One change of an input, stamped `at`, and what it means: the only way in for signals.
    #[inline]
    pub fn feed(&mut self, at: Instant, input: Input, meant: Meant) {
        if let Meant::Stitch(_) | Meant::Jump = meant {
            self.note_pulse(at.as_us());
        }
        let truth = &mut self.truth_session;
        match meant {
            Meant::Nothing => {}
            Meant::Stitch(needle) => truth.needle_stitches[needle.index()] += 1,
            Meant::Jump => truth.jumps += 1,
            Meant::Trim => truth.trims += 1,
            Meant::Break(needle) => truth.needle_breaks[needle.index()] += 1,
        }
        match input {
            Input::NeedleCode(code) => self.levels.0 = Needle::new(code.saturating_add(1)),
            Input::Jump(level) => self.levels.1 = level.is_active(),
            _ => {}
        }
        self.device.edge(at, input);
    }

    /// A pulse of the shaft at `at_us`: running time goes on, if the last is not long ago.
    fn note_pulse(&mut self, at_us: u64) {
        if let Some(last_us) = self.last_pulse_us
            && at_us - last_us <= RUN_GAP_US
        {
            self.truth_running_us += at_us - last_us;
        }
        self.last_pulse_us = Some(at_us);
    }

    /// One poll. Bus time passes for the board too. `watch` sees the world after it.
    pub fn poll_once(&mut self, watch: &mut impl FnMut(&Self)) -> Polled {
        let polled = self.device.turn(&mut self.now_us, &mut self.bus, self.origin_ns);
        match polled.effect {
            Some(Effect::CheckpointDurable(counters) | Effect::LedgerDurable(counters)) => {
                self.acknowledged = self.acknowledged.most(&counters);
            }
            Some(Effect::EntryDurable { event, .. }) => {
                if matches!(event, Event::Renewed | Event::Served)
                    && let Some(pending) = self.pending.take()
                {
                    let now = CommandFigures::of(self.board().ledger());
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
        (0..D::POLLS_MAX).any(|_| {
            let polled = self.poll_once(watch);
            polled.effect.is_none() && polled.deadline.as_us() > self.now_us
        })
    }

    /// Lets time pass to `until_us`, with all the work that falls due.
    pub fn pass_to(&mut self, until_us: u64, watch: &mut impl FnMut(&Self)) {
        for _ in 0..D::POLLS_MAX {
            let polled = self.poll_once(watch);
            if polled.effect.is_some() {
                continue;
            }
            if D::HAS_PANEL && self.bus.is_cut() {
                break;
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
        (0..D::POLLS_MAX).any(|_| {
            let polled = self.poll_once(watch);
            if polled.effect.is_none() && !self.bus.is_cut() {
                if self.device.idle_us(self.now(), polled) > 1_000_000 {
                    return true;
                }
                self.now_us = self.now_us.max(polled.deadline.as_us());
            }
            self.bus.is_cut()
        })
    }
}

impl<R: UnderTest> Bench<Core<R>> {
    /// Fits the board and waits until that is durable.
    ///
    /// # Panics
    /// When the board refuses: it has been fitted before.
    pub fn fit(&mut self) {
        let now = self.now();
        let fit = Command::Fit { fitting: fitting(), reply: None };
        let asked = self.device.board_mut().request(now, fit);
        assert_eq!(asked, Ok(()), "a blank part can be fitted");
        self.rest(&mut |_| {});
        self.figures = CommandFigures::of(self.board().ledger());
    }
}
