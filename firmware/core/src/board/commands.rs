//! What a person asks of the board, and what comes of it.
//!
//! Invariants: nothing is changed by a command that is refused; one that needs the
//! engineer's reply is stored as tried before it is judged.

use super::{Board, Command, Effect, Fitting};
use crate::authority::{ChallengeBasis, EightDigits};
use crate::component::Role;
use crate::counters::Counters;
use crate::fault::Fault;
use crate::journal::{AUTHORISED, ComponentSet, Event};
use crate::ledger::Fitted;
use crate::rules::Rules;
use crate::service::{Authorised, Gate, Refusal, Try};
use crate::time::Instant;

/// What was asked and is not done yet.
#[derive(Clone, Debug)]
pub(super) struct Requests {
    gate: Gate,
    reply: Option<Try>,
    refit: Option<Fitting>,
    /// A reply was wrong, which was not told yet.
    refused: bool,
}

impl Requests {
    /// Nothing was asked.
    pub(super) const fn new() -> Self {
        Self { gate: Gate::new(), reply: None, refit: None, refused: false }
    }

    /// Whether a refusal was not told yet.
    pub(super) fn are_untold(&self) -> bool {
        self.refused
    }

    /// A refusal, as an effect: it is told now.
    pub(super) fn next_effect(&mut self) -> Option<Effect> {
        core::mem::take(&mut self.refused).then_some(Effect::ReplyRefused)
    }

    /// Nothing will be stored any more: nothing waits for it.
    pub(super) fn give_up(&mut self) {
        (self.reply, self.refit) = (None, None);
    }

    /// The gate, for whoever asks what it is in the middle of.
    #[cfg(feature = "activity")]
    pub(super) fn gate(&self) -> &Gate {
        &self.gate
    }

    /// Whether a reply is being stored as tried, before it is judged.
    #[cfg(feature = "activity")]
    pub(super) fn is_judging(&self) -> bool {
        self.reply.is_some()
    }

    /// Whether a new fitting waits for its reply to be judged.
    #[cfg(feature = "activity")]
    pub(super) fn is_refitting(&self) -> bool {
        self.refit.is_some()
    }
}

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
            services: self.ledger().services,
            tries: self.ledger().tries,
            powered_ms: if R::fresh_challenges() { lifetime.powered_ms } else { 0 },
            stitches: if R::fresh_challenges() { lifetime.stitches() } else { 0 },
        };
        self.requests.gate.challenge(now, allows, &basis)
    }

    /// How long until a reply is taken, after wrong ones, s of powered time; 0 for now.
    #[must_use]
    pub fn reply_wait_s(&self, now: Instant) -> u32 {
        self.requests.gate.wait_s(now)
    }

    fn check_components(&self, components: ComponentSet) -> Result<(), Refusal> {
        let places = self.ledger().components.len();
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
        if self.requests.reply.is_some()
            || self.requests.refit.is_some()
            || self.entries.are_waiting()
        {
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

    fn request_fit(
        &mut self,
        now: Instant,
        fitting: Fitting,
        reply: Option<EightDigits>,
    ) -> Result<(), Refusal> {
        fitting.settings.check().map_err(|_| Refusal::BadSettings)?;
        if self.store.is_ready() {
            let reply = reply.ok_or(Refusal::NeedsAuthority)?;
            self.request_try(now, Authorised::Refit, reply)?;
            self.requests.refit = Some(fitting);
            return Ok(());
        }
        // Counters that outlived the ledger are kept.
        let past = self.past.unwrap_or_default();
        let lifetime = self.add(&past, now);
        self.fit(&lifetime, &fitting).map_err(|_| Refusal::NotReady)?;
        self.past = Some(past);
        self.leave_early();
        Ok(())
    }

    fn request_renewal(
        &mut self,
        now: Instant,
        components: ComponentSet,
        reply: Option<EightDigits>,
    ) -> Result<(), Refusal> {
        if !self.is_ready() {
            return Err(Refusal::NotReady);
        }
        self.check_components(components)?;
        let engineers = self.needs_engineer(components);
        match reply {
            None if engineers && R::ask_authority() => Err(Refusal::NeedsAuthority),
            Some(reply) if engineers => self.request_try(now, Authorised::Renew(components), reply),
            _ => {
                self.wait(Event::Renewed, 0, components, Some(now));
                Ok(())
            }
        }
    }

    fn needs_engineer(&self, components: ComponentSet) -> bool {
        let fitted = self.ledger().components.iter().enumerate();
        let mut asked = fitted.filter(|(place, _)| components.contains(*place));
        let is_engineers =
            |(_, fitted): (_, &Fitted)| fitted.component.renewed_by == Role::Engineer;
        if R::engineer_for_any() { asked.any(is_engineers) } else { asked.all(is_engineers) }
    }

    fn request_try(
        &mut self,
        now: Instant,
        allows: Authorised,
        reply: EightDigits,
    ) -> Result<(), Refusal> {
        if !self.is_ready() {
            return Err(Refusal::NotReady);
        }
        self.requests.reply = Some(self.requests.gate.take::<R>(now, allows, reply)?);
        self.wait(Event::ReplyTried, 0, ComponentSet::default(), Some(now));
        if !R::store_before_judging() {
            self.judge(now);
        }
        Ok(())
    }

    /// The waits of tries before the power-up last on.
    pub(super) fn wait_after_power_up(&mut self, now: Instant) {
        if R::wait_after_power_up() {
            self.requests.gate.start_wait::<R>(now, self.ledger().tries);
        }
    }

    /// An entry is stored: if it is a try, it is judged now.
    pub(super) fn entry_stored(&mut self, now: Instant, event: Event) {
        if event == Event::ReplyTried {
            self.judge(now);
        }
    }

    fn judge(&mut self, now: Instant) {
        let refit = self.requests.refit.take();
        let Some(tried) = self.requests.reply.take() else { return };
        self.requests.gate.start_wait::<R>(now, self.ledger().tries);
        if R::ask_authority() && !tried.is_right::<R>(&self.ledger().key) {
            self.requests.refused = true;
            return;
        }
        // It was right: the waits of the tries before it are over.
        if R::right_reply_ends_wait() {
            self.requests.gate.start_wait::<R>(now, 0);
        }
        match tried.allows {
            Authorised::Service => self.serve(now),
            Authorised::Renew(components) => {
                let subject = if R::renewal_is_stated_authorised() { AUTHORISED } else { 0 };
                self.wait(Event::Renewed, subject, components, Some(now));
            }
            Authorised::Refit => {
                if let (Some(fitting), Some(lifetime)) = (refit, self.lifetime(now)) {
                    // A part that is worn out since names itself as a fault.
                    let _ = self.fit(&lifetime, &fitting);
                }
            }
        }
    }

    fn serve(&mut self, now: Instant) {
        let renewed = self.ledger().renewed_by_service();
        if R::service_in_one_entry() {
            self.wait(Event::Served, 0, renewed, Some(now));
        } else {
            self.wait(Event::Served, 0, ComponentSet::default(), Some(now));
            self.wait(Event::Renewed, AUTHORISED, renewed, Some(now));
        }
    }

    /// Takes a fitting into the ledger; the store writes it.
    fn fit(&mut self, lifetime: &Counters, fitting: &Fitting) -> Result<(), Fault> {
        let day = self.day();
        let ledger = self.store.change_ledger()?;
        ledger.set_components::<R>(&fitting.components, lifetime, day);
        ledger.settings = fitting.settings;
        ledger.carried_in = fitting.carried_in;
        ledger.key = fitting.key.clone();
        ledger.tries = 0;
        self.meter.set::<R>(fitting.settings);
        for fault in [Fault::NotFitted, Fault::ForeignMemory, Fault::MemoryUnreadable] {
            self.faults.set(fault, false);
        }
        self.attention = true;
        Ok(())
    }
}
