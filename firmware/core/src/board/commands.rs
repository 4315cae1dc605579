//! What a person asks of the board, and what comes of it.
//!
//! Invariants: nothing is changed by a command that is refused; one that needs the
//! engineer's reply is stored as tried before it is judged.

use super::{Board, Command, Fitting};
use crate::authority::{ChallengeBasis, EightDigits};
use crate::component::{COMPONENTS_MAX, Role};
use crate::fault::Fault;
use crate::journal::{AUTHORISED, ComponentSet, Entry, Event};
use crate::ledger::Fitted;
use crate::rules::Rules;
use crate::service::{Authorised, Refusal};
use crate::time::Instant;

impl<R: Rules> Board<R> {
    /// Opens a challenge for the engineer and gives its digits. The reply is good for a
    /// command that does just what `allows` says.
    ///
    /// # Errors
    /// [`Refusal::NotReady`] until the board is ready; [`Refusal::NoSuchComponent`];
    /// [`Refusal::Wait`] when too many challenges were asked for.
    pub fn challenge(&mut self, now: Instant, allows: Authorised) -> Result<EightDigits, Refusal> {
        let lifetime = self.lifetime(now).filter(|_| self.is_ready()).ok_or(Refusal::NotReady)?;
        if let Authorised::Renew(components) = allows {
            self.check_components(components)?;
        }
        let basis = ChallengeBasis {
            id: self.id,
            purpose: allows.purpose(),
            components: allows.components().0,
            services: self.ledger.services,
            tries: self.ledger.tries,
            powered_ms: if R::fresh_challenges() { lifetime.powered_ms } else { 0 },
            stitches: if R::fresh_challenges() { lifetime.stitches() } else { 0 },
        };
        self.gate.challenge(now, allows, &basis)
    }

    /// How long until a reply is taken, after wrong ones, s of powered time; 0 for now.
    #[must_use]
    pub fn reply_wait_s(&self, now: Instant) -> u32 {
        self.gate.wait_s(now)
    }

    fn check_components(&self, components: ComponentSet) -> Result<(), Refusal> {
        let places = self.ledger.components.len();
        if components.0 == 0 || (u64::from(components.0) >> places) != 0 {
            return Err(Refusal::NoSuchComponent);
        }
        Ok(())
    }

    /// Asks for a command. It has happened when its effect says that it is durable.
    ///
    /// # Errors
    /// A [`Refusal`]; nothing was changed then.
    pub fn request(&mut self, now: Instant, command: Command) -> Result<(), Refusal> {
        if self.reply.is_some() || self.refit.is_some() || !self.waiting.is_empty() {
            return Err(Refusal::Busy);
        }
        self.attention = true;
        match command {
            Command::Fit { fitting, reply } => self.request_fit(now, fitting, reply),
            Command::Renew { components, reply } => self.request_renewal(now, components, reply),
            Command::Service { reply } => match reply {
                Some(reply) => self.request_try(now, Authorised::Service, reply),
                None if !R::ask_authority() && self.is_ready() => {
                    self.serve(now);
                    Ok(())
                }
                None => Err(Refusal::NeedsAuthority),
            },
        }
    }

    pub(super) fn request_fit(
        &mut self,
        now: Instant,
        fitting: Fitting,
        reply: Option<EightDigits>,
    ) -> Result<(), Refusal> {
        fitting.settings.check().map_err(|_| Refusal::BadSettings)?;
        if self.store.is_ready() {
            let reply = reply.ok_or(Refusal::NeedsAuthority)?;
            self.request_try(now, Authorised::Refit, reply)?;
            self.refit = Some(fitting);
            return Ok(());
        }
        self.store.write_ledger().map_err(|_| Refusal::NotReady)?;
        // Counters that outlived the ledger are kept.
        self.past = Some(self.past.unwrap_or_default());
        self.fit(now, &fitting);
        self.leave_early();
        Ok(())
    }

    pub(super) fn request_renewal(
        &mut self,
        now: Instant,
        components: ComponentSet,
        reply: Option<EightDigits>,
    ) -> Result<(), Refusal> {
        if !self.is_ready() {
            return Err(Refusal::NotReady);
        }
        self.check_components(components)?;
        let engineers = self.ledger.components.iter().enumerate().any(|(place, fitted)| {
            components.contains(place) && fitted.component.renewed_by == Role::Engineer
        });
        match reply {
            None if engineers && R::ask_authority() => Err(Refusal::NeedsAuthority),
            Some(reply) if engineers => self.request_try(now, Authorised::Renew(components), reply),
            _ => {
                self.wait(Event::Renewed, 0, components, Some(now));
                Ok(())
            }
        }
    }

    pub(super) fn request_try(
        &mut self,
        now: Instant,
        allows: Authorised,
        reply: EightDigits,
    ) -> Result<(), Refusal> {
        if !self.is_ready() {
            return Err(Refusal::NotReady);
        }
        self.reply = Some(self.gate.take::<R>(now, allows, reply)?);
        self.wait(Event::ReplyTried, 0, ComponentSet::default(), Some(now));
        if !R::store_before_judging() {
            self.judge(now);
        }
        Ok(())
    }

    /// An entry is stored: if it is a try, it is judged now.
    pub(super) fn entry_stored(&mut self, now: Instant, entry: &Entry) {
        if entry.event == Event::ReplyTried {
            self.judge(now);
        }
    }

    fn judge(&mut self, now: Instant) {
        let refit = self.refit.take();
        let Some(tried) = self.reply.take() else { return };
        self.gate.start_wait::<R>(now, self.ledger.tries);
        if R::ask_authority() && !tried.is_right::<R>(&self.ledger.key) {
            self.refused = true;
            return;
        }
        // It was right: the waits of the tries before it are over.
        self.gate.start_wait::<R>(now, 0);
        match tried.allows {
            Authorised::Service => self.serve(now),
            Authorised::Renew(components) => {
                self.wait(Event::Renewed, AUTHORISED, components, Some(now));
            }
            Authorised::Refit => {
                if let Some(fitting) = refit
                    && self.store.write_ledger().is_ok()
                {
                    self.fit(now, &fitting);
                }
            }
        }
    }

    pub(super) fn serve(&mut self, now: Instant) {
        let renewed = self.ledger.renewed_by_service();
        if R::service_in_one_entry() {
            self.wait(Event::Served, 0, renewed, Some(now));
        } else {
            self.wait(Event::Served, 0, ComponentSet::default(), Some(now));
            self.wait(Event::Renewed, AUTHORISED, renewed, Some(now));
        }
    }

    /// Takes a fitting into the ledger; the store writes it.
    pub(super) fn fit(&mut self, now: Instant, fitting: &Fitting) {
        let lifetime = self.lifetime(now).unwrap_or_default();
        let mut baselines = [0; COMPONENTS_MAX];
        for (component, baseline) in fitting.components.iter().zip(&mut baselines) {
            let same = |f: &&Fitted| {
                f.component.kind == component.kind && f.component.measure == component.measure
            };
            *baseline = match self.ledger.components.iter().find(same) {
                Some(kept) => kept.baseline,
                None => component.measure.value(&lifetime, self.day),
            };
        }
        self.ledger.components.clear();
        for (component, baseline) in fitting.components.iter().zip(baselines) {
            // Cannot fail: both lists have the same room.
            let _ = self.ledger.components.push(Fitted { component: *component, baseline });
        }
        self.ledger.settings = fitting.settings;
        self.ledger.carried_in = fitting.carried_in;
        self.ledger.key = fitting.key.clone();
        self.ledger.tries = 0;
        self.meter.set(fitting.settings);
        for fault in [Fault::NotFitted, Fault::ForeignMemory, Fault::MemoryUnreadable] {
            self.faults.clear(fault);
        }
        self.attention = true;
    }
}
