//! The machine's side of an authorisation: the real core on the part that `shaftbook fit`
//! made, with its supply, its time and what is entered at it.

use std::fs;

use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::{Board, Effect};
use shaftbook_core::component::{Measure, Role};
use shaftbook_core::exchange::{Exchange, Outcome, Request};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::Authorised;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::{Eeprom, WiredPart};
use shaftbook_world::bus::{Bus, Part, Tear, Timing};

/// The board at the machine, on the part that was fitted.
pub struct Machine {
    pub bus: Bus,
    pub board: Board,
    pub exchange: Exchange,
    pub now_us: u64,
    pub origin_ns: u64,
    pub effects: Vec<Effect>,
}

impl Machine {
    pub fn power_up(image: &str, id: BoardId) -> Self {
        let bytes = fs::read(image).expect("an image");
        let part = Part::from_image(bytes, Geometry::REFERENCE).expect("the reference part");
        Self::on(Bus::new(part, Timing::FAST_MODE, 5), id)
    }

    pub fn on(bus: Bus, id: BoardId) -> Self {
        let origin_ns = bus.now_ns();
        let board = Board::new(id, Settings::default());
        let exchange = Exchange::new();
        let mut machine = Self { bus, board, exchange, now_us: 0, origin_ns, effects: vec![] };
        machine.pass_s(2);
        assert!(machine.board.faults().is_empty(), "{:?}", machine.board.faults());
        machine
    }

    pub fn now(&self) -> Instant {
        Instant::from_us(self.now_us)
    }

    pub fn pass_s(&mut self, seconds: u64) {
        let until_us = self.now_us + seconds * 1_000_000;
        while self.now_us < until_us {
            self.bus.advance_to(self.origin_ns + self.now_us * 1_000);
            let now = self.now();
            let part = &mut Eeprom::new(&mut self.bus, WiredPart::REFERENCE);
            let polled = self.board.poll(now, part);
            self.effects.extend(polled.effect);
            let bus_us = (self.bus.now_ns() - self.origin_ns).div_ceil(1_000);
            let next_us = match polled.effect {
                Some(_) => bus_us,
                None => bus_us.max(polled.deadline.as_us()).max(self.now_us + 1),
            };
            self.now_us = self.now_us.max(next_us.min(until_us));
        }
    }

    pub fn trim(&mut self) {
        self.board.input(self.now(), Input::Trim(Level::Active));
        self.pass_s(1);
        self.board.input(self.now(), Input::Trim(Level::Inactive));
        self.pass_s(1);
    }

    pub fn ask(&mut self, allows: Authorised) -> Request {
        let now = self.now();
        self.exchange.begin(&mut self.board, now, allows).expect("a challenge")
    }

    /// Enters a reply and waits until it is judged.
    pub fn enter(&mut self, reply: EightDigits) -> Outcome {
        let now = self.now();
        self.exchange.reply(&mut self.board, now, reply).expect("a try");
        self.judged()
    }

    /// Waits until what was handed in is judged.
    pub fn judged(&mut self) -> Outcome {
        self.effects.clear();
        self.pass_s(1);
        let outcomes = self.effects.iter().map(|effect| self.exchange.effect(effect));
        outcomes.filter(|outcome| *outcome != Outcome::Pending).last().expect("judged")
    }

    pub fn cut(self) -> Self {
        let id = self.board.id();
        let mut bus = self.bus;
        bus.power_cycle(Tear::Old);
        Self::on(bus, id)
    }

    pub fn services(&self) -> u16 {
        self.board.ledger().services
    }

    /// Place of the first component that only the engineer may renew and that wears by
    /// trims: the profile's knife.
    pub fn knife(&self) -> usize {
        let mut components = self.board.ledger().components.iter();
        let place = components.position(|fitted| {
            let component = fitted.component;
            component.renewed_by == Role::Engineer && component.measure == Measure::Trims
        });
        place.expect("a knife in the profile")
    }

    pub fn knife_wear(&self) -> Option<u64> {
        let lifetime = self.board.lifetime(self.now())?;
        self.board.ledger().wear(self.knife(), &lifetime, None)
    }
}
