//! The probe that weighs Shaftbook's store, with the ledger that its snapshots hold.

#![no_std]
#![no_main]

use core::hint::black_box;

use comparison_stores::Part;
use comparison_thumb::Unknown;
use shaftbook_core::counters::Counters;
use shaftbook_core::identity::BoardId;
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_core::rules::Sound;
use shaftbook_core::store::{Store, StoreEvent, Wanted};
use shaftbook_core::time::Instant;

comparison_thumb::state!(Store<Sound>);

/// The same part as that of the others.
struct Unwaited(Unknown);

impl Medium for Unwaited {
    fn geometry(&self) -> Geometry {
        Geometry::REFERENCE
    }

    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        self.0.read(address, bytes).map_err(|_| MediumError::NoAnswer)
    }

    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        self.0.program(address, bytes).map_err(|_| MediumError::NoAnswer)?;
        Ok(bytes.len())
    }

    #[inline(never)]
    fn is_ready(&mut self) -> Result<bool, MediumError> {
        black_box(Ok(true))
    }
}

/// Powering up and storing are both polls.
#[inline(never)]
fn probe_poll(
    store: &mut Store<Sound>,
    wanted: Wanted<'_>,
    lifetime: &Counters,
) -> Option<StoreEvent> {
    let mut part = Unwaited(Unknown);
    store.poll(black_box(Instant::ZERO), &mut part, wanted, |c| *c = *lifetime)
}

/// The entry point.
#[unsafe(no_mangle)]
pub extern "C" fn _start() -> ! {
    black_box(STATE_BYTES.load(core::sync::atomic::Ordering::Relaxed));
    let mut store = black_box(Store::new(BoardId(black_box(1))));
    let counters = black_box(Counters::default());
    let _ = black_box(store.change_ledger().map(|_| ()));
    loop {
        let wanted = Wanted { checkpoint: black_box(true), urgent: false, entry: None };
        black_box(probe_poll(&mut store, wanted, &counters));
        black_box(store.saved());
    }
}
