//! The people's part of a life: renewals, services, replies, fittings, dates.

use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::Command;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_world::bench::{BOARD, KEY};

use super::border;
use super::door::Door;
use super::life::Reply;
use super::play::Play;
use crate::reference::book::{self, Book, Standing};
use crate::reference::engineer::{self, Allows, Bound};
use crate::reference::machine::Counts;

/// A command is done within this, µs.
const DONE_US: u64 = 2_500_000;
/// Longest wait that a life waits for a try, s.
const WAITED_S: u64 = 250;

impl<D: Door> Play<D> {
    pub(super) fn all_places(&self) -> u32 {
        self.model.book.places(|_| true)
    }

    pub(super) fn first_if_panel(places: u32) -> u32 {
        if D::HAS_PANEL { places & places.wrapping_neg() } else { places }
    }

    /// What a person asked changes the book from `before_us` on, and by now at the latest.
    pub(super) fn changed(
        &mut self,
        before_us: u64,
        change: impl Fn(&mut Book, &Counts, Option<u16>),
    ) {
        let (early, late) = (self.model.counted(before_us).counts, self.truth());
        self.model.before.get_or_insert_with(|| self.model.book.clone());
        let day = self.model.day;
        self.model.late = self.model.book.clone();
        change(&mut self.model.book, &early, day);
        change(&mut self.model.late, &late, day);
    }

    pub(super) fn renew(&mut self, places: u32, wait: bool) -> Result<(), String> {
        self.quiet()?;
        let places = Self::first_if_panel(places & self.all_places());
        if places == 0 {
            return Ok(());
        }
        let before_us = self.now();
        self.bench.effects.clear();
        let components = ComponentSet(places);
        let answer = self.bench.request(Command::Renew { components, reply: None });
        if self.model.book.needs_engineer(places) {
            // While a try must wait, the panel says so instead of asking for the engineer.
            if !(D::HAS_PANEL && before_us < self.model.tries_at.1 && answer.is_err()) {
                expect("a renewal of the engineer's", answer, Err(Refusal::NeedsAuthority))?;
            }
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

    /// Asks for a challenge, and again when there were too many. A panel gives none before a
    /// reply may be tried; `None`: that is too long to wait for.
    pub(super) fn challenge(&mut self, allows: Authorised) -> Result<Option<EightDigits>, String> {
        for _ in 0..3 {
            let left_us = self.model.tries_at.1.saturating_sub(self.now());
            match self.bench.challenge(allows) {
                Err(Refusal::Wait { seconds: 0..=10 }) => self.pass(10_000_000),
                Err(Refusal::Wait { seconds }) if D::HAS_PANEL => {
                    let us = u64::from(seconds) * 1_000_000;
                    if us > left_us + 1_000_000 {
                        return Err(format!("a wait of {seconds} s at the panel"));
                    }
                    if u64::from(seconds) > WAITED_S {
                        return Ok(None);
                    }
                    self.pass(us);
                }
                // At the panel it is not known to the ms when it was asked for.
                Ok(challenge) if D::HAS_PANEL && challenge.get() < 100_000_000 => {
                    return Ok(Some(challenge));
                }
                Ok(challenge) => {
                    let expected = self.bound(allows).challenge();
                    if challenge.get() != expected {
                        return Err(format!("the challenge is {challenge:?}, not {expected}"));
                    }
                    return Ok(Some(challenge));
                }
                Err(refusal) => return Err(format!("no challenge: {refusal:?}")),
            }
        }
        Err("no challenge after three pauses".into())
    }

    /// What a challenge that is asked for now is bound to.
    fn bound(&self, allows: Authorised) -> Bound {
        let (truth, book) = (self.truth(), &self.model.book);
        Bound {
            board: BOARD.0,
            allows: border::allows(allows),
            places: if let Authorised::Renew(components) = allows { components.0 } else { 0 },
            services: book.services as u16,
            tries: book.tries as u8,
            powered_ms: truth.powered_ms,
            stitches: truth.stitches(),
        }
    }

    pub(super) fn try_reply(
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
        let Some(challenge) = self.challenge(allows)? else { return self.quiet() };
        let services = self.bench.board().ledger().services;
        let engineer = |allows| {
            let digits = engineer::reply(&KEY, allows, services, challenge.get());
            EightDigits::new(digits).ok_or("a reply of more than eight digits")
        };
        let right = engineer(border::allows(allows))?;
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
                Allows::Refit
            } else {
                Allows::Service
            })?,
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
    pub(super) fn one_try(
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

    pub(super) fn clock(&mut self, reading: Option<u16>) -> Result<(), String> {
        self.quiet()?;
        let (day, is_believed) = book::believed(self.model.day, reading);
        if !D::clock(&mut self.bench, reading) {
            return Ok(());
        }
        self.model.faults.retain(|fault| !matches!(fault, 13 | 14));
        if let (Some(day), true) = (day, is_believed) {
            self.known_day(day);
        } else {
            let fault = if reading.is_none_or(|day| day == 0) { 13 } else { 14 };
            self.model.faults.push(fault);
            let truth = self.truth();
            self.model.note_fault(fault, &truth);
        }
        self.quiet()
    }

    /// What came due by the calendar is stored at once.
    pub(super) fn known_day(&mut self, day: u16) {
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

/// It was answered so.
pub(super) fn expect(
    what: &str,
    answer: Result<(), Refusal>,
    expected: Result<(), Refusal>,
) -> Result<(), String> {
    if answer == expected {
        return Ok(());
    }
    Err(format!("{what} was answered {answer:?}, not {expected:?}"))
}
