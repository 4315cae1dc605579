//! Adapters: each puts one value of 128 bytes on a memory part by one storage crate.
//!
//! Purpose: the same adapter is run on the simulated part and weighed on thumbv6m, so that the
//! figures are of the same code. Nothing here knows what the 128 bytes mean.
//!
//! - [`ring`]: no crate, records in turn; what one would write oneself
//! - `sequential`: the crate `sequential-storage`
//! - `ekv`, `littlefs`, `tick`: the crates `ekv`, `littlefs2` and `tickv`
//!
//! An EEPROM has no erase. Where a crate asks for one, the block is programmed with 0xFF, page
//! by page.

#![no_std]
#![forbid(unsafe_code)]

#[cfg(feature = "ekv")]
pub mod ekv;
#[cfg(feature = "littlefs")]
pub mod littlefs;
pub mod ring;
#[cfg(feature = "sequential")]
pub mod sequential;
#[cfg(feature = "tickv")]
pub mod tick;

/// Size of the part that all adapters are configured for, bytes.
pub const PART_BYTES: u32 = 32_768;
/// Page of the part, bytes.
pub const PAGE_BYTES: u32 = 64;
/// Length of the value, bytes.
pub const VALUE_BYTES: usize = 128;

/// Bytes of the value that are in use; the rest is 0.
pub const USED_BYTES: usize = 120;

/// What is stored.
pub type Value = [u8; VALUE_BYTES];

/// A memory part that an adapter owns.
pub trait Part {
    /// Reads `bytes.len()` bytes from `address`.
    ///
    /// # Errors
    /// [`PartError`] when the part does not answer.
    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), PartError>;

    /// Programs `bytes` at `address`, page by page, and waits for the end of each cycle.
    ///
    /// # Errors
    /// [`PartError`]; what was programmed by then is not known.
    fn program(&mut self, address: u32, bytes: &[u8]) -> Result<(), PartError>;

    /// A number that differs from one power-up to the next, for crates that ask for one.
    fn boot_number(&mut self) -> u32;

    /// Programs 0xFF from `address` on, `count` bytes, both multiples of a page.
    ///
    /// # Errors
    /// As [`Part::program`].
    fn erase(&mut self, address: u32, count: u32) -> Result<(), PartError> {
        (0..count / PAGE_BYTES).try_for_each(|page| {
            self.program(address + page * PAGE_BYTES, &[0xFF; PAGE_BYTES as usize])
        })
    }

    /// Whether the part holds 0xFF from end to end, as it comes from the maker.
    ///
    /// # Errors
    /// As [`Part::read`].
    fn is_blank(&mut self) -> Result<bool, PartError> {
        let mut page = [0; PAGE_BYTES as usize];
        for address in (0..PART_BYTES).step_by(PAGE_BYTES as usize) {
            self.read(address, &mut page)?;
            if page.iter().any(|byte| *byte != 0xFF) {
                return Ok(false);
            }
        }
        Ok(true)
    }
}

/// The part did not do as asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PartError;

/// Why an adapter did not do as asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// The part did not.
    Part,
    /// What is on the part cannot be used: the crate's word for it.
    Unusable(&'static str),
}

impl From<PartError> for Failure {
    fn from(_: PartError) -> Self {
        Self::Part
    }
}

/// One value on a part.
pub trait ValueStore<P: Part>: Sized {
    /// The crate's name, version and what was chosen, as the tables show it.
    const NAME: &'static str;

    /// A store on `part`, which has just been powered; no bus traffic.
    fn new(part: P) -> Self;

    /// Opens what is on the part and finds the value that was stored last, if one ever
    /// was. Called once, first.
    ///
    /// # Errors
    /// [`Failure`].
    fn open(&mut self) -> Result<Option<Value>, Failure>;

    /// Stores `value`: durable when it returns `Ok`.
    ///
    /// # Errors
    /// [`Failure`]; whether it is durable is then not known.
    fn store(&mut self, value: &Value) -> Result<(), Failure>;
}
