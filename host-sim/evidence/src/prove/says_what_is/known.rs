//! A machine as it is known at one moment: in the board's types, and names for names in those of
//! the reference. What is said is compared with the latter.

use std::marker::PhantomData;

use shaftbook_care::hint::Hint;
use shaftbook_care::machine::Machine;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::Ledger;
use shaftbook_panel::state::{Build, MemoryHealth, State};
use shaftbook_panel::text::{Language, Words};

use crate::prove::as_documented::border;
use crate::reference::book::{Book, Standing};
use crate::reference::looking::{self, Looked, Sign};
use crate::reference::machine::{Counts, Wiring};
use crate::reference::read_out::{self, Said};

/// A machine.
#[derive(Clone, Debug)]
pub(super) struct Known {
    pub id: BoardId,
    pub ledger: Ledger,
    pub lifetime: Counters,
    pub session: Counters,
    pub day: Option<u16>,
    pub faults: FaultSet,
    pub memory: MemoryHealth,
    pub build: Build,
    /// What the clock says.
    pub clock: Option<u16>,
    // The same for the reference.
    pub book: Book,
    pub counts: Counts,
    pub since_power_up: Counts,
    pub wiring: Wiring,
}

impl Known {
    pub(super) fn new(id: BoardId, ledger: Ledger, lifetime: Counters, session: Counters) -> Self {
        Self {
            id,
            book: border::book(&ledger),
            counts: border::counts(&lifetime),
            since_power_up: border::counts(&session),
            wiring: border::wiring(&ledger.settings),
            ledger,
            lifetime,
            session,
            day: None,
            faults: FaultSet::default(),
            memory: MemoryHealth::default(),
            build: Build { version: "1", hash: None },
            clock: None,
        }
    }

    /// The machine for the code that ships.
    pub(super) fn machine<'a, R>(&'a self, hints: &'a [Hint]) -> Machine<'a, R> {
        Machine {
            id: self.id,
            lifetime: Some(self.lifetime),
            session: self.session,
            ledger: &self.ledger,
            faults: self.faults,
            day: self.day,
            hints,
            rules: PhantomData,
        }
    }

    /// What a panel's screens are made from.
    pub(super) fn state<'a, R>(&'a self, hints: &'a [Hint]) -> State<'a, R> {
        let machine = self.machine(hints);
        State { machine, memory: self.memory, build: self.build, clock: self.clock }
    }

    pub(super) fn words(&self) -> &'static Words {
        Language::from_code(self.ledger.settings.language).words()
    }

    /// Whether the clock is at fault.
    pub(super) fn clock_is_wrong(&self) -> bool {
        self.faults.contains(Fault::ClockNoAnswer) || self.faults.contains(Fault::ClockWrong)
    }

    pub(super) fn interval_ms(&self) -> u64 {
        self.book.interval_ms(&self.counts, self.wiring.service_by_running)
    }

    pub(super) fn service_is_due(&self) -> bool {
        self.interval_ms() >= self.wiring.service_interval_h * 3_600_000
    }

    pub(super) fn standing(&self, place: usize) -> Standing {
        self.book.standing(place, &self.counts, self.day)
    }

    /// Wear of the part at `place` in the unit of its limits.
    pub(super) fn worn(&self, place: usize) -> u64 {
        let unit = if self.book.parts[place].measure.is_time() { 1_000 } else { 1 };
        self.book.wear(place, &self.counts, self.day) / unit
    }

    /// The same in per mille of its due limit, at most 9,999.
    pub(super) fn permille(&self, place: usize) -> u64 {
        let due = u128::from(self.book.parts[place].due.max(1));
        (u128::from(self.worn(place)) * 1_000 / due).min(9_999) as u64
    }

    /// The places, the most pressing first.
    pub(super) fn order(&self) -> Vec<usize> {
        let mut places: Vec<usize> = (0..self.book.parts.len()).collect();
        places.sort_by_key(|p| std::cmp::Reverse((self.standing(*p), self.permille(*p))));
        places
    }

    pub(super) fn due(&self) -> u64 {
        self.book.number(Standing::Due, &self.counts, self.day)
    }

    /// What a look at it should find.
    pub(super) fn signs(&self) -> Vec<Sign> {
        looking::signs(&Looked {
            book: &self.book,
            wiring: &self.wiring,
            session: &self.since_power_up,
            lifetime: &self.counts,
            day: self.day,
        })
    }

    /// What its read-out code should say, with `sign` as the strongest hint.
    pub(super) fn said(&self, sign: Option<&Sign>) -> Said {
        let parts = &self.book.parts;
        let is_trims = |part: &&crate::reference::book::Part| {
            part.kind == 32 && part.measure == crate::reference::book::Measure::Trims
        };
        let knife = parts.iter().find(is_trims);
        let first = self.order().first().copied();
        let number = |place: usize| match parts[place].kind {
            kind @ (1..=16 | 32..=63) => u64::from(kind),
            _ => 17,
        };
        let wear = |place: usize| {
            let percent = self.permille(place) / 10;
            // A limit of 0 is due without wear.
            match self.standing(place) {
                Standing::Due => percent.max(100),
                _ => percent.min(99),
            }
        };
        let stated = &self.ledger.carried_in;
        let is_stated = stated.hours > 0 || stated.stitches > 0 || stated.trims > 0;
        Said {
            version: 1,
            tag: read_out::tag_bits(&read_out::tag(self.id.0)),
            powered: (self.counts.powered_ms / 3_600_000).min(131_071),
            interval: (self.interval_ms() / 3_600_000).min(1_023),
            measure: self.wiring.service_by_running.into(),
            service: self.service_is_due().into(),
            stated: is_stated.into(),
            stitches: (self.counts.stitches() / 150_000).min(32_767),
            knife: knife.map_or(255, |part| {
                (self.counts.trims.saturating_sub(part.baseline) / 4_000).min(254)
            }),
            kind: first.map_or(0, number),
            wear: first.map_or(0, |place| (wear(place) / 4).min(63)),
            faults: self.faults.iter().fold(0, |bits, fault| bits | 1 << (15 - fault.number())),
            due: self.due().min(7),
            notice: self.book.number(Standing::Notice, &self.counts, self.day).min(7),
            services: self.book.services.min(63),
            hint: sign.map_or(0, |sign| sign.finding + if sign.is_strong { 32 } else { 0 }),
        }
    }
}

/// A ledger and counters, as the reference has them.
pub(super) fn border_of(ledger: &Ledger, lifetime: &Counters) -> (Book, Counts) {
    (border::book(ledger), border::counts(lifetime))
}
