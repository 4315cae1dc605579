//! The firmware's own bytes, as they stand in the flash: from the second stage of the boot to
//! the initial values of variables, which the linker puts last.

/// Where the flash is read.
const FLASH_START: usize = 0x1000_0000;

unsafe extern "C" {
    /// First initial value in the flash.
    static __sidata: u8;
    /// The variables' place in the RAM, and its end.
    static __sdata: u8;
    static __edata: u8;
}

/// All bytes that were flashed.
pub fn image() -> &'static [u8] {
    let initial_values_at = (&raw const __sidata).addr();
    let initial_values_bytes = (&raw const __edata).addr() - (&raw const __sdata).addr();
    let bytes = initial_values_at + initial_values_bytes - FLASH_START;
    // SAFETY: the linker puts the image there without a gap (`memory.x`, `link.x`), and
    // nobody writes to the flash while the firmware runs.
    unsafe { core::slice::from_raw_parts(FLASH_START as *const u8, bytes) }
}
