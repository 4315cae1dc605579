//! What the probes share: a part whose answers the compiler does not know, so that it can leave
//! nothing out; and a panic handler that weighs nothing.
//!
//! Each probe is linked without a start-up routine and is only read, never run. The driver of
//! the part and the bus are left out of all of them alike. Every function named `probe_…` is a
//! root: the stack is counted from there down. `STATE_BYTES` is the RAM that the store keeps
//! while there is power, its buffers included.

#![no_std]

use core::hint::black_box;

use comparison_stores::{Part, PartError};
use critical_section::RawRestoreState;

/// A part whose every answer is unknown to the compiler.
pub struct Unknown;

impl Part for Unknown {
    #[inline(never)]
    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), PartError> {
        black_box((address, bytes));
        black_box(Ok(()))
    }

    #[inline(never)]
    fn program(&mut self, address: u32, bytes: &[u8]) -> Result<(), PartError> {
        black_box((address, bytes));
        black_box(Ok(()))
    }

    #[inline(never)]
    fn boot_number(&mut self) -> u32 {
        black_box(1)
    }
}

/// Stands for the chip's interrupt mask.
struct NoInterrupts;

critical_section::set_impl!(NoInterrupts);

// SAFETY: nothing runs, so nothing interrupts.
unsafe impl critical_section::Impl for NoInterrupts {
    unsafe fn acquire() -> RawRestoreState {
        black_box(());
    }

    unsafe fn release(state: RawRestoreState) {
        black_box(state);
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}

/// A place in RAM as long as a store's state: the weigher reads its length.
#[macro_export]
macro_rules! state {
    ($state:ty) => {
        /// As long as the store's state.
        #[unsafe(no_mangle)]
        pub static STATE_BYTES: core::sync::atomic::AtomicU32 =
            core::sync::atomic::AtomicU32::new(core::mem::size_of::<$state>() as u32);
    };
}

/// The program of an adapter that implements `ValueStore`.
#[macro_export]
macro_rules! probe {
    ($store:ty) => {
        use comparison_stores::{Failure, Value, ValueStore};
        use core::hint::black_box;

        $crate::state!($store);

        #[inline(never)]
        fn probe_open(store: &mut $store) -> Result<Option<Value>, Failure> {
            store.open()
        }

        #[inline(never)]
        fn probe_store(store: &mut $store, value: &Value) -> Result<(), Failure> {
            store.store(value)
        }

        /// The entry point.
        #[unsafe(no_mangle)]
        pub extern "C" fn _start() -> ! {
            black_box(STATE_BYTES.load(core::sync::atomic::Ordering::Relaxed));
            let mut store = black_box(<$store>::new($crate::Unknown));
            let _ = black_box(probe_open(&mut store));
            loop {
                let value = black_box([0; comparison_stores::VALUE_BYTES]);
                let _ = black_box(probe_store(&mut store, &value));
            }
        }
    };
}
