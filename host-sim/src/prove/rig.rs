//! The rig of the proofs: a board on its real driver and the simulated bus, one poll
//! at a time, with what truly happened kept beside it.
//!
//! Unlike the bench that `sew` uses, the rig shows every single poll, so that a
//! proof can fork the world at any bus transaction and cut the power there.
//!
//! Invariants: the truth is what was fed in, counted here and not by the core; a
//! recovery starts from the bytes of the part alone.

mod turns;

use heapless::Vec;
use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_core::authority::{self, EightDigits, Key};
use shaftbook_core::board::{Board, Command, Effect, Fitting, Polled};
use shaftbook_core::component::{COMPONENTS_MAX, Component, Kind, Measure, Role};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::Event;
use shaftbook_core::ledger::{CarriedIn, IntervalBaseline, Ledger};
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::Authorised;
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_core::store::serial::Lap;
use shaftbook_core::time::Instant;
use shaftbook_core::turn::Next;
use shaftbook_drivers::memory::WiredPart;

use super::screen::Screen;
use super::under_test::UnderTest;
use crate::bus::{Bus, Part, Tear, Timing};

/// The board of the proofs.
pub const BOARD: BoardId = BoardId(0x0BAD_5EED_0000_0042);
/// Its key.
pub const KEY: [u8; authority::KEY_BYTES] = [0x3C; authority::KEY_BYTES];
/// Place of the fixed knife in the profile: the engineer's.
pub const KNIFE: usize = 16;
/// Place of the belt: the engineer's too.
pub const BELT: usize = 18;
/// Places that the operator may renew: all but the knife and the belt.
pub const OPERATORS: u32 = 0x1F_FFFF & !(1 << KNIFE | 1 << BELT);
/// Places whose measure is a time.
const TIMES: [usize; 2] = [BELT, 19];
/// Longest from asking for a service to its judging, ms: a snapshot may be under way.
const JUDGED_WITHIN_MS: u64 = 600;
/// Polls after which a board that has not come to rest counts as hanging.
const POLLS_MAX: u32 = 40_000;

/// What must be wholly before or wholly after.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Figures {
    /// Services done.
    pub services: u16,
    /// Interval baseline.
    pub interval: IntervalBaseline,
    /// Baseline of each component.
    pub baselines: std::vec::Vec<u64>,
}

impl Figures {
    /// Whether these are `other`, or the same a moment later: a service dates its time
    /// baselines to when its reply was judged, some ms after it was asked for.
    #[must_use]
    pub fn are(&self, other: &Self) -> bool {
        let close = |a: u64, b: u64| a.abs_diff(b) <= JUDGED_WITHIN_MS;
        let is_time = |place: usize| TIMES.contains(&place);
        self.services == other.services
            && close(self.interval.powered_ms, other.interval.powered_ms)
            && close(self.interval.running_ms, other.interval.running_ms)
            && self.baselines.len() == other.baselines.len()
            && self
                .baselines
                .iter()
                .zip(&other.baselines)
                .enumerate()
                .all(|(place, (a, b))| a == b || (is_time(place) && close(*a, *b)))
    }

    /// Whether `now` is these figures, with what a command changed from `before` dated
    /// anywhere up to `latest`: a part that is away for a while delays a command.
    #[must_use]
    pub fn came_late(&self, before: &Self, now: &Self, latest: &Counters, ledger: &Ledger) -> bool {
        let within = |a: u64, now: u64, most: u64| (a..=most.max(a)).contains(&now);
        self.services == now.services
            && self.baselines.len() == now.baselines.len()
            && if self.interval == before.interval {
                now.interval == before.interval
            } else {
                within(self.interval.powered_ms, now.interval.powered_ms, latest.powered_ms)
                    && within(self.interval.running_ms, now.interval.running_ms, latest.running_ms)
            }
            && ledger.components.iter().enumerate().all(|(place, fitted)| {
                let (a, now) = (self.baselines[place], now.baselines[place]);
                let was = before.baselines.get(place).copied();
                if was == Some(a) {
                    // Renewed at what it was, or not renewed: the latter cannot be later.
                    now >= a && now <= fitted.component.measure.value(latest, None)
                } else {
                    within(a, now, fitted.component.measure.value(latest, None))
                }
            })
    }

    /// The figures of a ledger.
    #[must_use]
    pub fn of(ledger: &Ledger) -> Self {
        Self {
            services: ledger.services,
            interval: ledger.interval,
            baselines: ledger.components.iter().map(|fitted| fitted.baseline).collect(),
        }
    }
}

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
    pub effects: std::vec::Vec<Effect>,
    /// A display on the bus that is redrawn without pause, if there is one.
    screen: Option<Screen>,
    /// The needle over the plate, and whether the needle bar is disengaged.
    levels: (Option<Needle>, bool),
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
            effects: std::vec::Vec::new(),
            screen: None,
            levels: (None, false),
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

    /// Sews `stitches` on `needle`, one in `period_us`.
    pub fn sew(
        &mut self,
        needle: Needle,
        stitches: u64,
        period_us: u64,
        watch: &mut impl FnMut(&Self),
    ) {
        self.select(needle, watch);
        for _ in 0..stitches {
            self.revolution(Some(needle), period_us, watch);
        }
    }

    /// Brings `needle` over the plate and lets it settle.
    pub fn select(&mut self, needle: Needle, watch: &mut impl FnMut(&Self)) {
        let code = Input::NeedleCode(needle.number() - 1);
        self.input(self.now(), code);
        self.levels.0 = Some(needle);
        self.pass_to(self.now_us + 50_000, watch);
    }

    /// Tells a board that was just powered the levels that its inputs have, as a main
    /// loop does first of all: those of `before`, the same machine's last power-up.
    pub fn tell_levels(&mut self, before: &Self) {
        self.levels = before.levels;
        if let (Some(needle), _) = self.levels {
            self.input(self.now(), Input::NeedleCode(needle.number() - 1));
        }
        if self.levels.1 {
            self.input(self.now(), Input::Jump(Level::Active));
        }
    }

    /// One revolution of the shaft in `period_us`: a stitch on `needle`, which is the one
    /// over the plate, or without one a jump.
    pub fn revolution(
        &mut self,
        needle: Option<Needle>,
        period_us: u64,
        watch: &mut impl FnMut(&Self),
    ) {
        let at_us = self.now_us;
        self.pulse(needle);
        self.pass_to(at_us + period_us / 2, watch);
        self.input(self.now(), Input::Shaft(Level::Inactive));
        self.pass_to(at_us + period_us, watch);
    }

    /// The needle bar is disengaged, or engaged again.
    pub fn jump(&mut self, is_jump: bool, watch: &mut impl FnMut(&Self)) {
        self.input(self.now(), Input::Jump(Level::from_bool(is_jump)));
        self.levels.1 = is_jump;
        self.pass_to(self.now_us + 50_000, watch);
    }

    /// The beginning of one stitch on `needle`, without one of a jump, now; no poll.
    fn pulse(&mut self, needle: Option<Needle>) {
        let at_us = self.now_us;
        self.input(self.now(), Input::Shaft(Level::Active));
        if let Some(last_us) = self.last_pulse_us
            && at_us - last_us <= 2_000_000
        {
            self.truth_running_us += at_us - last_us;
        }
        self.last_pulse_us = Some(at_us);
        match needle {
            Some(needle) => self.truth_session.needle_stitches[needle.index()] += 1,
            None => self.truth_session.jumps += 1,
        }
    }

    /// One stitch on `needle`, which is selected already, while the main loop is busy
    /// elsewhere: there is no poll before it is over.
    pub fn stitch_unpolled(&mut self, needle: Needle) {
        self.pulse(Some(needle));
        self.now_us += 10_000;
        self.input(self.now(), Input::Shaft(Level::Inactive));
    }

    /// Actuates the trimmer once.
    pub fn trim(&mut self, watch: &mut impl FnMut(&Self)) {
        self.truth_session.trims += 1;
        self.input(self.now(), Input::Trim(Level::Active));
        self.pass_to(self.now_us + 100_000, watch);
        self.input(self.now(), Input::Trim(Level::Inactive));
        self.pass_to(self.now_us + 100_000, watch);
    }

    /// One thread break on `needle`.
    pub fn thread_break(&mut self, needle: Needle, watch: &mut impl FnMut(&Self)) {
        self.select(needle, watch);
        self.truth_session.needle_breaks[needle.index()] += 1;
        self.input(self.now(), Input::ThreadBreak(Level::Active));
        self.pass_to(self.now_us + 50_000, watch);
        self.input(self.now(), Input::ThreadBreak(Level::Inactive));
        self.pass_to(self.now_us + 50_000, watch);
    }

    /// The power-fail warning.
    pub fn warn(&mut self) {
        self.input(self.now(), Input::PowerFail(Level::Active));
    }

    /// The right reply to a new challenge for `allows`.
    pub fn right_reply(&mut self, allows: Authorised) -> Option<EightDigits> {
        let now = self.now();
        let challenge = self.board.challenge(now, allows).ok()?;
        let services = self.board.ledger().services;
        Some(authority::reply(&Key::new(KEY), allows.purpose(), services, challenge))
    }

    /// Asks for `command`; notes what it will change, by the truth. `None` when it
    /// was refused.
    pub fn ask(&mut self, command: Command) -> Option<()> {
        let mut after = self.figures.clone();
        let truth = self.truth();
        let ledger = self.board.ledger();
        let renewed = match &command {
            Command::Renew { components, .. } => *components,
            Command::Service { .. } => {
                after.services += 1;
                after.interval =
                    IntervalBaseline { powered_ms: truth.powered_ms, running_ms: truth.running_ms };
                ledger.renewed_by_service()
            }
            Command::Fit { .. } => return None,
        };
        for (place, fitted) in ledger.components.iter().enumerate() {
            if renewed.contains(place) {
                after.baselines[place] = fitted.component.measure.value(&truth, None);
            }
        }
        let now = self.now();
        self.board.request(now, command).ok()?;
        self.pending = Some(after);
        Some(())
    }

    /// The part as it is if the power is cut now, written into `image`.
    pub fn cut_image(&self, tear: Tear, image: &mut std::vec::Vec<u8>) {
        self.bus.cut_image_into(tear, image);
    }

    /// Cuts the power and powers up again on the same part. What was lost is taken
    /// out of the truth: from here on the truth is what the board rightly knows.
    pub fn cut_and_power_up(&mut self, tear: Tear) -> bool {
        let next = self.powered_again(tear);
        self.go_on_with(next)
    }

    /// The watchdog resets the board in mid-write, whatever it did; the supply was there
    /// all the time. What was lost is taken out of the truth.
    pub fn watchdog_in_mid_write(&mut self, watch: &mut impl FnMut(&Self)) -> bool {
        self.warn();
        for _ in 0..100 {
            self.poll_once(watch);
            if self.bus.page_under_way().is_some() {
                break;
            }
        }
        let board = R::watchdog(self.board.id(), &self.board);
        let next = self.started_again(self.bus.clone(), board);
        self.go_on_with(next)
    }

    fn go_on_with(&mut self, mut next: Self) -> bool {
        let rested = next.rest(&mut |_| {});
        let past = next.board.past().copied();
        next.found(past.as_ref());
        *self = next;
        rested
    }

    /// The next power-up on the same part, which has not been polled yet; the power is
    /// cut first, unless it has been.
    #[must_use]
    pub fn powered_again(&self, tear: Tear) -> Self {
        let mut bus = self.bus.clone();
        bus.power_cycle(tear);
        self.started_again(bus, R::power_up(self.board.id(), &self.board))
    }

    /// The same after the watchdog has reset the board: a program cycle that has begun
    /// ends well.
    #[must_use]
    pub fn reset(&self) -> Self {
        let mut bus = self.bus.clone();
        bus.power_cycle(Tear::New);
        self.started_again(bus, R::watchdog(self.board.id(), &self.board))
    }

    fn started_again(&self, bus: Bus, board: Board<R>) -> Self {
        let mut next = Self::with(bus, board).wired(self.wired);
        next.screen = self.screen.as_ref().map(Screen::powered_again);
        next.figures = self.figures.clone();
        next.acknowledged = self.acknowledged;
        next
    }

    /// The truth goes on from what the board found.
    pub fn found(&mut self, past: Option<&Counters>) {
        self.truth_before = past.copied().unwrap_or_default();
    }

    /// Whether anything was ever said to be durable.
    #[must_use]
    pub fn has_begun(&self) -> bool {
        self.acknowledged != Counters::default()
    }

    /// The bus's time since the board's reset, µs: it stands still from a cut on.
    #[must_use]
    pub fn bus_us(&self) -> u64 {
        (self.bus.now_ns() - self.origin_ns).div_ceil(1_000)
    }

    /// Asks for `command` when no other is under way, and waits until it is done, at most
    /// two seconds: the machine stands meanwhile.
    pub fn ask_and_wait(&mut self, command: Command, watch: &mut impl FnMut(&Self)) {
        if self.pending.is_none() {
            let _ = self.ask(command);
        }
        for _ in 0..100 {
            self.pass_to(self.now_us + 20_000, watch);
            if self.pending.is_none() || self.bus.is_cut() {
                break;
            }
        }
    }
}

/// What a recovery from bytes alone found.
#[derive(Clone, Debug)]
pub struct Recovered<R: UnderTest> {
    /// The rig after it.
    pub rig: Rig<R>,
    /// Whether it came to rest.
    pub rested: bool,
    /// What a first recovery, cut in its turn, truly added to the life: it was powered
    /// for a while.
    pub between: Counters,
}

impl<R: UnderTest> Recovered<R> {
    /// Boots a new board on `image`.
    ///
    /// # Panics
    /// When `image` is not as long as the reference part.
    #[must_use]
    pub fn from_image(image: std::vec::Vec<u8>, seed: u64) -> Self {
        let part = Part::from_image(image, Geometry::REFERENCE).expect("a reference image");
        let mut rig = Rig::new(part, seed);
        let rested = rig.rest(&mut |_| {});
        Self { rig, rested, between: Counters::default() }
    }

    /// Boots a new board on `image`, cuts it after `bytes` more bus bytes with the
    /// page as `tear` leaves it, and boots another on what is left.
    ///
    /// # Panics
    /// When `image` is not as long as the reference part.
    #[must_use]
    pub fn from_image_cut_again(
        image: std::vec::Vec<u8>,
        seed: u64,
        bytes: u64,
        tear: Tear,
    ) -> Self {
        let part = Part::from_image(image, Geometry::REFERENCE).expect("a reference image");
        let mut first: Rig<R> = Rig::new(part, seed);
        first.bus.cut_after_bytes(bytes);
        first.rest(&mut |_| {});
        let mut again = std::vec::Vec::new();
        first.cut_image(tear, &mut again);
        let between = first.truth();
        Self { between, ..Self::from_image(again, seed ^ 1) }
    }

    /// The lifetime counters as recovered.
    #[must_use]
    pub fn past(&self) -> Option<Counters> {
        self.rig.board.past().copied()
    }
}

/// A fitting with a component of each kind of measure.
///
/// # Panics
/// When it has more components than a profile holds: not as it stands.
#[must_use]
pub fn fitting() -> Fitting {
    let mut components: Vec<Component, COMPONENTS_MAX> = Vec::new();
    let mut add = |kind, measure, renewed_by, with_service| {
        let component = Component {
            kind,
            measure,
            renewed_by,
            with_service,
            notice: 4_000_000,
            due: 5_000_000,
        };
        components.push(component).expect("room for the profile");
    };
    for needle in (1..=16).filter_map(Needle::new) {
        add(
            Kind::needle(needle),
            Measure::NeedleStitches(needle),
            Role::Operator,
            needle.number() % 2 == 1,
        );
    }
    add(Kind::FIXED_KNIFE, Measure::Trims, Role::Engineer, true);
    add(Kind::HOOK_OIL, Measure::PowerUps, Role::Operator, false);
    add(Kind::BELT, Measure::Running, Role::Engineer, true);
    add(Kind::PLATE_CLEANING, Measure::Powered, Role::Operator, true);
    add(Kind::BOBBIN_CASE, Measure::Stitches, Role::Operator, false);
    let settings =
        Settings { needles: 16, needle_source: NeedleSource::Code, ..Settings::default() };
    let carried_in = CarriedIn { hours: 9_876, stitches: 432_100_000, trims: 765_000 };
    Fitting { settings, components, carried_in, key: Key::new(KEY) }
}

/// A needle of the proofs' machine, drawn.
///
/// # Panics
/// Never: 1 to 15 are needles.
pub fn any_needle(rng: &mut Pcg32) -> Needle {
    Needle::new(1 + (rng.next_u32() % 15) as u8).expect("1 to 15")
}
