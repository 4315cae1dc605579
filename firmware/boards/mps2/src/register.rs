//! A 32-bit register of a peripheral.
//!
//! Invariant: a [`Register`] exists only for an address of this machine's peripherals, which
//! [`Register::of`] checks. Reading or writing one touches no memory that Rust owns.

/// Where this machine's peripherals lie, and the processor's own.
const PERIPHERALS: core::ops::Range<usize> = 0x4000_0000..0x4010_0000;
const SYSTEM: core::ops::Range<usize> = 0xE000_E000..0xE000_F000;

/// A register.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Register(usize);

impl Register {
    /// The register `offset` bytes into the peripheral at `base`. Evaluated at build time:
    /// an address outside the peripherals does not compile.
    pub const fn of(base: usize, offset: usize) -> Self {
        let address = base + offset;
        let is_peripheral = address >= PERIPHERALS.start && address < PERIPHERALS.end;
        assert!(is_peripheral || (address >= SYSTEM.start && address < SYSTEM.end));
        assert!(address.is_multiple_of(4));
        Self(address)
    }

    /// Reads it.
    pub fn read(self) -> u32 {
        // SAFETY: an aligned address of a peripheral, see `of`; no Rust object lies there.
        unsafe { (self.0 as *const u32).read_volatile() }
    }

    /// Writes `value`.
    pub fn write(self, value: u32) {
        // SAFETY: as for `read`.
        unsafe { (self.0 as *mut u32).write_volatile(value) }
    }
}
