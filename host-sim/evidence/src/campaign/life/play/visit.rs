//! The engineer at the board, before work: services, renewals and refits by challenge and reply,
//! wrong replies, commands without a reply.

use shaftbook_core::authority::{self, EightDigits, Key};
use shaftbook_core::board::{Command, Fitting};
use shaftbook_core::component::Role;
use shaftbook_core::counters::Counters;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::service::{Authorised, Refusal};

use super::super::days::S_US;
use super::super::ledger::Asked;
use super::{Life, Off, hear, idle};
use crate::campaign::kind::FaultKind;
use crate::campaign::life_script::{Ask, KEY};
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bus::Tear;

/// A command is done within this on a sound part, µs.
const DONE_US: u64 = 2 * S_US;
/// Longest that the engineer waits for a challenge or a try, µs.
const PATIENCE_US: u64 = 2_400 * S_US;
/// Visits for one new fitting: the supply may go in the first.
const TRIES: usize = 3;
/// A refit begins so long after midnight, µs.
const REFIT_US: u64 = 1_800 * S_US;
/// A visit ends so long before work, at least, µs.
const BEFORE_WORK_US: u64 = 60 * S_US;

impl<R: UnderTest> Life<'_, R> {
    /// The board is fitted anew in the night from `midnight_us` on.
    pub(super) fn refit(
        &mut self,
        midnight_us: u64,
        fitting: &Fitting,
        cut_after_bytes: Option<u64>,
    ) -> Result<(), String> {
        for number in 0..TRIES {
            let on_us = (midnight_us + REFIT_US).max(self.last_cut_us + S_US);
            let cut = cut_after_bytes.filter(|_| number == 0);
            self.visit(on_us, on_us + 2 * PATIENCE_US, |life, at_us| {
                let asked = Asked::Refit(Box::new(fitting.clone()));
                life.by_reply(at_us, Authorised::Refit, asked, cut, |reply| Command::Fit {
                    fitting: fitting.clone(),
                    reply: Some(reply),
                })
            })?;
            // What is on the part is seen at the next power-up.
            let on_us = self.last_cut_us + 10 * S_US;
            self.visit(on_us, on_us + PATIENCE_US, |_, at_us| Ok(at_us))?;
            if *self.book.settings() == fitting.settings && self.book.has(fitting) {
                return Ok(());
            }
        }
        Err("a new fitting is not made".into())
    }

    /// Does what is asked for in the night before work, which begins at `work_us`.
    pub(super) fn asks_before_work(&mut self, ask: &Ask, work_us: u64) -> Result<(), String> {
        let on_us = (work_us.saturating_sub(3_600 * S_US)).max(self.last_cut_us + S_US);
        let end_us = work_us.saturating_sub(BEFORE_WORK_US);
        if on_us + 30 * S_US > end_us {
            return Ok(()); // There is no time for it.
        }
        self.visit(on_us, end_us, |life, at_us| match *ask {
            Ask::Service { cut_after_bytes } => life.by_reply(
                at_us,
                Authorised::Service,
                Asked::Service,
                cut_after_bytes,
                |reply| Command::Service { reply: Some(reply) },
            ),
            Ask::RenewByReply { components, cut_after_bytes } => {
                let both = life.book.of_role(components, Role::Engineer);
                let both = both.with(life.book.of_role(components, Role::Operator));
                if both == ComponentSet::default() {
                    return Ok(at_us);
                }
                let allows = Authorised::Renew(both);
                life.by_reply(at_us, allows, Asked::RenewByReply(both), cut_after_bytes, |reply| {
                    Command::Renew { components: both, reply: Some(reply) }
                })
            }
            Ask::WrongReplies { times } => life.wrong_replies(at_us, times),
            Ask::NoReply => life.no_reply(at_us),
            _ => Ok(at_us),
        })
    }

    /// Power on at `on_us`, `act` when the board is ready, power off when it is done.
    fn visit(
        &mut self,
        on_us: u64,
        end_us: u64,
        act: impl FnOnce(&mut Self, u64) -> Result<u64, String>,
    ) -> Result<(), String> {
        self.patience_us = end_us.saturating_sub(DONE_US + S_US);
        self.power_up(on_us);
        let mut at_us = self.start(on_us, (on_us + 20 * S_US).min(end_us))?;
        if self.up.is_known {
            // What came due by the day is journalled first.
            at_us += DONE_US;
            self.run_until(at_us)?;
            at_us = act(self, at_us)?;
        }
        let is_cut = self.session.bus().is_cut();
        let off_us = if is_cut { self.session.bus_us() } else { at_us + S_US };
        if !is_cut {
            self.run_until(off_us)?;
        }
        let tear = Tear::draw(self.script.seed ^ self.cuts, self.script.part.page_bytes);
        let off = Off { at_us: off_us, kind: FaultKind::Cut, tear, warned_ms: None };
        self.switch_off(&off, &idle(on_us, off_us))
    }

    /// Waits until a try is allowed, asks for a challenge, and gives the engineer's reply to it,
    /// with the time.
    fn reply(
        &mut self,
        at_us: u64,
        allows: Authorised,
    ) -> Result<Option<(u64, EightDigits)>, String> {
        let mut at_us = at_us;
        loop {
            let answer = self.at_board(at_us, |board, now| match board.reply_wait_s(now) {
                0 => board.challenge(now, allows),
                seconds => Err(Refusal::Wait { seconds }),
            })?;
            match answer {
                Some(Ok(challenge)) => {
                    let services = self.book.services();
                    let key = Key::new(KEY);
                    let reply = authority::reply(&key, allows.purpose(), services, challenge);
                    return Ok(Some((at_us, reply)));
                }
                Some(Err(Refusal::Wait { seconds })) => {
                    at_us += u64::from(seconds) * S_US;
                    if at_us > self.patience_us {
                        return Ok(None);
                    }
                }
                Some(Err(refusal)) => {
                    return Err(format!("no challenge is given: {refusal:?}"));
                }
                None => return Ok(None),
            }
        }
    }

    /// A command with the engineer's right reply; when it is done.
    fn by_reply(
        &mut self,
        at_us: u64,
        allows: Authorised,
        asked: Asked,
        cut_after_bytes: Option<u64>,
        command: impl FnOnce(EightDigits) -> Command,
    ) -> Result<u64, String> {
        let Some((at_us, reply)) = self.reply(at_us, allows)? else { return Ok(self.now_us) };
        let command = command(reply);
        if let Some(bytes) = cut_after_bytes {
            self.tally.kinds.add(FaultKind::Cut);
            self.session.bus_mut().cut_after_bytes(bytes);
        }
        let taken = self.at_board(at_us, |board, now| {
            let at = board.lifetime(now).unwrap_or_default();
            board.request(now, command).map(|()| at)
        })?;
        match taken {
            Some(Ok(at)) => self.wait_for(at_us, asked, at),
            // Without power, or something came due in between: the engineer will come again.
            Some(Err(Refusal::Busy)) | None => Ok(at_us),
            Some(Err(refusal)) => Err(format!("the right reply is refused: {refusal:?}")),
        }
    }

    /// What is asked for is done in time, unless the supply goes.
    fn wait_for(&mut self, at_us: u64, asked: Asked, at: Counters) -> Result<u64, String> {
        let days = self.days(&at);
        self.book.asked(asked, at, days, false);
        let mut now_us = at_us;
        while now_us < at_us + DONE_US && !self.session.bus().is_cut() {
            now_us += S_US / 10;
            self.run_until(now_us)?;
        }
        if !self.session.bus().is_cut() {
            self.book.is_due();
            self.look()?;
        }
        Ok(now_us)
    }

    /// So many wrong replies, each to a challenge of its own; nothing comes of them.
    fn wrong_replies(&mut self, at_us: u64, times: u32) -> Result<u64, String> {
        let mut at_us = at_us;
        for _ in 0..times {
            let Some((asked_us, right)) = self.reply(at_us, Authorised::Service)? else { break };
            let wrong = EightDigits::new((right.get() + 1) % EightDigits::END);
            let answer = self.at_board(asked_us, |board, now| {
                board.request(now, Command::Service { reply: wrong })
            })?;
            if let Some(Err(refusal)) = answer {
                return Err(format!("a wrong reply is not even tried: {refusal:?}"));
            }
            at_us = asked_us + S_US;
            self.run_until(at_us)?;
            self.look()?;
        }
        Ok(at_us)
    }

    /// Without a reply nothing of the engineer's is done.
    fn no_reply(&mut self, at_us: u64) -> Result<u64, String> {
        let components = self.book.of_role(u32::MAX, Role::Engineer);
        let both = components.with(self.book.of_role(u32::MAX, Role::Operator));
        let answers = self.at_board(at_us, |board, now| {
            let service = board.request(now, Command::Service { reply: None });
            let of_all = board.request(now, Command::Renew { components: both, reply: None });
            [service, if components.0 == 0 { Err(Refusal::NeedsAuthority) } else { of_all }]
        })?;
        if let Some(answers) = answers
            && let Some(answer) = answers.iter().find(|a| **a != Err(Refusal::NeedsAuthority))
        {
            return Err(format!("without a reply: {answer:?}"));
        }
        self.run_until(at_us + DONE_US)?;
        self.look()?;
        Ok(at_us + DONE_US)
    }

    /// `act` at the board at `at_us`; `None` without power.
    pub(super) fn at_board<T>(
        &mut self,
        at_us: u64,
        act: impl FnOnce(&mut shaftbook_core::board::Board<R>, shaftbook_core::time::Instant) -> T,
    ) -> Result<Option<T>, String> {
        self.run_until(at_us)?;
        if self.session.bus().is_cut() {
            return Ok(None);
        }
        let (counts, news) = (&mut self.counts, &mut self.is_news);
        Ok(self.session.at_board(at_us, act, |effect| hear(counts, news, effect)))
    }
}
