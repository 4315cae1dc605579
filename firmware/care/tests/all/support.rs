//! Shared by these tests: a machine made up from its figures.

// Each test program uses its own part of it.
#![allow(dead_code)]

use core::marker::PhantomData;

use shaftbook_care::machine::Machine;
use shaftbook_core::authority::{KEY_BYTES, Key};
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::fault::FaultSet;
use shaftbook_core::identity::BoardId;
use shaftbook_core::journal::{EntryNumber, Event};
use shaftbook_core::ledger::{Fitted, HistoryLine, Ledger};
use shaftbook_core::settings::Settings;

pub struct Made {
    pub ledger: Ledger,
    pub session: Counters,
    pub lifetime: Counters,
    pub faults: FaultSet,
    pub day: Option<u16>,
}

impl Made {
    /// A head of six needles; nothing counted.
    pub fn new() -> Self {
        let settings = Settings { needles: 6, ..Settings::default() };
        Self {
            ledger: Ledger::new(settings, Key::new([0; KEY_BYTES])),
            session: Counters::default(),
            lifetime: Counters::default(),
            faults: FaultSet::default(),
            day: None,
        }
    }

    /// `breaks` and `stitches` of needles 1 to 6 before this session and in it.
    pub fn broke(before: [(u32, u64); 6], session: [(u32, u64); 6]) -> Self {
        let mut made = Self::new();
        for (n, ((breaks, stitches), (now, sewn))) in before.into_iter().zip(session).enumerate() {
            made.session.needle_breaks[n] = now;
            made.session.needle_stitches[n] = sewn;
            made.lifetime.needle_breaks[n] = breaks + now;
            made.lifetime.needle_stitches[n] = stitches + sewn;
        }
        made
    }

    pub fn component(
        &mut self,
        kind: ComponentKind,
        measure: Measure,
        notice: u32,
        due: u32,
        baseline: u64,
    ) {
        let component = Component {
            kind,
            measure,
            renewed_by: Role::Operator,
            with_service: false,
            notice,
            due,
        };
        self.ledger.components.push(Fitted { component, baseline }).unwrap();
    }

    pub fn line(&mut self, powered_s: u32, day: Option<u16>) {
        let line = HistoryLine {
            number: EntryNumber::default(),
            event: Event::Renewed,
            subject: 0,
            powered_s,
            day,
        };
        self.ledger.history.push(line).unwrap();
    }

    pub fn machine(&self) -> Machine<'_> {
        Machine {
            id: BoardId(1),
            lifetime: Some(self.lifetime),
            session: self.session,
            ledger: &self.ledger,
            faults: self.faults,
            day: self.day,
            hints: &[],
            rules: PhantomData,
        }
    }
}

pub fn needle(number: u8) -> Needle {
    Needle::new(number).unwrap()
}
