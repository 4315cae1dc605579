//! One power-up of a store on the smallest part: the store, the bus below it, the caller that
//! asks it for records as the core's board does, and what is known of it outside.
//!
//! Time, wear and the bus are no part of a state: the store decides by none of them on a part
//! that answers. So a program cycle takes no time here; each is kept, and a cut anywhere leaves
//! the bytes before it, the cycles ended by then, and one page torn.
//!
//! A power-up decides what the cut before it left open with its first record, not before that:
//! two tears of one slot can put together a record that the first of them had spoilt. It tells
//! what truly happened, so until the first record is stored both ends are right.
//!
//! Invariant: whatever the store does that may never be is kept as `violation`, the first of
//! it, and nothing is asked of the store from then on.

use std::collections::VecDeque;

use shaftbook_core::authority::Key;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::journal::{ComponentSet, Entry, Event};
use shaftbook_core::ledger::Ledger;
use shaftbook_core::rules::{Rules, Sound};
use shaftbook_core::store::{Store, StoreEvent, Wanted};
use shaftbook_core::time::Instant;
use shaftbook_world::bench::{BOARD, KEY, fitting};
use shaftbook_world::judge::neither_lost_nor_invented;

use super::key::key;
use super::path::Record;
use super::slots::{Begun, Image, SLOTS, Slots, Wire};

/// Polls after which a store that has not come to rest never will.
const POLLS_MAX: u32 = 20_000;

/// What is known of a part outside it, while there is no supply.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Known {
    /// The fitting was acknowledged.
    pub is_fitted: bool,
    /// One slot was lost or overwritten and no power-up has come to rest since.
    pub is_hurt: bool,
    /// What was told to be durable, or told to be the past.
    pub acknowledged: Counters,
    /// What truly happened, without what was rightly lost before.
    pub truth: Counters,
    /// Digest of the ledger that was acknowledged, or told to be the past.
    pub before: u64,
    /// Digest of the ledger when the entry under way, or the first fitting, is done.
    pub after: Option<u64>,
    /// Slots of whose retirement the entry was acknowledged.
    pub retired: Vec<u16>,
    /// Slots that take no program any more.
    pub stuck: Vec<u16>,
}

impl Known {
    /// Nothing was ever stored.
    #[must_use]
    pub fn nothing() -> Self {
        Self {
            is_fitted: false,
            is_hurt: false,
            acknowledged: Counters::default(),
            truth: Counters::default(),
            before: 0,
            after: None,
            retired: Vec::new(),
            stuck: Vec::new(),
        }
    }
}

/// A program cycle, and what was known when it began.
#[derive(Clone, Debug)]
pub struct Cycle {
    /// The cycle.
    pub begun: Begun,
    /// What was known.
    pub known: Known,
}

/// A store that has power.
#[derive(Clone)]
pub struct World<R: Rules, W: Wire = Slots> {
    /// The part.
    pub part: W,
    /// The cycles since the store was last asked for a record.
    pub cycles: Vec<Cycle>,
    /// The first thing that may never be.
    pub violation: Option<String>,
    /// What was acknowledged before the newest checkpoint was: what is left without it.
    pub earlier: Counters,
    store: Store<R>,
    now_us: u64,
    known: Known,
    past: Counters,
    session: Counters,
    /// The truth at the last cut, until the first record is stored.
    undecided: Option<Counters>,
    wants_checkpoint: bool,
    entry: Option<Entry>,
    waiting: VecDeque<(Event, u16, ComponentSet)>,
}

impl<R: Rules, W: Wire> World<R, W> {
    /// A new store, just powered, on a part that holds `image`.
    #[must_use]
    pub fn powered(image: Image, known: Known) -> Self {
        Self {
            part: W::holding(image, &known.stuck),
            cycles: Vec::new(),
            violation: None,
            earlier: known.acknowledged,
            store: Store::new(BOARD),
            now_us: 0,
            known,
            past: Counters::default(),
            session: Counters { power_ups: 1, powered_ms: 100, ..Counters::default() },
            undecided: None,
            wants_checkpoint: false,
            entry: None,
            waiting: VecDeque::new(),
        }
    }

    /// The store.
    #[must_use]
    pub fn store(&self) -> &Store<R> {
        &self.store
    }

    /// What is known if the supply goes now.
    #[must_use]
    pub fn known(&self) -> Known {
        let before = self.undecided.unwrap_or(self.past);
        Known { truth: before.plus(&self.session), ..self.known.clone() }
    }

    /// Has `record` stored, until the store is at rest.
    pub fn record(&mut self, record: Record) {
        let failing = self.ask(record);
        self.work();
        let Some(slot) = failing else { return };
        if !self.store.retired().contains(slot) {
            self.violated(|| format!("slot {slot} failed twice and is not retired"));
        }
        // At rest it is durable, by whatever record.
        if !self.known.retired.contains(&slot) {
            self.known.retired.push(slot);
        }
    }

    /// Asks the store, which is at rest, for `record`; the slot that will fail by it.
    pub fn ask(&mut self, record: Record) -> Option<u16> {
        self.cycles.clear();
        self.session.powered_ms += 1_000;
        self.session.running_ms += 500;
        self.session.needle_stitches[0] += 1;
        let head = self.store.head().slot;
        let failing = match record {
            Record::Checkpoint | Record::Entry | Record::Snapshot => None,
            Record::Retirement => Some(head),
            Record::SnapshotRetiring => Some((head + 2) % SLOTS as u16),
        };
        if let Some(slot) = failing {
            self.part.stick(slot);
            self.known.stuck.push(slot);
        }
        match record {
            Record::Checkpoint => {
                self.session.trims += 1;
                self.wants_checkpoint = true;
            }
            Record::Entry => self.waiting.push_back((Event::Served, 0, ComponentSet::only(0))),
            Record::Snapshot | Record::SnapshotRetiring => self.store.want_snapshot(),
            Record::Retirement => self.wants_checkpoint = true,
        }
        failing
    }

    /// Polls until the store is at rest, the supply has gone, or something may not be.
    pub fn work(&mut self) {
        for _ in 0..POLLS_MAX {
            let event = self.poll();
            if self.violation.is_some() {
                return;
            }
            if event.is_none() && self.is_at_rest() {
                self.rested();
                return;
            }
        }
        self.violated(|| "the store does not come to rest".into());
    }

    /// Polls until the store's first record of this power-up is stored.
    pub fn work_to_first_record(&mut self) {
        for _ in 0..POLLS_MAX {
            let is_stored = self.poll() == Some(StoreEvent::CheckpointStored);
            if is_stored || self.violation.is_some() {
                return;
            }
        }
        self.violated(|| "the store writes nothing".into());
    }

    /// It has come to rest: damage is made good.
    pub fn rested(&mut self) {
        self.known.is_hurt = false;
    }

    /// Whether nothing is being stored and nothing has to be.
    pub fn is_at_rest(&self) -> bool {
        self.store.is_ready()
            && !self.store.is_busy()
            && !self.wants_checkpoint
            && self.entry.is_none()
            && self.waiting.is_empty()
    }

    /// One poll of the store; what it told.
    pub fn poll(&mut self) -> Option<StoreEvent> {
        self.next_entry();
        let wanted =
            Wanted { checkpoint: self.wants_checkpoint, urgent: false, entry: self.entry.as_ref() };
        let now = Instant::from_us(self.now_us);
        let (past, session) = (&self.past, &self.session);
        let event = self.store.poll(now, &mut self.part, wanted, |counters| {
            *counters = R::lifetime(past, session);
        });
        self.now_us = self.now_us.max(self.part.now_us());
        if let Some(begun) = self.part.take_begun() {
            let known = self.known();
            self.cycles.push(Cycle { begun, known });
        }
        if let Some(event) = event {
            self.told(event);
        } else if self.store.not_before().as_us() > self.now_us {
            self.now_us = self.store.not_before().as_us();
            self.part.advance_to_us(self.now_us);
        }
        event
    }

    /// As the board does: one entry at a time, numbered when it has its turn.
    fn next_entry(&mut self) {
        if self.entry.is_some() || !self.store.is_ready() {
            return;
        }
        let Some((event, subject, renewed)) = self.waiting.pop_front() else { return };
        let entry = Entry {
            number: self.store.ledger().next_entry,
            event,
            subject,
            renewed,
            day: None,
            at: R::lifetime(&self.past, &self.session),
        };
        let mut after = self.store.ledger().clone();
        after.apply::<Sound>(&entry);
        self.known.after = Some(digest(&after));
        self.entry = Some(entry);
    }

    fn told(&mut self, event: StoreEvent) {
        match event {
            StoreEvent::Ready => self.ready(),
            StoreEvent::Nothing(fault) => self.nothing(fault),
            StoreEvent::CheckpointStored => {
                self.wants_checkpoint = false;
                self.acknowledged();
            }
            StoreEvent::SnapshotStored => {
                if !self.known.is_fitted {
                    self.known.is_fitted = true;
                    self.decided();
                }
                self.acknowledged();
            }
            StoreEvent::EntryStored { event, .. } => {
                if event == Event::SlotRetired
                    && let Some(entry) = &self.entry
                {
                    self.known.retired.push(entry.subject);
                }
                self.entry = None;
                if self.known.after != Some(digest(self.store.ledger())) {
                    self.violated(|| "an entry is stored, and not in the ledger".into());
                }
                self.decided();
            }
            StoreEvent::SlotRetired(slot) => {
                if !self.known.stuck.contains(&slot) {
                    self.violated(|| format!("slot {slot} is sound and is retired"));
                }
                if R::note_retired() {
                    let nothing = ComponentSet::default();
                    self.waiting.push_back((Event::SlotRetired, slot, nothing));
                }
            }
            StoreEvent::Trouble(fault) => {
                if !self.known.is_hurt || !self.store.can_write() && self.store.is_ready() {
                    self.violated(|| format!("a fault on a sound part: {fault:?}"));
                }
            }
            StoreEvent::CountersKnown | StoreEvent::TroubleOver(_) => {}
        }
    }

    /// The past is known.
    fn ready(&mut self) {
        let found = *self.store.saved();
        let known = &self.known;
        if let Err(what) = neither_lost_nor_invented(&known.acknowledged, &found, &known.truth) {
            return self.violated(|| what);
        }
        let ledger = digest(self.store.ledger());
        if ledger != known.before && Some(ledger) != known.after {
            let ledger = self.store.ledger();
            let (services, next) = (ledger.services, ledger.next_entry.get());
            return self.violated(|| {
                format!(
                    "the ledger is neither before nor after the entry: {services} services, next \
                     entry {next}"
                )
            });
        }
        let retired: Vec<u16> = self.store.retired().iter().collect();
        let (remembered, stuck) = (known.retired.clone(), known.stuck.clone());
        if let Some(slot) = remembered.iter().find(|slot| !retired.contains(slot)) {
            return self.violated(|| format!("slot {slot} was retired and is not any more"));
        }
        if let Some(slot) = retired.iter().find(|slot| !stuck.contains(slot)) {
            return self.violated(|| format!("slot {slot} is sound and was found retired"));
        }
        // From here on this is what the board says, and what it says is held against it.
        if ledger != self.known.before || !self.known.is_fitted {
            self.known.after = None;
        }
        (self.known.before, self.known.is_fitted) = (ledger, true);
        self.undecided = Some(self.known.truth);
        (self.known.acknowledged, self.past) = (found, found);
        self.earlier = found;
        self.wants_checkpoint = true;
    }

    /// Nothing of this board is on the part: it is fitted, if that was never acknowledged.
    fn nothing(&mut self, fault: Fault) {
        if self.known.is_fitted {
            return self.violated(|| format!("the past is lost: {fault:?}"));
        }
        let lifetime = R::lifetime(&self.past, &self.session);
        let fit = |ledger: &mut Ledger| {
            let fitting = fitting();
            *ledger = Ledger::new(fitting.settings, Key::new(KEY));
            ledger.set_components::<Sound>(&fitting.components[..2], &lifetime, None);
        };
        match self.store.change_ledger() {
            Ok(ledger) => fit(ledger),
            Err(fault) => return self.violated(|| format!("it cannot be fitted: {fault:?}")),
        }
        self.known.after = Some(digest(self.store.ledger()));
    }

    fn acknowledged(&mut self) {
        if self.undecided.take().is_some() && self.entry.is_none() {
            self.known.after = None;
        }
        self.earlier = self.known.acknowledged;
        self.known.acknowledged = self.known.acknowledged.most(self.store.saved());
    }

    fn decided(&mut self) {
        (self.known.before, self.known.after) = (digest(self.store.ledger()), None);
    }

    fn violated(&mut self, what: impl FnOnce() -> String) {
        self.violation.get_or_insert_with(what);
    }
}

/// All of a ledger that records change, as one number.
fn digest(ledger: &Ledger) -> u64 {
    key(&(
        (&ledger.settings, &ledger.carried_in, &ledger.components, &ledger.interval),
        (ledger.services, ledger.tries, ledger.next_entry, &ledger.history),
    )) as u64
}
