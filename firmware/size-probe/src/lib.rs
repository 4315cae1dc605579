//! What the probes share: a bus and an interrupt mask whose answers the compiler does not know,
//! so that it can leave nothing out; and the panic handlers.
//!
//! Each probe is linked without a start-up routine and is only read, never run.

#![no_std]

use core::hint::black_box;
use critical_section::RawRestoreState;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

/// A bus whose every answer is unknown to the compiler.
pub struct Unknown;

impl ErrorType for Unknown {
    type Error = ErrorKind;
}

impl I2c for Unknown {
    #[inline(never)]
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), ErrorKind> {
        black_box((address, operations));
        black_box(Ok(()))
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

/// A panic handler that weighs nothing.
#[macro_export]
macro_rules! panic_spins {
    () => {
        #[panic_handler]
        fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
            loop {
                core::hint::spin_loop();
            }
        }
    };
}

/// A panic handler that cannot be linked: a program that uses it links only when no panic
/// is left in it. The linker then names the missing symbol.
#[macro_export]
macro_rules! panic_does_not_link {
    () => {
        // SAFETY: stands nowhere, so it is never called.
        unsafe extern "C" {
            safe fn panic_is_reachable_from_counting() -> !;
        }

        #[panic_handler]
        fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
            panic_is_reachable_from_counting()
        }
    };
}
