//! The board: one plain state machine. Inputs with their time stamps and commands
//! in; effects and the next deadline out.
//!
//! How a main loop uses it: drain the captured edges into [`Board::input`], call
//! [`Board::poll`] until it gives no effect, sleep until an edge or the deadline.
//!
//! Invariants:
//! - counting starts with the first edge after reset; what is counted before the
//!   past is known is added to it;
//! - no command and no fault ever lowers a lifetime counter;
//! - at most one bus transaction a poll.
//!
//! Never panics, whatever the inputs and the memory part do.

use crate::authority::{ChallengeBasis, EightDigits, Key};
use crate::component::{COMPONENTS_MAX, Component, Role};
use crate::counters::Counters;
use crate::fault::{Fault, FaultSet};
use crate::identity::BoardId;
use crate::input::{Input, Level};
use crate::journal::{AUTHORISED, ComponentSet, Entry, EntryNumber, Event};
use crate::ledger::{CarriedIn, Fitted, Ledger};
use crate::medium::Medium;
use crate::meter::Meter;
use crate::rules::{Rules, Sound};
use crate::service::{Authorised, Gate, Refusal, Try};
use crate::settings::Settings;
use crate::store::{Store, StoreEvent, Wanted};
use crate::time::Instant;
use heapless::{Deque, Vec};

/// Edges kept until the settings are known.
pub const EARLY_MAX: usize = 512;
/// Journal entries waiting to be written.
const WAITING_MAX: usize = 6;
/// Most of them that one command asks for.
const COMMAND_ENTRIES: usize = 2;
/// A checkpoint is begun this long before its interval ends, µs, so that it is
/// durable by then even behind two copies of a journal entry.
const WRITE_AHEAD_US: u64 = 100_000;
/// Power-fail answers without a pause between them.
const ANSWERS_MAX: u8 = 8;
/// Pause between further answers, µs.
const ANSWER_PAUSE_US: u64 = 1_000_000;
/// Calm after which warnings are answered without a pause again, µs.
const CALM_US: u64 = 10_000_000;

/// A fitting: what a person decides when the board is wired to a machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fitting {
    /// Wiring and counting.
    pub settings: Settings,
    /// The profile.
    pub components: Vec<Component, COMPONENTS_MAX>,
    /// What is stated of the machine's past.
    pub carried_in: CarriedIn,
    /// The board's key.
    pub key: Key,
}

/// What a person asks of the board.
// A fitting is large, rare and made once: no allocation to put it behind.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Command {
    /// Fit the board. On a board already fitted this needs the engineer's reply and
    /// keeps all baselines, services and journal.
    Fit {
        /// What was decided.
        fitting: Fitting,
        /// The reply, on a board already fitted.
        reply: Option<EightDigits>,
    },
    /// Renew components: part replaced, oiled, cleaned.
    Renew {
        /// Which.
        components: ComponentSet,
        /// The reply, if one of them is the engineer's.
        reply: Option<EightDigits>,
    },
    /// A service.
    Service {
        /// The engineer's reply to the open challenge.
        reply: Option<EightDigits>,
    },
}

/// What has happened, for the panel, the log and the harness.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Effect {
    /// The lifetime counters are known; these were stored last.
    LifetimeKnown(Counters),
    /// Everything is known; commands are accepted.
    Ready,
    /// These lifetime counters are durable.
    CheckpointDurable(Counters),
    /// This journal entry is durable.
    EntryDurable {
        /// Its number.
        number: EntryNumber,
        /// What happened.
        event: Event,
    },
    /// The whole ledger is durable in a new snapshot, and so are these counters. A fitting
    /// is done when this comes; a full snapshot comes about once a lap of the ring too.
    LedgerDurable(Counters),
    /// The reply was wrong; nothing was changed.
    ReplyRefused,
    /// A fault appeared.
    FaultRaised(Fault),
    /// A fault is over.
    FaultCleared(Fault),
}

/// Answer of a poll.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Polled {
    /// What has happened; poll again at once when there is something.
    pub effect: Option<Effect>,
    /// When to poll again if nothing happens before.
    pub deadline: Instant,
}

/// An entry that waits for its turn; numbered when it gets it.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    event: Event,
    subject: u16,
    renewed: ComponentSet,
    at: Option<Counters>,
}

/// A Shaftbook board.
// Each flag is one independent fact that outlives a poll.
#[allow(clippy::struct_excessive_bools)]
#[derive(Clone, Debug)]
pub struct Board<R: Rules = Sound> {
    id: BoardId,
    meter: Meter,
    /// Edges that came before the settings were known.
    early: Deque<(Instant, Input), EARLY_MAX>,
    /// The settings are known, or were given up waiting for.
    counting: bool,
    past: Option<Counters>,
    ledger: Ledger,
    store: Store<R>,
    entry: Option<Entry>,
    waiting: Deque<Waiting, WAITING_MAX>,
    gate: Gate,
    reply: Option<Try>,
    refit: Option<Fitting>,
    faults: FaultSet,
    told: FaultSet,
    refused: bool,
    journalled: FaultSet,
    /// When the power-fail warning came, while it lasts.
    warned_at: Option<Instant>,
    /// Answers to warnings that need no pause before them.
    answers_left: u8,
    next_answer_at: Instant,
    attention: bool,
    deadline: Instant,
    saved_at: Instant,
    /// Running time of the session that is durable, µs.
    saved_running_us: u64,
    /// Running time at which the board looks at the checkpoint interval, µs.
    running_look_us: u64,
    trim_limit: u64,
    day: Option<u16>,
    /// The checkpoint that makes this power-up count, and all older ones final.
    boot_record_due: bool,
}

impl<R: Rules> Board<R> {
    /// A board at reset. `fallback` is what it counts with while the memory part
    /// gives no settings.
    #[must_use]
    pub fn new(id: BoardId, fallback: Settings) -> Self {
        let fallback = if fallback.check().is_ok() { fallback } else { Settings::default() };
        let key = Key::new([0; crate::authority::KEY_BYTES]);
        Self {
            id,
            meter: Meter::new(fallback),
            early: Deque::new(),
            counting: false,
            past: None,
            ledger: Ledger::new(fallback, key),
            store: Store::new(id),
            entry: None,
            waiting: Deque::new(),
            gate: Gate::new(),
            reply: None,
            refit: None,
            faults: FaultSet::default(),
            told: FaultSet::default(),
            refused: false,
            journalled: FaultSet::default(),
            warned_at: None,
            answers_left: ANSWERS_MAX,
            next_answer_at: Instant::ZERO,
            attention: true,
            deadline: Instant::ZERO,
            saved_at: Instant::ZERO,
            saved_running_us: 0,
            running_look_us: u64::MAX,
            trim_limit: u64::MAX,
            day: None,
            boot_record_due: false,
        }
    }

    /// Whose memory this is.
    #[must_use]
    pub fn id(&self) -> BoardId {
        self.id
    }

    /// The session's counters at `now`: since power-up.
    #[must_use]
    pub fn session(&self, now: Instant) -> Counters {
        self.meter.session(now)
    }

    /// The lifetime counters at `now`; `None` until the past is known. On a board
    /// that was never fitted they count from this power-up once it is.
    #[must_use]
    pub fn lifetime(&self, now: Instant) -> Option<Counters> {
        self.past.map(|past| self.add(&past, now))
    }

    /// What was counted before this power-up; `None` until it is known.
    #[must_use]
    pub fn past(&self) -> Option<&Counters> {
        self.past.as_ref()
    }

    /// The lifetime counters that are durable.
    #[must_use]
    pub fn saved(&self) -> &Counters {
        self.store.saved()
    }

    /// Everything durable that is not a counter.
    #[must_use]
    pub fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// The store, for figures on the memory's health.
    #[must_use]
    pub fn store(&self) -> &Store<R> {
        &self.store
    }

    /// Mutable access to the store, for tests of roll-over before a fitting.
    pub fn store_mut(&mut self) -> &mut Store<R> {
        &mut self.store
    }

    /// The faults present.
    #[must_use]
    pub fn faults(&self) -> FaultSet {
        self.faults
    }

    /// Whether commands are accepted.
    #[must_use]
    pub fn is_ready(&self) -> bool {
        self.store.can_write() && self.past.is_some()
    }

    /// What the board counts with.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        self.meter.settings()
    }

    /// Tells the board the calendar day, where a clock is fitted: 1 is 1 January 2020
    /// (Gregorian), 65,535 is in 2199.
    pub fn set_day(&mut self, day: Option<u16>) {
        self.day = day.filter(|d| *d != 0);
    }

    /// One change of one input, in the order of time.
    #[inline]
    pub fn input(&mut self, at: Instant, input: Input) {
        if let Input::PowerFail(level) = input {
            self.power_fail(at, level);
            return;
        }
        if !self.counting {
            let Err((at, input)) = self.early.push_back((at, input)) else { return };
            // No room to wait any longer: the settings at hand have to do.
            self.leave_early();
            self.meter.input::<R>(at, input);
            return;
        }
        self.meter.input::<R>(at, input);
        if self.meter.running_us() >= self.running_look_us || self.meter.trims() >= self.trim_limit
        {
            self.attention = true;
        }
        if !matches!(input, Input::Shaft(_)) {
            self.deadline = self.deadline.min(self.meter.certain_at());
        }
    }

    /// Edges that the capture side lost.
    pub fn missed_edges(&mut self, count: u32) {
        if count > 0 {
            self.meter.missed_edges(count);
            self.raise(Fault::EdgesMissed);
        }
    }

    /// Reports a fault that the firmware noticed (a panic before the last reset).
    pub fn raise(&mut self, fault: Fault) {
        self.faults.raise(fault);
        self.attention = true;
    }

    /// Opens a challenge for the engineer and gives its digits.
    ///
    /// # Errors
    /// [`Refusal::NotReady`] until the board is ready.
    pub fn challenge(&mut self, now: Instant) -> Result<EightDigits, Refusal> {
        let lifetime = self.lifetime(now).filter(|_| self.is_ready()).ok_or(Refusal::NotReady)?;
        let basis = ChallengeBasis {
            id: self.id,
            services: self.ledger.services,
            tries: self.ledger.tries,
            powered_ms: lifetime.powered_ms,
            stitches: lifetime.stitches(),
        };
        Ok(self.gate.challenge(now, &basis))
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
                None if !R::ASK_AUTHORITY && self.is_ready() => {
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

    fn request_renewal(
        &mut self,
        now: Instant,
        components: ComponentSet,
        reply: Option<EightDigits>,
    ) -> Result<(), Refusal> {
        if !self.is_ready() {
            return Err(Refusal::NotReady);
        }
        let place_count = self.ledger.components.len();
        if components.0 == 0 || (u64::from(components.0) >> place_count) != 0 {
            return Err(Refusal::NoSuchComponent);
        }
        let engineers = self.ledger.components.iter().enumerate().any(|(place, fitted)| {
            components.contains(place) && fitted.component.renewed_by == Role::Engineer
        });
        match reply {
            None if engineers && R::ASK_AUTHORITY => Err(Refusal::NeedsAuthority),
            Some(reply) if engineers => self.request_try(now, Authorised::Renew(components), reply),
            _ => {
                self.wait(Event::Renewed, 0, components, Some(now));
                Ok(())
            }
        }
    }

    fn request_try(
        &mut self,
        now: Instant,
        purpose: Authorised,
        reply: EightDigits,
    ) -> Result<(), Refusal> {
        if !self.is_ready() {
            return Err(Refusal::NotReady);
        }
        self.reply = Some(self.gate.take(now, purpose, reply)?);
        self.wait(Event::ReplyTried, 0, ComponentSet::default(), Some(now));
        Ok(())
    }

    /// Does the next piece of work. Call when an edge came in or the deadline has
    /// passed; again at once while there is an effect.
    #[inline]
    pub fn poll<M: Medium>(&mut self, now: Instant, medium: &mut M) -> Polled {
        if !self.attention && now < self.deadline {
            return Polled { effect: None, deadline: self.deadline };
        }
        self.work(now, medium)
    }

    fn work<M: Medium>(&mut self, now: Instant, medium: &mut M) -> Polled {
        if self.counting {
            self.meter.settle::<R>(now);
        }
        let effect = match self.next_fault_effect() {
            Some(effect) => Some(effect),
            None => self.work_on_store(now, medium),
        };
        if self.told != self.journalled && self.is_ready() {
            self.journal_faults();
        }
        self.next_entry(now);
        self.attention = self.faults != self.told || self.refused;
        if self.meter.running_us() >= self.running_look_us && self.warned_at.is_none() {
            self.running_look_us = u64::MAX; // the deadline takes over
        }
        let again = effect.is_some() || self.attention;
        self.deadline = if again { now } else { self.next_deadline(now) };
        Polled { effect, deadline: self.deadline }
    }

    fn work_on_store<M: Medium>(&mut self, now: Instant, medium: &mut M) -> Option<Effect> {
        self.refill_answers(now);
        let urgent = self.is_urgent(now);
        let wanted = Wanted {
            checkpoint: self.past.is_some() && self.is_checkpoint_due(now),
            urgent,
            entry: self.entry.as_ref(),
        };
        let (meter, past) = (&self.meter, &self.past);
        let event = self.store.poll(now, medium, wanted, &mut self.ledger, |counters| {
            if let Some(past) = past {
                *counters = R::lifetime(past, &meter.session(now));
            }
        })?;
        self.store_event(now, event)
    }

    fn store_event(&mut self, now: Instant, event: StoreEvent) -> Option<Effect> {
        match event {
            StoreEvent::CountersKnown => {
                let past = *self.store.saved();
                self.past = Some(past);
                Some(Effect::LifetimeKnown(past))
            }
            StoreEvent::Ready => {
                self.meter.learn(self.ledger.settings);
                self.leave_early();
                self.gate.start_wait::<R>(now, self.ledger.tries);
                self.saved_at = Instant::ZERO;
                self.boot_record_due = true;
                Some(Effect::Ready)
            }
            StoreEvent::Nothing(fault) => {
                self.ledger.settings = *self.meter.settings();
                self.leave_early();
                self.raise(fault);
                None
            }
            StoreEvent::CheckpointStored => {
                self.note_saved(now);
                Some(Effect::CheckpointDurable(*self.saved()))
            }
            StoreEvent::SnapshotStored => {
                self.note_saved(now);
                Some(Effect::LedgerDurable(*self.saved()))
            }
            StoreEvent::EntryStored => {
                let mut entry = self.entry.take()?;
                // As it stands on the part: a snapshot may have been begun since.
                if let Some(base) = self.store.base_counters() {
                    entry.at = entry.at.most(base);
                }
                self.ledger.apply(&entry);
                self.entry_stored(now, &entry);
                Some(Effect::EntryDurable { number: entry.number, event: entry.event })
            }
            StoreEvent::SlotRetired(slot) => {
                if !self.note(Event::SlotRetired, slot) {
                    // A snapshot names it instead.
                    self.store.want_snapshot();
                }
                None
            }
            StoreEvent::Trouble(fault) => {
                // A part that is away may stay away: counting does not wait for it.
                if !matches!(fault, Fault::SnapshotLost | Fault::JournalGap) {
                    self.leave_early();
                }
                if fault == Fault::MemoryWornOut {
                    self.give_up_writing();
                }
                self.raise(fault);
                None
            }
            StoreEvent::TroubleOver(fault) => {
                self.faults.clear(fault);
                None
            }
        }
    }

    /// A try is stored: now it is judged.
    fn entry_stored(&mut self, now: Instant, entry: &Entry) {
        if entry.event != Event::ReplyTried {
            return;
        }
        let refit = self.refit.take();
        let Some(tried) = self.reply.take() else { return };
        self.gate.start_wait::<R>(now, self.ledger.tries);
        if R::ASK_AUTHORITY && !tried.is_right(&self.ledger.key) {
            self.refused = true;
            return;
        }
        // It was right: the waits of the tries before it are over.
        self.gate.start_wait::<R>(now, 0);
        match tried.purpose {
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

    fn serve(&mut self, now: Instant) {
        let renewed = self.ledger.renewed_by_service();
        if R::SERVICE_IN_ONE_ENTRY {
            self.wait(Event::Served, 0, renewed, Some(now));
        } else {
            self.wait(Event::Served, 0, ComponentSet::default(), Some(now));
            self.wait(Event::Renewed, AUTHORISED, renewed, Some(now));
        }
    }

    /// Takes a fitting into the ledger; the store writes it.
    fn fit(&mut self, now: Instant, fitting: &Fitting) {
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

    fn wait(
        &mut self,
        event: Event,
        subject: u16,
        renewed: ComponentSet,
        requested: Option<Instant>,
    ) {
        let at = requested.and_then(|now| self.lifetime(now));
        let waiting = Waiting { event, subject, renewed, at };
        // Cannot fail: commands find the room that `note` leaves.
        let _ = self.waiting.push_back(waiting);
        self.attention = true;
    }

    /// A note for the journal, if there is room beside what a command needs; whether
    /// it will be written.
    fn note(&mut self, event: Event, subject: u16) -> bool {
        let room = self.waiting.len() + COMMAND_ENTRIES < WAITING_MAX;
        if room {
            self.wait(event, subject, ComponentSet::default(), None);
        }
        room
    }

    /// Gives the next waiting entry its number.
    fn next_entry(&mut self, now: Instant) {
        if self.entry.is_some() || !self.is_ready() {
            return;
        }
        let Some(lifetime) = self.lifetime(now) else { return };
        let Some(waiting) = self.waiting.pop_front() else { return };
        self.entry = Some(Entry {
            number: self.ledger.next_entry,
            event: waiting.event,
            subject: waiting.subject,
            renewed: waiting.renewed,
            day: self.day,
            at: waiting.at.unwrap_or(lifetime),
        });
    }

    fn next_fault_effect(&mut self) -> Option<Effect> {
        for fault in Fault::ALL {
            match (self.faults.contains(fault), self.told.contains(fault)) {
                (true, false) => {
                    self.told.raise(fault);
                    return Some(Effect::FaultRaised(fault));
                }
                (false, true) => {
                    self.told.clear(fault);
                    return Some(Effect::FaultCleared(fault));
                }
                _ => {}
            }
        }
        core::mem::take(&mut self.refused).then_some(Effect::ReplyRefused)
    }

    /// Notes in the journal the faults that were told and are not in it yet.
    fn journal_faults(&mut self) {
        for fault in Fault::ALL {
            let new = self.told.contains(fault) && !self.journalled.contains(fault);
            if new && self.note(Event::FaultSeen, fault.number()) {
                self.journalled.raise(fault);
            }
        }
    }

    fn power_fail(&mut self, at: Instant, level: Level) {
        if !level.is_active() {
            self.warned_at = None;
        } else if self.warned_at.is_none() {
            self.warned_at = Some(at);
        }
        self.look_later();
        self.attention = true;
    }

    /// Whether a power-fail warning has not been answered yet: something that was
    /// counted is not durable, or nothing has become durable since the warning.
    fn is_unanswered(&self) -> bool {
        let (Some(past), Some(warned_at)) = (&self.past, self.warned_at) else { return false };
        let (counted, saved) = (self.meter.counted(), self.saved());
        past.powered_ms + warned_at.as_us() / 1_000 > saved.powered_ms
            || past.trims + counted.trims != saved.trims
            || past.jumps + counted.jumps != saved.jumps
            || past.stitches() + counted.stitches() != saved.stitches()
            || past.breaks().saturating_add(counted.breaks()) != saved.breaks()
    }

    /// Whether a warning is to be answered now. A warning that chatters or stays on
    /// while the machine sews must not wear the part out: after the first
    /// [`ANSWERS_MAX`] answers, one a second.
    fn is_urgent(&self, now: Instant) -> bool {
        self.warned_at.is_some()
            && (self.answers_left > 0 || now >= self.next_answer_at)
            && self.is_unanswered()
    }

    /// A warning was answered.
    fn note_answer(&mut self, now: Instant) {
        if self.answers_left > 0 {
            self.answers_left -= 1;
        }
        self.next_answer_at = now.plus_us(ANSWER_PAUSE_US);
    }

    /// After a calm while, the next warnings are answered at once again.
    fn refill_answers(&mut self, now: Instant) {
        if self.warned_at.is_none() && now.since_us(self.next_answer_at) >= CALM_US {
            self.answers_left = ANSWERS_MAX;
        }
    }

    fn note_saved(&mut self, now: Instant) {
        self.saved_at = now;
        self.boot_record_due = false;
        if self.warned_at.is_some() {
            self.note_answer(now);
        }
        let past = self.past.unwrap_or_default();
        // The limits count from what is durable, not from now.
        self.saved_running_us = self.saved().running_ms.saturating_sub(past.running_ms) * 1_000;
        let saved_trims = self.saved().trims.saturating_sub(past.trims);
        self.trim_limit = saved_trims + u64::from(self.meter.settings().checkpoint_trims);
        self.look_later();
    }

    fn is_checkpoint_due(&self, now: Instant) -> bool {
        self.boot_record_due
            || self.meter.trims() >= self.trim_limit
            || now >= self.powered_limit()
            || now >= self.running_limit(now)
    }

    fn powered_limit(&self) -> Instant {
        let settings = self.meter.settings();
        self.saved_at.plus_us(u64::from(settings.checkpoint_powered_s) * 1_000_000 - WRITE_AHEAD_US)
    }

    /// The earliest time at which the running time that is not durable can reach
    /// the checkpoint interval: a gap between pulses may turn out to be running
    /// time, up to the run gap.
    fn running_limit(&self, now: Instant) -> Instant {
        let interval_us = u64::from(self.meter.settings().checkpoint_running_s) * 1_000_000;
        let unsaved_us = self.meter.running_us().saturating_sub(self.saved_running_us);
        let left_us = (interval_us - WRITE_AHEAD_US).saturating_sub(unsaved_us);
        match self.meter.last_pulse() {
            _ if left_us == 0 => now,
            Some(pulse) if left_us <= self.meter.run_gap_us() => pulse.plus_us(left_us),
            _ => Instant::NEVER,
        }
    }

    /// From when on pulses make the board look at the checkpoint interval: a run
    /// gap before it ends; after that its own deadline does.
    fn look_later(&mut self) {
        let interval_us = u64::from(self.meter.settings().checkpoint_running_s) * 1_000_000;
        let look_us = interval_us.saturating_sub(WRITE_AHEAD_US + self.meter.run_gap_us());
        let look_us = self.saved_running_us + look_us;
        self.running_look_us = if self.warned_at.is_some() {
            0 // everything is looked at while power is failing
        } else if self.meter.running_us() >= look_us {
            u64::MAX
        } else {
            look_us
        };
    }

    fn next_deadline(&self, now: Instant) -> Instant {
        let mut next = self.store.wake().min(self.meter.certain_at());
        if self.is_ready() {
            // What is due waits for the store; what is not, for its own time.
            let due = self.entry.is_some() || self.is_urgent(now) || self.is_checkpoint_due(now);
            next = next.min(if due {
                self.store.not_before()
            } else if self.is_unanswered() {
                self.next_answer_at.min(self.powered_limit()).min(self.running_limit(now))
            } else {
                self.powered_limit().min(self.running_limit(now))
            });
        }
        // Never in the past: a deadline that has passed means "at once".
        next.max(now)
    }

    /// Counting leaves the waiting room: the settings are known, or never will be.
    fn leave_early(&mut self) {
        self.counting = true;
        while let Some((at, input)) = self.early.pop_front() {
            self.meter.input::<R>(at, input);
        }
    }

    /// Nothing will be stored any more: nothing waits for it.
    fn give_up_writing(&mut self) {
        (self.entry, self.reply, self.refit) = (None, None, None);
        self.waiting.clear();
    }

    fn add(&self, past: &Counters, now: Instant) -> Counters {
        if R::ADD_SESSION { R::lifetime(past, &self.meter.session(now)) } else { *past }
    }
}
