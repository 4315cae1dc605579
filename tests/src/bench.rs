//! A board on the real driver and the modelled bus, with simulated time and a truth of its own
//! beside what the board counts.
//!
//! The truth is written from the words of the domain, not from the core's code: it knows what
//! was fed in, and nothing of records or slots.
//!
//! This is on purpose not the bench of `shaftbook_world`: its truth is a second one, so that a
//! mistake in the truth of the other would be seen here. It also asserts that a board never
//! spins.

use shaftbook_core::authority::{self, EightDigits, Key};
use shaftbook_core::board::{Board, Command, Effect, Fitting};
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::{Counters, NEEDLES_MAX, Needle};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::ledger::CarriedIn;
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::{Eeprom, PartKind, WiredPart};
use shaftbook_world::bus::{Bus, Part, Tear, Timing};

/// The board's identity in these tests.
pub const ID: BoardId = BoardId(0x5AFE_B00C);
/// The board's key in these tests.
pub const KEY: [u8; 32] = [0x2A; 32];
/// Fruitless polls in a row after which a board counts as spinning.
const SPIN_POLLS: u32 = 60_000;
/// What a fruitless poll costs a main loop, ns (assumption).
const POLL_NS: u64 = 20_000;

/// What was truly fed in since power-up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Truth {
    /// Stitches on each needle.
    pub needle_stitches: [u64; NEEDLES_MAX],
    /// Trims.
    pub trims: u64,
    /// Thread breaks on each needle.
    pub needle_breaks: [u32; NEEDLES_MAX],
    /// Running time, µs.
    pub running_us: u64,
    last_pulse_us: Option<u64>,
}

/// A board on a bus.
#[derive(Clone, Debug)]
pub struct Bench {
    /// The board.
    pub board: Board,
    /// The bus and the part on it.
    pub bus: Bus,
    /// What the driver believes of the part.
    pub wired: WiredPart,
    /// What has been fed in since power-up.
    pub truth: Truth,
    /// Effects since power-up.
    pub effects: Vec<Effect>,
    /// Needle selected, 1 to 16.
    pub needle: u8,
    /// Polls since power-up that were asked for at once and did nothing.
    pub fruitless_polls: u32,
    up_ns: u64,
}

/// A fitting with four components: needle 1 (operator), fixed knife by trims
/// (engineer), belt by running time (engineer, with service), plate cleaning by
/// powered time (operator, with service).
#[must_use]
pub fn fitting() -> Fitting {
    let mut components = heapless::Vec::new();
    for (kind, measure, renewed_by, with_service) in [
        (
            ComponentKind(1),
            Needle::new(1).map_or(Measure::Stitches, Measure::NeedleStitches),
            false,
            false,
        ),
        (ComponentKind::FIXED_KNIFE, Measure::Trims, true, false),
        (ComponentKind::BELT, Measure::Running, true, true),
        (ComponentKind::PLATE_CLEANING, Measure::Powered, false, true),
    ] {
        let renewed_by = if renewed_by { Role::Engineer } else { Role::Operator };
        let component = Component { kind, measure, renewed_by, with_service, notice: 9, due: 10 };
        let _ = components.push(component);
    }
    Fitting {
        settings: Settings::default(),
        components,
        carried_in: CarriedIn { hours: 1_234, stitches: 56_000_000, trims: 700_000 },
        key: Key::new(KEY),
    }
}

impl Bench {
    /// A board at reset on this part, on a 400 kHz bus.
    #[must_use]
    pub fn power_up(part: Part, seed: u64) -> Self {
        let wired =
            WiredPart::new(PartKind::Eeprom, 0x50, part.geometry()).unwrap_or(WiredPart::REFERENCE);
        Self::on_bus(Bus::new(part, Timing::FAST_MODE, seed), wired, 1)
    }

    fn on_bus(bus: Bus, wired: WiredPart, needle: u8) -> Self {
        let mut board = Board::new(ID, Settings::default());
        board.input(Instant::ZERO, Input::NeedleCode(needle - 1));
        Self {
            board,
            up_ns: bus.now_ns(),
            bus,
            wired,
            truth: Truth::default(),
            effects: Vec::new(),
            needle,
            fruitless_polls: 0,
        }
    }

    /// A board just fitted on a blank reference part, and idle.
    ///
    /// # Panics
    /// When the board does not take the fitting.
    #[must_use]
    pub fn fitted(seed: u64) -> Self {
        Self::fitted_on(Geometry::REFERENCE, fitting(), seed)
    }

    /// A board just fitted with `fitting` on a blank part of that shape, and idle.
    ///
    /// # Panics
    /// When the board does not take the fitting.
    #[must_use]
    pub fn fitted_on(geometry: Geometry, fitting: Fitting, seed: u64) -> Self {
        let part = Part::blank(geometry).expect("a possible shape");
        let mut bench = Self::power_up(part, seed);
        bench.advance_us(2_000_000); // the largest part is read whole in 1.6 s
        let fit = Command::Fit { fitting, reply: None };
        bench.board.request(bench.now(), fit).expect("a blank part takes a fitting");
        bench.advance_us(1_000_000);
        assert!(bench.board.faults().is_empty(), "{:?}", bench.board.faults());
        bench
    }

    /// The board's time.
    #[must_use]
    pub fn now(&self) -> Instant {
        Instant::from_us(self.now_us())
    }

    /// The board's time, µs since reset.
    #[must_use]
    pub fn now_us(&self) -> u64 {
        (self.bus.now_ns() - self.up_ns) / 1_000
    }

    /// Simulated time at which the board was reset, ns.
    #[must_use]
    pub fn up_ns(&self) -> u64 {
        self.up_ns
    }

    /// Whether the supply is gone.
    #[must_use]
    pub fn is_cut(&self) -> bool {
        self.bus.is_cut()
    }

    /// One poll; the effect, and the board's next deadline.
    pub fn poll(&mut self) -> (Option<Effect>, Instant) {
        let now = self.now();
        let mut medium = Eeprom::new(&mut self.bus, self.wired);
        let polled = self.board.poll(now, &mut medium);
        self.effects.extend(polled.effect);
        (polled.effect, polled.deadline)
    }

    /// Polls the board as its deadlines ask, until `until_us` or the cut.
    ///
    /// # Panics
    /// When the board asks for poll after poll and does nothing in them.
    pub fn run_to_us(&mut self, until_us: u64) {
        let mut spins = 0;
        while !self.is_cut() {
            let before_ns = self.bus.now_ns();
            let (effect, deadline) = self.poll();
            let now = self.now();
            if effect.is_some() {
                continue;
            }
            if now.as_us() >= until_us {
                return;
            }
            if deadline > now {
                self.bus.advance_to(self.up_ns + deadline.as_us().min(until_us) * 1_000);
                spins = 0;
            } else if self.bus.now_ns() == before_ns {
                self.bus.advance_to(before_ns + POLL_NS);
                (spins, self.fruitless_polls) = (spins + 1, self.fruitless_polls + 1);
                assert!(spins < SPIN_POLLS, "spins at {now:?}: {:?}", self.board.store());
            }
        }
    }

    /// [`Bench::run_to_us`], for `us` µs from now.
    pub fn advance_us(&mut self, us: u64) {
        self.run_to_us(self.now_us() + us);
    }

    /// Feeds one change at `at_us`, unless the supply went before; whether it was fed.
    pub fn feed(&mut self, at_us: u64, input: Input) -> bool {
        self.run_to_us(at_us);
        if !self.is_cut() {
            self.board.input(Instant::from_us(at_us), input);
        }
        !self.is_cut()
    }

    /// Selects a needle and waits until it is debounced.
    pub fn select(&mut self, needle: u8) {
        if needle != self.needle {
            self.advance_us(50_000);
            self.feed(self.now_us(), Input::NeedleCode(needle - 1));
            self.needle = needle;
            self.advance_us(100_000);
        }
    }

    /// Sews on the selected needle, one stitch each `period_us`.
    pub fn sew(&mut self, stitches: u64, period_us: u64) {
        let begin_us = self.now_us();
        for n in 0..stitches {
            let at_us = begin_us + n * period_us;
            if !self.feed(at_us, Input::Shaft(Level::Active)) {
                return;
            }
            let truth = &mut self.truth;
            truth.needle_stitches[usize::from(self.needle - 1)] += 1;
            if let Some(gap_us) = truth.last_pulse_us.map(|last_us| at_us - last_us) {
                truth.running_us += if gap_us <= 2_000_000 { gap_us } else { 0 };
            }
            truth.last_pulse_us = Some(at_us);
            self.feed(at_us + period_us / 2, Input::Shaft(Level::Inactive));
        }
        self.run_to_us(begin_us + stitches * period_us);
    }

    /// One trim of 50 ms and 30 ms of rest.
    pub fn trim(&mut self) {
        let at_us = self.now_us();
        if self.feed(at_us, Input::Trim(Level::Active)) {
            self.truth.trims += 1;
        }
        self.feed(at_us + 50_000, Input::Trim(Level::Inactive));
        self.run_to_us(at_us + 80_000);
    }

    /// One thread break of 50 ms and 30 ms of rest.
    pub fn thread_break(&mut self) {
        let at_us = self.now_us();
        if self.feed(at_us, Input::ThreadBreak(Level::Active)) {
            self.truth.needle_breaks[usize::from(self.needle - 1)] += 1;
        }
        self.feed(at_us + 50_000, Input::ThreadBreak(Level::Inactive));
        self.run_to_us(at_us + 80_000);
    }

    /// The power-fail warning comes or goes, now.
    pub fn warn(&mut self, level: Level) {
        self.feed(self.now_us(), Input::PowerFail(level));
    }

    /// The engineer's right reply to a challenge for `allows` asked for now.
    ///
    /// # Panics
    /// When the board is not ready.
    pub fn right_reply(&mut self, allows: Authorised) -> EightDigits {
        let now = self.now();
        let challenge = match self.board.challenge(now, allows) {
            // The pause between challenges is not what is tested here: as if it were over.
            Err(Refusal::Wait { seconds }) => {
                self.board.challenge(now.plus_us(u64::from(seconds) * 1_000_000), allows)
            }
            answer => answer,
        }
        .expect("ready");
        let services = self.board.ledger().services;
        authority::reply(&Key::new(KEY), allows.purpose(), services, challenge)
    }

    /// Asks for a command, now; whether it was taken.
    pub fn request(&mut self, command: Command) -> bool {
        !self.is_cut() && self.board.request(self.now(), command).is_ok()
    }

    /// Cuts the supply (now, unless an armed cut has come) and powers up a new board
    /// that has not been polled yet. Nothing but the part's bytes goes over.
    pub fn reboot(&mut self, tear: Tear) {
        self.bus.power_cycle(tear);
        *self = Self::on_bus(self.bus.clone(), self.wired, self.needle);
    }

    /// What the board should count in this session, at most: times to the ms.
    #[must_use]
    pub fn true_session(&self) -> Counters {
        let truth = &self.truth;
        Counters {
            powered_ms: self.now_us() / 1_000,
            running_ms: truth.running_us / 1_000,
            needle_stitches: truth.needle_stitches,
            trims: truth.trims,
            needle_breaks: truth.needle_breaks,
            power_ups: 1,
            ..Counters::default()
        }
    }

    /// The last counters that were reported durable since power-up.
    #[must_use]
    pub fn acknowledged(&self) -> Option<Counters> {
        self.effects.iter().rev().find_map(|effect| match effect {
            Effect::CheckpointDurable(counters) | Effect::LedgerDurable(counters) => {
                Some(*counters)
            }
            _ => None,
        })
    }

    /// Lets the board recover and come to rest; its lifetime counters.
    ///
    /// # Panics
    /// When it does not know its lifetime within 5 s.
    pub fn settled_lifetime(&mut self) -> Counters {
        self.advance_us(5_000_000);
        let now = self.now();
        self.board.lifetime(now).unwrap_or_else(|| panic!("no past: {:?}", self.board.faults()))
    }
}
