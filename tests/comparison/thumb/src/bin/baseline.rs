//! The empty program: what every probe weighs before anything is in it.

#![no_std]
#![no_main]

use comparison_thumb as _;

/// The entry point.
#[unsafe(no_mangle)]
pub extern "C" fn _start() -> ! {
    loop {
        core::hint::spin_loop();
    }
}
