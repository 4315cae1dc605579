//! The supply's part of a life: warnings, cuts, and what is found after them.

use shaftbook_core::board::Effect;
use shaftbook_world::bench::BOARD;
use shaftbook_world::bus::Tear;

use super::border;
use super::door::Door;
use super::play::{Play, STARTED_US};
use crate::reference::book;
use crate::reference::format::{self, Told};
use crate::reference::machine::{Counts, Session, Signal};
use crate::reference::promise;

/// Edges that a board keeps until it has read its memory.
const EARLY: usize = 512;

impl<D: Door> Play<D> {
    /// A stitch, then the warning, for `us`: what was counted by then is durable, if that is
    /// promised.
    pub(super) fn warn(&mut self, us: u64, twice: bool) -> Result<(), String> {
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

    /// What the bytes of the part say, if the supply goes now.
    fn told(&self) -> Result<Told, String> {
        let image = self.bench.bus.cut_image(Tear::New);
        format::read(&image, 64, BOARD.0).map_err(|what| format!("the bytes: {what}"))
    }

    /// The bytes of a part at rest say all that its board knows of commands and settings.
    pub(super) fn is_readable(&self) -> Result<(), String> {
        let (told, ledger) = (self.told()?, self.bench.board().ledger());
        let book = border::book(ledger);
        if told.book != book {
            return Err(format!("the bytes say {:?}, the board {book:?}", told.book));
        }
        border::chosen(ledger).is(&told.chosen)
    }

    pub(super) fn is_durable(&self, since_us: u64, durable: &Counts) -> Result<(), String> {
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

    pub(super) fn tear(&mut self, tear: u8) -> Tear {
        self.seed = self.seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        match tear {
            0 => Tear::Old,
            1 => Tear::New,
            2 => Tear::Prefix((self.seed >> 58) as u16),
            3 => Tear::Mix(u128::from(self.seed) * 0x1_0000_0001_0000_0001),
            4 => Tear::Erased,
            _ => Tear::Garbage(self.seed),
        }
    }

    /// The supply goes now, and comes back; `early` edges come before the memory is read.
    pub(super) fn cut(&mut self, tear: u8, early: u16) -> Result<(), String> {
        let tear = self.tear(tear);
        let cut_us = self.now();
        let lag_us = cut_us.saturating_sub(self.bench.bus_us());
        let bus_ns = self.bench.bus.now_ns() + lag_us * 1_000;
        self.bench.bus.advance_to(bus_ns);
        let durable = border::counts(&self.bench.acknowledged);
        let done = self.is_done();
        // Of a part on which nothing is under way, a reader of its bytes finds the same.
        let is_whole = done && self.bench.bus.page_under_way().is_none();
        let told = is_whole.then(|| self.told()).transpose()?;
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
        self.drive(&edges, last_us + STARTED_US);
        if let Some(reading @ Signal::Voltage(_)) = self.reading(self.needle) {
            // The loop reads it again and again, and so also when the settings are known.
            let at_us = self.now();
            self.drive(&[(at_us, reading)], at_us + self.hold_us() + 30_000);
        }
        let found = self.bench.board().past().map(border::counts);
        let found = found.ok_or("a board does not know its past after a cut")?;
        if let Some(told) = told.filter(|told| told.counts != found) {
            return Err(format!("the bytes say {:?}, the board finds {found:?}", told.counts));
        }

        // What it found is judged by the session before, which is put back for that.
        let session = std::mem::replace(&mut self.model.session, before);
        let past_ms = self.model.past.powered_ms;
        let model = &self.model;
        promise::may_be_found(&found, &durable, &model.open(cut_us), &wiring, |powered_ms| {
            let at_us = powered_ms.checked_sub(past_ms)? * 1_000;
            if at_us > cut_us {
                return None;
            }
            Some((model.open(at_us), model.open((at_us + 999).min(cut_us))))
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
    pub(super) fn is_done(&self) -> bool {
        let entries = self.bench.effects.iter();
        self.model.before.is_none()
            || entries.filter(|effect| matches!(effect, Effect::EntryDurable { .. })).count() > 0
    }

    /// A command that was under way is wholly done or wholly not.
    pub(super) fn found_book(&mut self, done: bool) -> Result<(), String> {
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
    pub(super) fn early_edges(&self, early: u16, edges: &mut Vec<(u64, Signal)>) {
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
}
