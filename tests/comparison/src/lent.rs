//! The simulated part as an adapter owns it, although the part belongs to the campaign.
//!
//! A storage crate keeps its part for as long as the power lasts, but a campaign hands the bus
//! to each call anew. So the bus is moved in at the beginning of a call, and out again at its
//! end.
//!
//! Invariant: outside of [`Lent::during`] there is no bus inside, and every access fails.

use std::cell::RefCell;
use std::rc::Rc;

use comparison_stores::{Part, PartError};
use shaftbook_core::medium::{Geometry, MediumError};
use shaftbook_evidence::campaign::store::Pages;
use shaftbook_world::bus::{Bus, Part as SimulatedPart, Timing};

/// Accesses in one call after which the part stops answering: far above what any of the
/// stores needs, so that a store that loops on damaged bytes comes to an end.
const ACCESSES_MAX: u32 = 20_000;
/// Refused accesses after that which a store may make before it counts as hanging.
const PATIENCE: u32 = 1_000;

#[derive(Debug, Default)]
struct Inside {
    bus: Option<Bus>,
    accesses: u32,
}

/// A part that has a bus only during a call.
#[derive(Clone, Debug, Default)]
pub struct Lent(Rc<RefCell<Inside>>);

impl Lent {
    /// Moves the bus of `pages` in, does `work`, and moves it out again.
    ///
    /// # Panics
    /// Never but for a panic in `work`: then the bus is lost with it.
    pub fn during<T>(&self, pages: &mut Pages<'_>, work: impl FnOnce() -> T) -> T {
        let bus = std::mem::replace(pages.bus(), nothing());
        *self.0.borrow_mut() = Inside { bus: Some(bus), accesses: 0 };
        let done = work();
        *pages.bus() = self.0.borrow_mut().bus.take().expect("moved in above");
        done
    }

    fn access(
        &self,
        work: impl FnOnce(&mut Pages<'_>) -> Result<(), MediumError>,
    ) -> Result<(), PartError> {
        let mut inside = self.0.borrow_mut();
        inside.accesses += 1;
        if inside.accesses > ACCESSES_MAX {
            assert!(inside.accesses < ACCESSES_MAX + PATIENCE, "the store hangs");
            return Err(PartError);
        }
        let bus = inside.bus.as_mut().ok_or(PartError)?;
        work(&mut Pages::new(bus)).map_err(|_| PartError)
    }
}

impl Part for Lent {
    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), PartError> {
        self.access(|pages| pages.read(address, bytes))
    }

    fn program(&mut self, address: u32, bytes: &[u8]) -> Result<(), PartError> {
        self.access(|pages| pages.program(address, bytes))
    }

    fn boot_number(&mut self) -> u32 {
        // The clock of the simulation: another one at each power-up, the same in each run.
        self.0.borrow().bus.as_ref().map_or(0, |bus| {
            let now = bus.now_ns();
            (now ^ now >> 32).wrapping_mul(0x9E37_79B9) as u32
        })
    }
}

/// The smallest bus there is, to stand in for one that is lent.
fn nothing() -> Bus {
    let least = Geometry { size_bytes: 4, page_bytes: 4 };
    Bus::new(SimulatedPart::blank(least).expect("a shape a part can have"), Timing::FAST_MODE, 0)
}
