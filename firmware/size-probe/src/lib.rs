//! What the probes share: their panic handlers.
//!
//! Each binary is linked without a start-up routine and is only read, never run.

#![no_std]

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
