//! A board and the reference side by side: what goes to both, and what is compared.
//!
//! Invariants: the reference gets the same signals and requests, and of the board only what a
//! person could see; where the documents leave a choice it takes over the board's, once.

use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::Command;
use shaftbook_core::medium::Geometry;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::{BOARD, Bench, Meant};
use shaftbook_world::bus::{Bus, Part, Tear, Timing};

use super::border;
use super::door::Door;
use super::life::Life;
use crate::reference::book::{self, Book};
use crate::reference::machine::{Counted, Counts, NEEDLES, Session, Signal, Wiring};
use crate::reference::promise::Warnings;

/// A board at rest: all that came in is certain and stored, µs.
const QUIET_US: u64 = 200_000;
/// A board has started within this, µs: the longest scan of a part takes 1.4 s.
pub(super) const STARTED_US: u64 = 3_000_000;

/// What the reference knows of the machine and its board.
pub(super) struct Model {
    pub(super) past: Counts,
    pub(super) session: Session,
    pub(super) wiring: Wiring,
    /// What may have come of the commands so far, at the least and at the most.
    pub(super) book: Book,
    pub(super) late: Book,
    /// Before a command that is not known to be done.
    pub(super) before: Option<Book>,
    pub(super) day: Option<u16>,
    pub(super) warnings: Warnings,
    /// Stitches and breaks that could be a needle's or nobody's: how many were decided, and how
    /// many of them are the needle's.
    pub(super) decided: [[u64; NEEDLES]; 2],
    pub(super) taken: [[u64; NEEDLES]; 2],
    /// A reply may be tried from then on: at the earliest and the latest, µs.
    pub(super) tries_at: (u64, u64),
    /// Faults that were seen since power-up, and those that are present.
    pub(super) noted: Vec<u64>,
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

    /// The same, with all that may be a needle's or nobody's left open: for a moment before some
    /// of it was decided.
    pub(super) fn open(&self, at_us: u64) -> Counted {
        let all = self.session.counted(at_us);
        Counted { counts: self.past.plus(&all.counts), ..all }
    }

    pub(super) fn note_fault(&mut self, fault: u64, at: &Counts) {
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
    pub(super) needle: u8,
    pub(super) is_jumping: bool,
    pub(super) used: Option<EightDigits>,
    pub(super) seed: u64,
    pub(super) sampled: bool,
}

impl<D: Door> Play<D> {
    pub(super) fn begun(life: &Life) -> Result<Self, String> {
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
        // Some have had more power-ups than the low bits of a snapshot's mark can tell.
        let restarts = match life.variant / 47 % 8 {
            _ if D::HAS_PANEL => 0,
            0 => 9,
            _ => 1,
        };
        for _ in 0..restarts {
            let next = bench.powered_again(Tear::New);
            bench = next;
            bench.rest(&mut |_| {});
        }
        let past = bench.board().past().map(border::counts).ok_or("a fitted board forgets")?;
        let power_ups = restarts.max(1);
        let begun = Counts { powered_ms: past.powered_ms, power_ups, ..Counts::default() };
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
        play.needle(1);
        play.quiet()?;
        Ok(play)
    }

    pub(super) fn now(&self) -> u64 {
        self.bench.now_us
    }

    pub(super) fn truth(&self) -> Counts {
        self.model.counted(self.now()).counts
    }

    /// These edges come in, and time passes to `until_us`.
    pub(super) fn drive(&mut self, edges: &[(u64, Signal)], until_us: u64) {
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

    pub(super) fn pass(&mut self, us: u64) {
        self.drive(&[], self.now() + us);
    }

    /// Until all that came in is certain; then both are compared.
    pub(super) fn quiet(&mut self) -> Result<(), String> {
        self.pass(QUIET_US);
        self.compare()
    }

    pub(super) fn compare(&mut self) -> Result<(), String> {
        let now_us = self.now();
        let board = border::lifetime(self.bench.board(), Instant::from_us(now_us))?;
        self.same_counts(&board, now_us)?;
        self.same_book()?;
        if self.bench.board().day() != self.model.day {
            let (board, documents) = (self.bench.board().day(), self.model.day);
            return Err(format!("the day: the board says {board:?}, the documents {documents:?}"));
        }
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
    pub(super) fn same_book(&mut self) -> Result<(), String> {
        let board = border::book(self.bench.board().ledger());
        self.model.book.allows(&self.model.late, &board)?;
        self.model.book = board.clone();
        self.model.late = board;
        self.model.before = None;
        Ok(())
    }
}
