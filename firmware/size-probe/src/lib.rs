//! What the probes share: a panic handler that weighs nothing.
//!
//! Each binary is linked without a start-up routine and is only read, never run.

#![no_std]

use core::panic::PanicInfo;

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
