//! The empty program: what every probe weighs before anything is in it.

#![no_std]
#![no_main]

size_probe::panic_spins!();

/// The entry point.
#[unsafe(no_mangle)]
pub extern "C" fn _start() -> ! {
    loop {
        core::hint::spin_loop();
    }
}
