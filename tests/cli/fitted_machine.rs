//! The machine's side of an authorisation: the real core on the part that `shaftbook fit` made,
//! with its supply, its time and what a person enters at it.

use std::fs;

use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::Board;
use shaftbook_core::component::{Measure, Role};
use shaftbook_core::exchange::{Exchange, Outcome, Request};
use shaftbook_core::identity::BoardId;
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::Authorised;
use shaftbook_core::time::Instant;
use shaftbook_world::bench::Bench;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bus::{Bus, Part, Tear, Timing};

/// The board at the machine, on the part that was fitted, and the exchange that its panel
/// would have.
pub struct Machine {
    pub bench: Bench<Core>,
    pub exchange: Exchange,
}

impl Machine {
    pub fn power_up(image: &str, id: BoardId) -> Self {
        let bytes = fs::read(image).expect("an image");
        let part = Part::from_image(bytes, Geometry::REFERENCE).expect("the reference part");
        Self::on(Bench::on(Bus::new(part, Timing::FAST_MODE, 5), id))
    }

    fn on(bench: Bench<Core>) -> Self {
        let mut machine = Self { bench, exchange: Exchange::new() };
        machine.pass_s(2);
        assert!(machine.board().faults().is_empty(), "{:?}", machine.board().faults());
        machine
    }

    pub fn board(&self) -> &Board {
        self.bench.board()
    }

    pub fn now(&self) -> Instant {
        self.bench.now()
    }

    pub fn pass_s(&mut self, seconds: u64) {
        self.bench.pass_to(self.bench.now_us + seconds * 1_000_000, &mut |_| {});
    }

    pub fn trim(&mut self) {
        self.bench.trim(&mut |_| {});
        self.pass_s(2);
    }

    pub fn ask(&mut self, allows: Authorised) -> Request {
        let now = self.now();
        self.exchange.begin(self.bench.device.board_mut(), now, allows).expect("a challenge")
    }

    /// Enters a reply and waits until it is judged.
    pub fn enter(&mut self, reply: EightDigits) -> Outcome {
        let now = self.now();
        self.exchange.reply(self.bench.device.board_mut(), now, reply).expect("a try");
        self.judged()
    }

    /// Waits until what was handed in is judged.
    pub fn judged(&mut self) -> Outcome {
        self.bench.effects.clear();
        self.pass_s(1);
        let outcomes = self.bench.effects.iter().map(|effect| self.exchange.effect(effect));
        outcomes.filter(|outcome| *outcome != Outcome::Pending).last().expect("judged")
    }

    pub fn cut(self) -> Self {
        Self::on(self.bench.powered_again(Tear::Old))
    }

    pub fn services(&self) -> u16 {
        self.board().ledger().services
    }

    /// Place of the first component that only the engineer may renew and that wears by
    /// trims: the profile's knife.
    pub fn knife(&self) -> usize {
        let mut components = self.board().ledger().components.iter();
        let place = components.position(|fitted| {
            let component = fitted.component;
            component.renewed_by == Role::Engineer && component.measure == Measure::Trims
        });
        place.expect("a knife in the profile")
    }

    pub fn knife_wear(&self) -> Option<u64> {
        let lifetime = self.board().lifetime(self.now())?;
        self.board().ledger().wear(self.knife(), &lifetime, None)
    }
}
