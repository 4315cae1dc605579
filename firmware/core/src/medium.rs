//! The memory part, seen from the store: a small trait of our own.
//!
//! Why not `embedded-storage`: its `Storage` hides the program time inside a
//! blocking `write`, and its `NorFlash` asks for an erase that an EEPROM does
//! not have. The store must start a program cycle, go on counting, and look at
//! the result later; and a power-fail warning must be able to get in between.
//! See `docs/DESIGN.md`.
//!
//! Not done here: records, rings, checks. A medium moves bytes.

/// Why the part did not do as asked. Each is an operating error, never a panic.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum MediumError {
    /// The part did not acknowledge: busy, missing, or worn out.
    NoAnswer,
    /// The bus could not be used: held low, arbitration lost, or a driver error.
    Bus,
    /// The address range is outside the part. A programmer's error, refused.
    OutOfRange,
}

/// Shape of a memory part. All figures in bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Geometry {
    /// Capacity: 8,192 to 65,536, at least 64 slots, a multiple of 128 and of `page_bytes`. Of
    /// a larger part, as those with pages of 256 are, its first 65,536 bytes.
    pub size_bytes: u32,
    /// Bytes one program cycle can alter: a power of two, 16 to 256. A part
    /// without pages (FRAM) says 64: the unit the store writes anyway.
    pub page_bytes: u16,
}

impl Geometry {
    /// The reference part: 32 KiB in 64-byte pages.
    pub const REFERENCE: Self = Self { size_bytes: 32_768, page_bytes: 64 };

    /// Whether the store can work with this shape.
    #[must_use]
    pub const fn is_supported(self) -> bool {
        let page_bytes = self.page_bytes as u32;
        self.size_bytes >= 8_192
            && self.size_bytes <= 65_536
            && page_bytes >= 16
            && page_bytes <= 256
            && page_bytes.is_power_of_two()
            && self.size_bytes.trailing_zeros() >= 7
            // Whole pages, and at least 64 of them.
            && self.size_bytes & (page_bytes - 1) == 0
            && self.size_bytes >= page_bytes << 6
    }
}

/// A byte-addressed non-volatile part with page program cycles.
///
/// Contract: after [`Medium::begin_program`] the part may refuse everything until
/// [`Medium::is_ready`] has answered `Ok(true)`. Whether the bytes really arrived
/// is only known by reading them back: a write-protected part acknowledges and
/// programs nothing.
pub trait Medium {
    /// The part's shape. Constant over the life of the value.
    fn geometry(&self) -> Geometry;

    /// Reads `bytes.len()` bytes from `address`. Work: one bus transaction.
    ///
    /// # Errors
    /// [`MediumError`]; `bytes` is then undefined.
    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError>;

    /// Starts programming the leading bytes of `bytes` at `address`, as many as
    /// one program cycle takes, and returns that number (1 to `bytes.len()`).
    /// Work: one bus transaction; does not wait for the cycle to end.
    ///
    /// # Errors
    /// [`MediumError`]; whether anything was programmed is then unknown.
    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError>;

    /// Whether the program cycle has ended (acknowledge polling). Work: one
    /// address byte on the bus.
    ///
    /// # Errors
    /// [`MediumError::Bus`] when the bus cannot be used. A part that does not
    /// acknowledge is `Ok(false)`: busy and missing look alike, the caller's
    /// deadline tells them apart.
    fn is_ready(&mut self) -> Result<bool, MediumError>;
}
