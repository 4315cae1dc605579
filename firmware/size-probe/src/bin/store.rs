//! The store and its codecs alone, on a memory part whose answers the compiler does not know.
//!
//! Every function named `probe_…` is a root: the stack is counted from there down.

#![no_std]
#![no_main]

use core::hint::black_box;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::journal::Entry;
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_core::rules::Sound;
use shaftbook_core::store::{Store, StoreEvent, Wanted};
use shaftbook_core::time::Instant;

// Storing: no panic may be left.
size_probe::panic_does_not_link!();

/// A part whose every answer is unknown to the compiler.
struct Unknown;

impl Medium for Unknown {
    #[inline(never)]
    fn geometry(&self) -> Geometry {
        black_box(Geometry::REFERENCE)
    }

    #[inline(never)]
    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        black_box((address, bytes));
        black_box(Ok(()))
    }

    #[inline(never)]
    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        black_box((address, bytes));
        black_box(Ok(1))
    }

    #[inline(never)]
    fn is_ready(&mut self) -> Result<bool, MediumError> {
        black_box(Ok(true))
    }
}

#[inline(never)]
fn probe_store_new() -> Store<Sound> {
    Store::new(BoardId(black_box(1)))
}

#[inline(never)]
fn probe_store_poll(
    store: &mut Store<Sound>,
    wanted: Wanted<'_>,
    lifetime: &Counters,
) -> Option<StoreEvent> {
    store.poll(black_box(Instant::ZERO), &mut Unknown, wanted, |c| *c = *lifetime)
}

#[inline(never)]
fn probe_store_change_ledger(store: &mut Store<Sound>) -> Result<(), Fault> {
    store.change_ledger().map(|_| ())
}

/// The entry point.
#[unsafe(no_mangle)]
pub extern "C" fn _start() -> ! {
    let mut store = black_box(probe_store_new());
    let counters = black_box(Counters::default());
    let entry: Option<Entry> = black_box(None);
    loop {
        let wanted =
            Wanted { checkpoint: black_box(true), urgent: black_box(true), entry: entry.as_ref() };
        black_box(probe_store_poll(&mut store, wanted, &counters));
        let _ = black_box(probe_store_change_ledger(&mut store));
        black_box((store.wake(), store.is_busy(), store.is_ready(), store.not_before()));
        black_box((store.can_write(), store.retired().len(), store.scanned(), store.head()));
    }
}
