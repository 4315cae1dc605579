//! The board: one plain state machine. Inputs with their time stamps and commands
//! in; effects and the next deadline out.
//!
//! - `commands`: what a person asks, and what comes of it
//! - `entries`: journal entries that wait to be written
//! - `faults`: which are there, which were told
//! - `calendar`: the day, and what came due by it
//! - `due`: when something is stored: the limits, and power-fail warnings
//! - `activity`: what the board is in the middle of (feature `activity`)
//! - this file: counting, and the store's news
//!
//! Each of these files owns its part of the board's state; its fields are its own.
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

#[cfg(feature = "activity")]
pub mod activity;
mod calendar;
mod commands;
mod due;
mod entries;
mod faults;

pub use due::ANSWER_TIME_US;

use crate::authority::{EightDigits, Key};
use crate::component::{COMPONENTS_MAX, Component};
use crate::counters::Counters;
use crate::fault::{Fault, FaultSet};
use crate::identity::BoardId;
use crate::input::Input;
use crate::journal::{ComponentSet, EntryNumber, Event};
use crate::ledger::{CarriedIn, Ledger};
use crate::medium::Medium;
use crate::meter::Meter;
use crate::rules::{Rules, Sound};
use crate::settings::Settings;
use crate::store::{Store, StoreEvent, Wanted};
use crate::time::Instant;
use calendar::Calendar;
use commands::Requests;
use due::Due;
use entries::Entries;
use faults::Faults;
use heapless::{Deque, Vec};

/// Edges kept until the settings are known.
pub const EARLY_MAX: usize = 512;

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

/// A Shaftbook board.
#[derive(Clone, Debug)]
pub struct Board<R: Rules = Sound> {
    id: BoardId,
    meter: Meter,
    /// Edges that came before the settings were known, each with the µs since reset: 8 bytes
    /// each, as this is most of what a board takes of RAM.
    early: Deque<(u32, Input), EARLY_MAX>,
    /// The settings are known, or were given up waiting for.
    counting: bool,
    past: Option<Counters>,
    store: Store<R>,
    entries: Entries,
    requests: Requests,
    faults: Faults,
    due: Due,
    calendar: Calendar,
    attention: bool,
    deadline: Instant,
}

impl<R: Rules> Board<R> {
    /// A board at reset. `fallback` is what it counts with while the memory part
    /// gives no settings.
    #[must_use]
    pub fn new(id: BoardId, fallback: Settings) -> Self {
        let fallback = if fallback.check().is_ok() { fallback } else { Settings::default() };
        Self {
            id,
            meter: Meter::new(fallback),
            early: Deque::new(),
            counting: false,
            past: None,
            store: Store::new(id),
            entries: Entries::new(),
            requests: Requests::new(),
            faults: Faults::default(),
            due: Due::new(),
            calendar: Calendar::default(),
            attention: true,
            deadline: Instant::ZERO,
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

    /// The session's running time so far, µs. Never above the truth of the signals.
    #[must_use]
    pub fn session_running_us(&self) -> u64 {
        self.meter.running_us()
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
        self.store.ledger()
    }

    /// The store, for figures on the memory's health.
    #[must_use]
    pub fn store(&self) -> &Store<R> {
        &self.store
    }

    /// The faults present.
    #[must_use]
    pub fn faults(&self) -> FaultSet {
        self.faults.present()
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

    /// One change of one input, in the order of time.
    #[inline]
    pub fn input(&mut self, at: Instant, input: Input) {
        match input {
            Input::Shaft(level) if self.counting => {
                self.meter.shaft::<R>(at, level);
                self.attention |= self.due.is_look_due(&self.meter);
            }
            _ => self.input_apart(at, input),
        }
    }

    /// An input that is rarer than the shaft's, or comes before counting.
    fn input_apart(&mut self, at: Instant, input: Input) {
        if let Input::PowerFail(level) = input {
            self.power_fail(at, level);
            return;
        }
        if !self.counting {
            let at_us = u32::try_from(at.as_us());
            if at_us.is_ok_and(|at_us| self.early.push_back((at_us, input)).is_ok()) {
                return;
            }
            // No room to wait any longer, or an hour has passed: the settings at hand have
            // to do.
            self.leave_early();
            if R::edge_without_room() {
                self.meter.input::<R>(at, input);
            }
            return;
        }
        self.meter.input::<R>(at, input);
        self.attention |= self.due.is_look_due(&self.meter);
        self.deadline = self.deadline.min(self.meter.certain_at());
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
        self.faults.set(fault, true);
        self.attention = true;
    }

    /// Whether a poll at `now` would find nothing to do.
    #[inline]
    #[must_use]
    pub fn is_idle(&self, now: Instant) -> bool {
        !self.attention && now < self.deadline
    }

    /// Does the next piece of work. Call when an edge came in or the deadline has
    /// passed; again at once while there is an effect.
    #[inline]
    pub fn poll<M: Medium>(&mut self, now: Instant, medium: &mut M) -> Polled {
        if self.is_idle(now) {
            return Polled { effect: None, deadline: self.deadline };
        }
        self.work(now, medium)
    }

    fn work<M: Medium>(&mut self, now: Instant, medium: &mut M) -> Polled {
        if self.counting {
            self.meter.debounce::<R>(now);
            if self.meter.is_shaft_faulty() && R::shaft_fault_told() {
                self.faults.set(Fault::ShaftGlitches, true);
            }
        }
        let told = self.faults.next_effect().or_else(|| self.requests.next_effect());
        let effect = match told {
            Some(effect) => Some(effect),
            None => self.work_on_store(now, medium),
        };
        // Before anything is noted: every entry carries the day that is known.
        if self.calendar.is_look_due() {
            self.note_due_by_day(now);
        }
        if self.faults.are_unjournalled() && self.is_ready() {
            self.journal_faults();
        }
        self.next_entry(now);
        self.attention = self.faults.are_untold() || self.requests.are_untold();
        self.due.looked(&self.meter);
        let again = effect.is_some() || self.attention;
        self.deadline = if again { now } else { self.next_deadline(now) };
        Polled { effect, deadline: self.deadline }
    }

    fn work_on_store<M: Medium>(&mut self, now: Instant, medium: &mut M) -> Option<Effect> {
        if self.answer_waits_until(now).is_some() {
            return None;
        }
        let urgent = self.is_urgent(now);
        let wanted = Wanted {
            checkpoint: self.past.is_some() && self.is_checkpoint_due(now),
            urgent,
            entry: self.entries.current(),
        };
        let (meter, past) = (&self.meter, &self.past);
        let event = self.store.poll(now, medium, wanted, |counters| {
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
                self.meter.learn::<R>(self.ledger().settings);
                self.leave_early();
                self.wait_after_power_up(now);
                self.due.first_record();
                self.calendar.look();
                Some(Effect::Ready)
            }
            StoreEvent::Nothing(fault) => {
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
            StoreEvent::EntryStored { number, event } => {
                self.entries.stored();
                self.entry_stored(now, event);
                Some(Effect::EntryDurable { number, event })
            }
            StoreEvent::SlotRetired(slot) => {
                if R::note_retired() && !self.note(Event::SlotRetired, slot) {
                    // A snapshot names it instead.
                    if R::retired_without_room() {
                        self.store.want_snapshot();
                    }
                }
                None
            }
            StoreEvent::Trouble(fault) => {
                // A part that is away may stay away: counting does not wait for it.
                if !matches!(fault, Fault::SnapshotLost | Fault::JournalGap) {
                    self.leave_early();
                }
                if fault == Fault::MemoryWornOut {
                    self.entries.give_up();
                    self.requests.give_up();
                }
                self.raise(fault);
                None
            }
            StoreEvent::TroubleOver(fault) => {
                self.faults.set(fault, false);
                None
            }
        }
    }

    /// Counting leaves the waiting room: the settings are known, or never will be.
    fn leave_early(&mut self) {
        self.counting = true;
        while let Some((at_us, input)) = self.early.pop_front() {
            let at = Instant::from_us(at_us.into());
            self.meter.input::<R>(at, input);
        }
    }

    fn add(&self, past: &Counters, now: Instant) -> Counters {
        if R::add_session() { R::lifetime(past, &self.meter.session(now)) } else { *past }
    }
}
