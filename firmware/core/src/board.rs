//! The board: one plain state machine. Inputs with their time stamps and commands
//! in; effects and the next deadline out.
//!
//! - [`activity`][]: what it is in the middle of
//! - `commands`: what a person asks, and what comes of it
//! - `due`: when something is due
//! - this file: counting, and the store's news
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

pub mod activity;
mod commands;
mod due;

use crate::authority::{EightDigits, Key};
use crate::component::{COMPONENTS_MAX, Component};
use crate::counters::Counters;
use crate::fault::{Fault, FaultSet};
use crate::identity::BoardId;
use crate::input::Input;
use crate::journal::{ComponentSet, Entry, EntryNumber, Event};
use crate::ledger::{CarriedIn, Ledger};
use crate::medium::Medium;
use crate::meter::Meter;
use crate::rules::{Rules, Sound};
use crate::service::{Gate, Try};
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

/// How long after a power-fail warning the panel stands still at most, µs: five times
/// what the answer may take. A warning that is never answered (a dead memory part, a
/// line that is stuck) does not freeze the panel.
pub const ANSWER_TIME_US: u64 = 100_000;

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
    /// Something may have come due by the calendar since it was last looked.
    look_at_day: bool,
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
            look_at_day: false,
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

    /// When to poll again if nothing happens before, as the last poll said.
    #[must_use]
    pub fn deadline(&self) -> Instant {
        self.deadline
    }

    /// What the board counts with.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        self.meter.settings()
    }

    /// Tells the board the calendar day, where a clock is fitted: 1 is 1 January 2020
    /// (Gregorian), 65,535 is in 2199. A day before one that is known is not taken, and
    /// `None` leaves what is known: days never run backwards, so no clock hides what is
    /// due. Only durations in days come from it; nothing that is counted does.
    pub fn set_day(&mut self, day: Option<u16>) {
        self.day = self.day.max(day.filter(|d| *d != 0));
        self.look_at_day = self.day.is_some();
        self.attention = true;
    }

    /// The clock was read and judged: its day, if that can be trusted, and what is wrong
    /// with the clock, if anything. Raises and clears the two clock faults; any other
    /// fault is taken as [`Fault::ClockWrong`].
    pub fn clock(&mut self, day: Option<u16>, wrong: Option<Fault>) {
        let wrong = wrong.map(|fault| match fault {
            Fault::ClockNoAnswer => fault,
            _ => Fault::ClockWrong,
        });
        for fault in [Fault::ClockNoAnswer, Fault::ClockWrong] {
            if wrong == Some(fault) {
                self.faults.raise(fault);
            } else {
                self.faults.clear(fault);
            }
        }
        self.set_day(day);
    }

    /// The latest calendar day that is known: today, while the clock can be trusted;
    /// `None` if no clock ever told one.
    #[must_use]
    pub fn day(&self) -> Option<u16> {
        self.day
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
            self.meter.debounce::<R>(now);
        }
        let effect = match self.next_fault_effect() {
            Some(effect) => Some(effect),
            None => self.work_on_store(now, medium),
        };
        // Before anything is noted: every entry carries the day that is known.
        if self.look_at_day {
            self.note_due_by_day(now);
        }
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
                if R::wait_after_power_up() {
                    self.gate.start_wait::<R>(now, self.ledger.tries);
                }
                self.saved_at = Instant::ZERO;
                self.boot_record_due = true;
                self.look_at_day = true;
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
                if R::note_retired() && !self.note(Event::SlotRetired, slot) {
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
            at: match waiting.at {
                Some(at) if R::dated_when_asked() => at,
                _ => lifetime,
            },
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

    /// What is due by the calendar is stored with the day: the clock may be dead at the
    /// next power-up. One component at a time, as the entry tells the day for all.
    fn note_due_by_day(&mut self, now: Instant) {
        if !self.is_ready() {
            return;
        }
        let Some(lifetime) = self.lifetime(now) else { return };
        self.day = self.day.max(self.ledger.day_reached(&lifetime));
        if self.entry.is_some() || !self.waiting.is_empty() {
            return;
        }
        let due = self.day.and_then(|day| self.ledger.newly_due(&lifetime, day));
        // When there is no room, the look is made again after the next reading.
        self.look_at_day = false;
        if let Some(place) = due {
            self.note(Event::DueByDay, place as u16);
        }
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
        if R::add_session() { R::lifetime(past, &self.meter.session(now)) } else { *past }
    }
}
