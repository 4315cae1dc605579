//! A board and the reference live the same life side by side.
//!
//! Invariants: the reference gets the same signals and requests, and of the board only what a
//! person could see; where the documents leave a choice it takes over the board's, once.

use shaftbook_core::authority::{self, EightDigits, Key, Purpose};
use shaftbook_core::board::{Command, Effect};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::{BOARD, Bench, KEY, Meant};
use shaftbook_world::bus::{Bus, Part, Tear, Timing};

use super::border;
use super::door::Door;
use super::life::{Contact, Life, Limit, Reply, Step};
use super::looks;
use crate::reference::book::{self, Book, Standing};
use crate::reference::machine::{Counted, Counts, NEEDLES, NeedleBy, Session, Signal, Wiring};
use crate::reference::promise::{self, Warnings};

/// A board at rest: all that came in is certain and stored, µs.
const QUIET_US: u64 = 200_000;
/// A board has started within this, µs: the longest scan of a part takes 1.4 s.
const STARTED_US: u64 = 3_000_000;
/// A command is done within this, µs.
const DONE_US: u64 = 2_500_000;
/// Longest wait that a life waits for a try, s.
const WAITED_S: u64 = 250;
/// Edges that a board keeps until it has read its memory.
const EARLY: usize = 512;

/// What the reference knows of the machine and its board.
pub(super) struct Model {
    pub(super) past: Counts,
    pub(super) session: Session,
    pub(super) wiring: Wiring,
    /// What may have come of the commands so far, at the least and at the most.
    pub(super) book: Book,
    late: Book,
    /// Before a command that is not known to be done.
    before: Option<Book>,
    pub(super) day: Option<u16>,
    warnings: Warnings,
    /// Stitches and breaks that could be a needle's or nobody's: how many were decided, and how
    /// many of them are the needle's.
    decided: [[u64; NEEDLES]; 2],
    taken: [[u64; NEEDLES]; 2],
    /// A reply may be tried from then on: at the earliest and the latest, µs.
    tries_at: (u64, u64),
    /// Faults that were seen since power-up, and those that are present.
    noted: Vec<u64>,
    pub(super) faults: Vec<u64>,
}

impl Model {
    /// The lifetime at `at_us` of this session.
    pub(super) fn counted(&self, at_us: u64) -> Counted {
        let mut all = self.session.counted(at_us);
        for n in 0..NEEDLES {
            let stitches = self.taken[0][n].min(all.counts.unattributed);
            all.counts.needles[n] += stitches;
            all.counts.unattributed -= stitches;
            all.maybe[n] = all.maybe[n].saturating_sub(self.decided[0][n]);
            let breaks = self.taken[1][n].min(all.counts.unattributed_breaks);
            all.counts.breaks[n] += breaks;
            all.counts.unattributed_breaks -= breaks;
            all.maybe_breaks[n] = all.maybe_breaks[n].saturating_sub(self.decided[1][n]);
        }
        all.counts = self.past.plus(&all.counts);
        all
    }

    fn note_fault(&mut self, fault: u64, at: &Counts) {
        if !self.noted.contains(&fault) {
            self.noted.push(fault);
            self.book.note(book::event::FAULT, fault, at, self.day);
            self.late = self.book.clone();
        }
    }
}

/// Both of them.
pub(super) struct Play<D: Door> {
    pub(super) bench: Bench<D>,
    pub(super) model: Model,
    needle: u8,
    is_jumping: bool,
    used: Option<EightDigits>,
    seed: u64,
    sampled: bool,
}

/// Lives `life`.
pub(super) fn play<D: Door>(life: &Life) -> Result<(), String> {
    let mut play = Play::<D>::begun(life)?;
    for (n, step) in life.steps.iter().enumerate() {
        play.step(*step).map_err(|what| format!("{what} (at step {} of the life)", n + 1))?;
    }
    play.quiet()?;
    play.bench.device.conduct()
}

impl<D: Door> Play<D> {
    fn begun(life: &Life) -> Result<Self, String> {
        let fitting = border::machine(life.variant);
        let wiring = border::wiring(&fitting.settings);
        let parts = border::parts(&fitting);
        let part = Part::blank(Geometry::REFERENCE).map_err(|e| e.to_string())?;
        let bus = Bus::new(part, Timing::FAST_MODE, life.seed);
        let mut core: Bench<Core<D::Rules>> =
            Bench::wired(bus, BOARD, WiredPart::REFERENCE, Settings::default());
        core.rest(&mut |_| {});
        let asked_ms = core.now_us / 1_000;
        let fit = Command::Fit { fitting, reply: None };
        core.request(fit).map_err(|refusal| format!("a blank board refuses: {refusal:?}"))?;
        core.rest(&mut |_| {});
        let mut bench: Bench<D> = D::take_over(core);
        if !D::HAS_PANEL {
            let next = bench.powered_again(Tear::New);
            bench = next;
            bench.rest(&mut |_| {});
        }
        let past = bench.board().past().map(border::counts).ok_or("a fitted board forgets")?;
        let begun = Counts { powered_ms: past.powered_ms, power_ups: 1, ..Counts::default() };
        if past != begun {
            return Err(format!("a board just fitted counted {past:?}"));
        }
        let at = Counts { powered_ms: asked_ms, power_ups: 1, ..Counts::default() };
        let mut book = Book::fitted(Vec::new());
        book.refit(&parts, &at, None);
        let sampled = D::HAS_PANEL;
        let mut model = Model {
            past,
            session: Session::new(wiring, sampled),
            wiring,
            late: book.clone(),
            book,
            before: None,
            day: None,
            warnings: Warnings::default(),
            decided: Default::default(),
            taken: Default::default(),
            tries_at: (0, 0),
            noted: Vec::new(),
            faults: Vec::new(),
        };
        // The moment of the fitting is known to some ms only.
        model.late.refit_late(past.powered_ms);
        let seed = life.seed;
        let mut play =
            Self { bench, model, needle: 1, is_jumping: false, used: None, seed, sampled };
        play.needle(1)?;
        play.quiet()?;
        Ok(play)
    }

    fn now(&self) -> u64 {
        self.bench.now_us
    }

    pub(super) fn truth(&self) -> Counts {
        self.model.counted(self.now()).counts
    }

    /// These edges come in, and time passes to `until_us`.
    fn drive(&mut self, edges: &[(u64, Signal)], until_us: u64) {
        for (at_us, signal) in edges {
            if let Signal::Warning(level) = signal {
                self.model.warnings.edge(*at_us, *level);
            } else {
                self.model.session.edge(*at_us, *signal);
            }
        }
        if D::HAS_PANEL {
            for (at_us, signal) in edges {
                if matches!(signal, Signal::Voltage(_)) {
                    self.bench.pass_to(*at_us, &mut |_| {});
                }
                self.feed(*at_us, *signal);
            }
            self.bench.pass_to(until_us, &mut |_| {});
            return;
        }
        let mut edges = edges.iter().copied().peekable();
        loop {
            while let Some((at_us, signal)) = edges.next_if(|(at, _)| *at <= self.bench.now_us) {
                self.feed(at_us, signal);
            }
            if self.bench.now_us >= until_us && edges.peek().is_none() {
                return;
            }
            let begun_us = self.bench.now_us;
            let polled = self.bench.poll_once(&mut |_| {});
            if polled.effect.is_none() {
                let next_us = edges.peek().map_or(until_us, |(at, _)| (*at).min(until_us));
                let next_us = polled.deadline.as_us().min(next_us);
                self.bench.now_us = self.bench.now_us.max(next_us).max(begun_us + 1);
            }
        }
    }

    fn feed(&mut self, at_us: u64, signal: Signal) {
        self.bench.feed(Instant::from_us(at_us), border::input(signal), Meant::Nothing);
    }

    fn pass(&mut self, us: u64) {
        self.drive(&[], self.now() + us);
    }

    /// Until all that came in is certain; then both are compared.
    fn quiet(&mut self) -> Result<(), String> {
        self.pass(QUIET_US);
        self.compare()
    }

    fn compare(&mut self) -> Result<(), String> {
        let now_us = self.now();
        let board = border::lifetime(self.bench.board(), Instant::from_us(now_us))?;
        self.same_counts(&board, now_us)?;
        self.same_book()?;
        let faults: Vec<u64> =
            self.bench.board().faults().iter().map(|fault| fault.number().into()).collect();
        let mut expected = self.model.faults.clone();
        expected.sort_unstable();
        if faults != expected {
            return Err(format!("faults: the board says {faults:?}, the documents {expected:?}"));
        }
        Ok(())
    }

    fn same_counts(&mut self, board: &Counts, now_us: u64) -> Result<(), String> {
        let model = self.model.counted(now_us);
        let named = board.named();
        for (place, (name, expected)) in model.counts.named().into_iter().enumerate() {
            let counted = named[place].1;
            if !name.contains("needle") && name != "unattributed" && counted != expected {
                return Err(format!(
                    "{name}: the board counts {counted}, the documents {expected}"
                ));
            }
        }
        let (mut of_needles, mut breaks) = (0, 0);
        for n in 0..NEEDLES {
            let pairs = [
                (board.needles[n], model.counts.needles[n], model.maybe[n], "needle"),
                (
                    board.breaks[n],
                    model.counts.breaks[n],
                    model.maybe_breaks[n],
                    "breaks of needle",
                ),
            ];
            for (kind, (counted, least, maybe, name)) in pairs.into_iter().enumerate() {
                if counted < least || counted > least + maybe {
                    let most = least + maybe;
                    return Err(format!(
                        "{name} {}: the board counts {counted}, the documents {least} to {most}",
                        n + 1
                    ));
                }
                self.model.taken[kind][n] += counted - least;
                self.model.decided[kind][n] += maybe;
                *[&mut of_needles, &mut breaks][kind] += counted - least;
            }
        }
        let unattributed = model.counts.unattributed - of_needles;
        if board.unattributed != unattributed {
            let counted = board.unattributed;
            return Err(format!("unattributed: the board counts {counted}, not {unattributed}"));
        }
        let unattributed = model.counts.unattributed_breaks - breaks;
        if board.unattributed_breaks != unattributed {
            let counted = board.unattributed_breaks;
            return Err(format!(
                "breaks of no needle: the board counts {counted}, not {unattributed}"
            ));
        }
        Ok(())
    }

    /// The board's ledger is one that is allowed, and the reference goes on with it.
    fn same_book(&mut self) -> Result<(), String> {
        let board = border::book(self.bench.board().ledger());
        self.model.book.allows(&self.model.late, &board)?;
        self.model.book = board.clone();
        self.model.late = board;
        self.model.before = None;
        Ok(())
    }

    fn pulse(&self, at_us: u64, edges: &mut Vec<(u64, Signal)>) -> u64 {
        let width_us = (self.model.wiring.shaft_debounce_us + 5).max(30);
        edges.push((at_us, Signal::Shaft(true)));
        edges.push((at_us + width_us, Signal::Shaft(false)));
        at_us + width_us
    }

    fn reading(&self, needle: u8) -> Option<Signal> {
        match self.model.wiring.needle_by {
            NeedleBy::Code => Some(Signal::Code(needle - 1)),
            NeedleBy::Voltage => {
                Some(Signal::Voltage(self.model.wiring.needle_level_mv[usize::from(needle) - 1]))
            }
            NeedleBy::Nothing => None,
        }
    }

    fn needle(&mut self, needle: u8) -> Result<(), String> {
        self.needle = needle;
        if let Some(reading) = self.reading(needle) {
            let at_us = self.now() + 10;
            let hold_us = self.model.wiring.needle_debounce_ms * 1_000;
            self.drive(&[(at_us, reading)], at_us + hold_us + 30_000);
        }
        Ok(())
    }

    fn hold_us(&self) -> u64 {
        self.model.wiring.needle_debounce_ms * 1_000
    }

    fn step(&mut self, step: Step) -> Result<(), String> {
        let wiring = self.model.wiring;
        let at_us = self.now() + 50;
        let mut edges = Vec::new();
        let off = |us: u64, off_us: i32| us.saturating_add_signed(off_us.into()).max(1);
        match step {
            Step::Turn { revolutions, period_us, bounce_us } => {
                self.turn(revolutions, period_us.into(), bounce_us.into());
            }
            Step::PulseAfter { limit, off_us } => {
                let limit_us = match limit {
                    Limit::RunGap => wiring.run_gap_ms * 1_000,
                    Limit::Shortest => {
                        36_000_000 / (wiring.top_speed_rpm * wiring.pulses_per_revolution)
                    }
                };
                self.pulse(at_us, &mut edges);
                let end_us = self.pulse(at_us + off(limit_us, off_us), &mut edges);
                self.drive(&edges, end_us + 1_000);
            }
            Step::Spike { off_us } => {
                let until_us = at_us + off(wiring.shaft_debounce_us, off_us);
                edges.extend([(at_us, Signal::Shaft(true)), (until_us, Signal::Shaft(false))]);
                self.drive(&edges, until_us + 1_000);
            }
            Step::Needle { needle } => self.needle(needle)?,
            Step::PulseThenNeedle { needle, after_us } => {
                let Some(reading) = self.reading(needle) else { return Ok(()) };
                self.pulse(at_us, &mut edges);
                edges.push((at_us + u64::from(after_us), reading));
                edges.sort_by_key(|edge| edge.0);
                self.needle = needle;
                self.drive(&edges, at_us + u64::from(after_us) + self.hold_us() + 30_000);
            }
            Step::Flicker { needle, off_us } => {
                let (Some(other), Some(back)) = (self.reading(needle), self.reading(self.needle))
                else {
                    return Ok(());
                };
                edges.push((at_us, other));
                let end_us = self.pulse(at_us + off(self.hold_us(), off_us), &mut edges);
                edges.push((end_us + 5_000, back));
                self.drive(&edges, end_us + 5_000 + self.hold_us() + 30_000);
            }
            Step::Off { mv } => {
                let Some(Signal::Voltage(level)) = self.reading(self.needle) else { return Ok(()) };
                let beside = Signal::Voltage(level.saturating_add_signed(mv));
                self.drive(&[(at_us, beside)], at_us + self.hold_us() + 30_000);
                self.turn(1, 60_000, 0);
            }
            Step::Close { contact, off_us, bounces } => self.close(contact, off_us, bounces),
            Step::BreakThenNeedle { needle, after_us } => {
                let Some(reading) = self.reading(needle) else { return Ok(()) };
                let long_us = wiring.contact_debounce_us.max(50_000) + 1_000;
                edges
                    .extend([(at_us, Signal::Break(true)), (at_us + u64::from(after_us), reading)]);
                edges.push((at_us + long_us, Signal::Break(false)));
                self.needle = needle;
                self.drive(&edges, at_us + 2 * long_us);
            }
            Step::Twice { shaft, apart_us } => {
                let (signal, debounce_us): (fn(bool) -> Signal, u64) = if shaft {
                    (Signal::Shaft, wiring.shaft_debounce_us)
                } else {
                    (Signal::Trim, wiring.contact_debounce_us)
                };
                let again_us = at_us + u64::from(apart_us);
                let end_us = again_us + debounce_us;
                edges.extend([(at_us, signal(true)), (again_us, signal(true))]);
                edges.push((end_us, signal(false)));
                self.drive(&edges, end_us + debounce_us + 1_000);
            }
            Step::Jump { revolutions, after_us } => {
                self.is_jumping = true;
                self.drive(&[(at_us, Signal::Jump(true))], at_us + u64::from(after_us));
                self.turn(revolutions, 80_000, 0);
                self.is_jumping = false;
                let at_us = self.now() + 10;
                let rest_us = wiring.contact_debounce_us + 20_000;
                self.drive(&[(at_us, Signal::Jump(false))], at_us + rest_us);
            }
            Step::Stand { ms } => self.pass(u64::from(ms) * 1_000),
            Step::Missed { edges } => {
                let truth = self.truth();
                if D::missed(&mut self.bench, edges.into()) {
                    self.model.session.missed += u64::from(edges);
                    if !self.model.faults.contains(&10) {
                        self.model.faults.push(10);
                    }
                    self.model.note_fault(10, &truth);
                }
            }
            Step::Dips { times, apart_ms, twice } => {
                for _ in 0..times {
                    self.warn(45_000, twice)?;
                    let now_us = self.now();
                    let apart_us = u64::from(apart_ms) * 1_000;
                    self.drive(&[(now_us, Signal::Warning(false))], now_us + apart_us);
                }
            }
            Step::WarnedCut { hold_up_us, twice, tear, early } => {
                self.warn(hold_up_us.into(), twice)?;
                return self.cut(tear, early);
            }
            Step::Cut { after_trim_us, tear, early } => {
                let certain_us = at_us + wiring.contact_debounce_us;
                self.drive(&[(at_us, Signal::Trim(true))], certain_us + u64::from(after_trim_us));
                return self.cut(tear, early);
            }
            Step::Renew { places, wait } => return self.renew(places, wait),
            Step::RenewBy { places, reply } => {
                let places = self.first_if_panel(places & self.all_places());
                if !self.model.book.needs_engineer(places) {
                    return Ok(());
                }
                return self.try_reply(Authorised::Renew(ComponentSet(places)), reply, None);
            }
            Step::Service { reply } => return self.try_reply(Authorised::Service, reply, None),
            Step::ServiceAlone => {
                self.quiet()?;
                let answer = self.bench.request(Command::Service { reply: None });
                expect("a service without a reply", answer, Err(Refusal::NeedsAuthority))?;
            }
            Step::Refit { variant, reply } => {
                if !D::HAS_PANEL {
                    return self.try_reply(Authorised::Refit, reply, Some(variant));
                }
            }
            Step::Clock { day } => return self.clock(day),
            Step::Confirm { day } => {
                self.quiet()?;
                let is_taken = self.model.day.is_none_or(|known| day >= known);
                match D::confirm(&mut self.bench, day) {
                    Some(taken) if taken != is_taken => {
                        return Err(format!("a date to confirm was taken: {taken}"));
                    }
                    Some(true) => {
                        self.model.faults.retain(|fault| !matches!(fault, 13 | 14));
                        self.known_day(day);
                    }
                    _ => {}
                }
            }
            Step::Look => {
                self.quiet()?;
                let Some(shown) = D::shown(&mut self.bench) else { return Ok(()) };
                self.quiet()?;
                looks::agree(&shown, self)?;
            }
        }
        self.quiet()
    }

    fn turn(&mut self, revolutions: u32, period_us: u64, bounce_us: u64) {
        let pulses = self.model.wiring.pulses_per_revolution;
        let revolutions = u64::from(revolutions).min(2 + 64 / pulses);
        // Never faster than the machine can.
        let shortest_us = 60_000_000 / self.model.wiring.top_speed_rpm;
        let apart_us = period_us.max(shortest_us) / pulses;
        let begun_us = self.now() + 10;
        let mut edges = Vec::new();
        for pulse in 0..revolutions * pulses {
            let at_us = begun_us + pulse * apart_us;
            for (at_us, level) in [(at_us, true), (at_us + apart_us / 2, false)] {
                edges.push((at_us, Signal::Shaft(level)));
                if bounce_us > 0 && apart_us > 8 * bounce_us {
                    edges.push((at_us + bounce_us, Signal::Shaft(!level)));
                    edges.push((at_us + 2 * bounce_us, Signal::Shaft(level)));
                }
            }
        }
        self.drive(&edges, begun_us + revolutions * pulses * apart_us);
    }

    fn close(&mut self, contact: Contact, off_us: Option<i32>, bounces: u8) {
        let signal = match contact {
            Contact::Trim => Signal::Trim,
            Contact::Break => Signal::Break,
        };
        let debounce_us = self.model.wiring.contact_debounce_us;
        let (at_us, mut edges) = (self.now() + 10, Vec::new());
        let mut closed_us = at_us;
        edges.push((at_us, signal(true)));
        for _ in 0..bounces {
            edges.push((closed_us + 300, signal(false)));
            closed_us += 600;
            edges.push((closed_us, signal(true)));
        }
        let held_us = match off_us {
            Some(off_us) => debounce_us.saturating_add_signed(off_us.into()).max(1),
            None => debounce_us.max(50_000) + 1_000,
        };
        edges.push((closed_us + held_us, signal(false)));
        self.drive(&edges, closed_us + held_us + debounce_us + 1_000);
    }

    /// A stitch, then the warning, for `us`: what was counted by then is durable, if that is
    /// promised.
    fn warn(&mut self, us: u64, twice: bool) -> Result<(), String> {
        let (begun_us, mut edges) = (self.now() + 10, Vec::new());
        self.pulse(begun_us, &mut edges);
        let warned_us = begun_us + 3_000;
        edges.push((warned_us, Signal::Warning(true)));
        if twice && us > 2_000 {
            edges.push((warned_us + 1_500, Signal::Warning(true)));
        }
        self.drive(&edges, warned_us + us);
        let Some(since_us) = self.model.warnings.answered(self.now()) else { return Ok(()) };
        self.is_durable(since_us, &border::counts(&self.bench.acknowledged))
            .map_err(|what| format!("{what} {} ms after a warning", us / 1_000))
    }

    fn is_durable(&self, since_us: u64, durable: &Counts) -> Result<(), String> {
        let truth = self.model.counted(since_us).counts;
        for (name, truth, durable) in [
            ("stitches", truth.stitches(), durable.stitches()),
            ("jumps", truth.jumps, durable.jumps),
            ("trims", truth.trims, durable.trims),
            ("breaks", truth.all_breaks(), durable.all_breaks()),
            ("running ms", truth.running_ms, durable.running_ms),
            ("powered ms", truth.powered_ms, durable.powered_ms),
        ] {
            if durable < truth {
                return Err(format!("{name}: {durable} durable of {truth}"));
            }
        }
        Ok(())
    }

    fn tear(&mut self, tear: u8) -> Tear {
        self.seed = self.seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        match tear {
            0 => Tear::Old,
            1 => Tear::New,
            2 => Tear::Prefix((self.seed >> 58) as u8),
            3 => Tear::Mix(u128::from(self.seed) * 0x1_0000_0001_0000_0001),
            4 => Tear::Erased,
            _ => Tear::Garbage(self.seed),
        }
    }

    /// The supply goes now, and comes back; `early` edges come before the memory is read.
    fn cut(&mut self, tear: u8, early: u16) -> Result<(), String> {
        let tear = self.tear(tear);
        let cut_us = self.now();
        let lag_us = cut_us.saturating_sub(self.bench.bus_us());
        let bus_ns = self.bench.bus.now_ns() + lag_us * 1_000;
        self.bench.bus.advance_to(bus_ns);
        let durable = border::counts(&self.bench.acknowledged);
        let done = self.is_done();
        let next = self.bench.powered_again(tear);
        self.bench = next;
        self.bench.effects.clear();
        let wiring = self.model.wiring;
        let session = Session::new(wiring, self.sampled);
        let before = std::mem::replace(&mut self.model.session, session);
        let warnings = std::mem::take(&mut self.model.warnings);
        let mut edges = Vec::new();
        if let Some(Signal::Code(code)) = self.reading(self.needle) {
            edges.push((0, Signal::Code(code)));
        }
        self.early_edges(early, &mut edges);
        let last_us = edges.last().map_or(0, |edge| edge.0);
        if let Some(reading @ Signal::Voltage(_)) = self.reading(self.needle) {
            edges.push((last_us + 1, reading));
        }
        self.drive(&edges, last_us + STARTED_US);
        let found = self.bench.board().past().map(border::counts);
        let found = found.ok_or("a board does not know its past after a cut")?;

        // What it found is judged by the session before, which is put back for that.
        let session = std::mem::replace(&mut self.model.session, before);
        let past_ms = self.model.past.powered_ms;
        let model = &self.model;
        promise::may_be_found(&found, &durable, &model.counted(cut_us), &wiring, |powered_ms| {
            let at_us = powered_ms.checked_sub(past_ms)? * 1_000;
            if at_us > cut_us {
                return None;
            }
            Some((model.counted(at_us), model.counted((at_us + 999).min(cut_us))))
        })?;
        if let Some(since_us) = warnings.answered(cut_us) {
            self.is_durable(since_us, &found)
                .map_err(|what| format!("{what} after a cut with a warning"))?;
        }
        self.model.session = session;
        self.model.past = found;
        (self.model.decided, self.model.taken) = Default::default();
        self.model.faults.clear();
        self.model.noted.clear();
        self.found_book(done)?;
        let newest_s = self.model.book.journal.iter().map(|line| line.powered_s).max();
        if let Some(newest_s) = newest_s.filter(|s| *s > found.powered_ms / 1_000) {
            let found_s = found.powered_ms / 1_000;
            return Err(format!("a line of the journal is of {newest_s} s, at {found_s} s"));
        }
        self.model.day = self.model.book.day(&found);
        let wait_us = book::wait_s(self.model.book.tries) * 1_000_000;
        self.model.tries_at = (wait_us, wait_us + STARTED_US);
        self.quiet()
    }

    /// Whether all that was asked for is known to be durable.
    fn is_done(&self) -> bool {
        let entries = self.bench.effects.iter();
        self.model.before.is_none()
            || entries.filter(|effect| matches!(effect, Effect::EntryDurable { .. })).count() > 0
    }

    /// A command that was under way is wholly done or wholly not.
    fn found_book(&mut self, done: bool) -> Result<(), String> {
        let board = border::book(self.bench.board().ledger());
        if let Some(before) = self.model.before.take()
            && !done
            && before.allows(&before, &board).is_ok()
        {
            self.model.book = before.clone();
            self.model.late = before;
        }
        self.same_book().map_err(|what| format!("{what} (after a cut)"))
    }

    /// Edges that come while the board reads its memory. The counts do not depend on the
    /// settings, which it does not know yet.
    fn early_edges(&self, early: u16, edges: &mut Vec<(u64, Signal)>) {
        let wiring = &self.model.wiring;
        if early == 8 {
            // The waiting room is full, and the next edge is a trim.
            // What a new board's settings do not know counts for no needle until it changes.
            if self.sampled || wiring.contact_debounce_us > 20_000 || self.needle > 15 {
                return;
            }
            for n in edges.len()..EARLY {
                let at_us = 1_000 + 10 * n as u64;
                edges.push((at_us, Signal::Break(n.is_multiple_of(2))));
            }
            let at_us = 1_000 + 10 * EARLY as u64;
            edges.push((at_us, Signal::Trim(true)));
            edges.push((at_us + 5, Signal::Break(false)));
            edges.push((at_us + 50_000, Signal::Trim(false)));
            return;
        }
        let period_us = 60_000_000 / wiring.top_speed_rpm / wiring.pulses_per_revolution;
        for n in 0..u64::from(early / 2) {
            edges.push((n * period_us + 100, Signal::Shaft(true)));
            edges.push((n * period_us + 100 + period_us / 2, Signal::Shaft(false)));
        }
    }

    fn all_places(&self) -> u32 {
        self.model.book.places(|_| true)
    }

    fn first_if_panel(&self, places: u32) -> u32 {
        if D::HAS_PANEL { places & places.wrapping_neg() } else { places }
    }

    /// What a person asked changes the book from `before_us` on, and by now at the latest.
    fn changed(&mut self, before_us: u64, change: impl Fn(&mut Book, &Counts, Option<u16>)) {
        let (early, late) = (self.model.counted(before_us).counts, self.truth());
        self.model.before.get_or_insert_with(|| self.model.book.clone());
        let day = self.model.day;
        self.model.late = self.model.book.clone();
        change(&mut self.model.book, &early, day);
        change(&mut self.model.late, &late, day);
    }

    fn renew(&mut self, places: u32, wait: bool) -> Result<(), String> {
        self.quiet()?;
        let places = self.first_if_panel(places & self.all_places());
        if places == 0 {
            return Ok(());
        }
        let before_us = self.now();
        self.bench.effects.clear();
        let components = ComponentSet(places);
        let answer = self.bench.request(Command::Renew { components, reply: None });
        if self.model.book.needs_engineer(places) {
            expect("a renewal of the engineer's", answer, Err(Refusal::NeedsAuthority))?;
            return self.quiet();
        }
        expect("a renewal", answer, Ok(()))?;
        self.changed(before_us, |book, at, day| book.renew(places, false, at, day));
        if wait {
            self.pass(DONE_US);
            return self.compare();
        }
        // The machine goes on at once.
        self.turn(2, 100_000, 0);
        Ok(())
    }

    /// Asks for a challenge, and once more when there were too many.
    fn challenge(&mut self, allows: Authorised) -> Result<EightDigits, String> {
        for _ in 0..3 {
            match self.bench.challenge(allows) {
                Err(Refusal::Wait { seconds }) if seconds <= 10 => {
                    self.pass(u64::from(seconds) * 1_000_000);
                }
                answer => return answer.map_err(|refusal| format!("no challenge: {refusal:?}")),
            }
        }
        Err("no challenge after three pauses".into())
    }

    fn try_reply(
        &mut self,
        allows: Authorised,
        reply: Reply,
        variant: Option<u32>,
    ) -> Result<(), String> {
        self.quiet()?;
        let fitting = variant.map(|variant| {
            let next = border::machine(variant);
            let mut settings = *self.bench.board().settings();
            settings.run_gap_ms = next.settings.run_gap_ms;
            settings.contact_debounce_us = next.settings.contact_debounce_us;
            settings.checkpoint_running_s = next.settings.checkpoint_running_s;
            settings.checkpoint_trims = next.settings.checkpoint_trims;
            settings.checkpoint_powered_s = next.settings.checkpoint_powered_s;
            settings.service_measure = next.settings.service_measure;
            settings.service_interval_h = next.settings.service_interval_h;
            shaftbook_core::board::Fitting { settings, ..next }
        });
        let command = |reply| match (allows, &fitting) {
            (Authorised::Renew(components), _) => Command::Renew { components, reply: Some(reply) },
            (Authorised::Refit, Some(fitting)) => {
                Command::Fit { fitting: fitting.clone(), reply: Some(reply) }
            }
            _ => Command::Service { reply: Some(reply) },
        };
        let challenge = self.challenge(allows)?;
        let services = self.bench.board().ledger().services;
        let engineer = |purpose| authority::reply(&Key::new(KEY), purpose, services, challenge);
        let right = engineer(allows.purpose());
        let wrong = EightDigits::new((right.get() + 1) % EightDigits::END).unwrap_or(right);
        // What the wait allows.
        let (first_us, last_us) = self.model.tries_at;
        if self.now() + 30_000_000 < first_us {
            let answer = self.bench.request(command(right));
            if !matches!(answer, Err(Refusal::Wait { .. })) {
                return Err(format!("a try during the wait was answered {answer:?}"));
            }
            self.same_book()?;
        }
        if self.now() < last_us {
            if last_us - self.now() > WAITED_S * 1_000_000 {
                return self.quiet();
            }
            let rest_us = last_us - self.now() + 1_000_000;
            self.pass(rest_us);
            if D::HAS_PANEL {
                // The panel may have told of the wait: the person asks anew.
                self.model.tries_at = (0, 0);
                return self.try_reply(allows, reply, variant);
            }
        }
        let digits = match reply {
            Reply::Right | Reply::Aged | Reply::SecondTry => right,
            Reply::Wrong => wrong,
            Reply::Used => self.used.filter(|used| *used != right).unwrap_or(wrong),
            Reply::OtherPurpose => engineer(if allows == Authorised::Service {
                Purpose::Refit
            } else {
                Purpose::Service
            }),
        };
        if reply == Reply::Aged {
            self.pass(1_801_000_000);
            let answer = self.bench.request(command(digits));
            expect("an aged reply", answer, Err(Refusal::NoChallenge))?;
            return self.quiet();
        }
        if reply == Reply::SecondTry {
            self.one_try(command(wrong), |_, _, _| {}, false)?;
            let answer = self.bench.request(command(right));
            if !matches!(answer, Err(Refusal::NoChallenge | Refusal::Wait { .. })) {
                return Err(format!("a second try at a challenge was answered {answer:?}"));
            }
            return self.quiet();
        }
        if reply != Reply::Right {
            self.one_try(command(digits), |_, _, _| {}, false)?;
            return self.quiet();
        }
        self.used = Some(right);
        let parts = fitting.as_ref().map(border::parts);
        let done = |book: &mut Book, at: &Counts, day: Option<u16>| match (allows, &parts) {
            (Authorised::Renew(components), _) => book.renew(components.0, true, at, day),
            (Authorised::Refit, Some(parts)) => book.refit(parts, at, day),
            _ => book.serve(at, day),
        };
        let asked_us = self.now();
        self.one_try(command(right), done, true)?;
        if let Some(fitting) = &fitting {
            self.model.wiring = border::wiring(&fitting.settings);
            self.model.session.wired(asked_us + 1, self.model.wiring);
        }
        self.quiet()
    }

    /// One try at a reply, and what comes of it.
    fn one_try(
        &mut self,
        command: Command,
        done: impl Fn(&mut Book, &Counts, Option<u16>),
        is_right: bool,
    ) -> Result<(), String> {
        let before_us = self.now();
        self.bench.effects.clear();
        let answer = self.bench.request(command);
        if !matches!(answer, Ok(()) | Err(Refusal::NotReady)) || (!D::HAS_PANEL && answer.is_err())
        {
            return Err(format!("a try was answered {answer:?}"));
        }
        self.pass(DONE_US);
        self.changed(before_us, |book, at, day| {
            book.tried(at, day);
            done(book, at, day);
        });
        let tries = if is_right { 0 } else { self.model.late.tries };
        let wait_us = book::wait_s(tries) * 1_000_000;
        self.model.tries_at =
            if wait_us == 0 { (0, 0) } else { (before_us + wait_us, self.now() + wait_us) };
        self.compare().map_err(|what| {
            format!("{what} (after a {} reply)", if is_right { "right" } else { "wrong" })
        })
    }

    fn clock(&mut self, reading: Option<u16>) -> Result<(), String> {
        self.quiet()?;
        let (day, is_believed) = book::believed(self.model.day, reading);
        if !D::clock(&mut self.bench, reading) {
            return Ok(());
        }
        self.model.faults.retain(|fault| !matches!(fault, 13 | 14));
        if let (Some(day), true) = (day, is_believed) {
            self.known_day(day);
        } else {
            let fault = if reading.is_none() { 13 } else { 14 };
            self.model.faults.push(fault);
            let truth = self.truth();
            self.model.note_fault(fault, &truth);
        }
        self.quiet()
    }

    /// What came due by the calendar is stored at once.
    fn known_day(&mut self, day: u16) {
        let truth = self.truth();
        let stored = self.model.book.day(&truth);
        self.model.day = Some(day);
        let book = &mut self.model.book;
        let is_due = |place: usize, day| book.standing(place, &truth, day) == Standing::Due;
        let by_days = (0..book.parts.len())
            .filter(|place| book.parts[*place].measure == book::Measure::Days)
            .find(|place| is_due(*place, Some(day)) && !is_due(*place, stored));
        if let Some(place) = by_days {
            book.note(book::event::DUE_BY_DAY, place as u64, &truth, Some(day));
            self.model.late = self.model.book.clone();
        }
    }
}

fn expect(
    what: &str,
    answer: Result<(), Refusal>,
    expected: Result<(), Refusal>,
) -> Result<(), String> {
    if answer == expected {
        return Ok(());
    }
    Err(format!("{what} was answered {answer:?}, not {expected:?}"))
}
