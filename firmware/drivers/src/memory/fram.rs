//! The driver of an FRAM that takes an EEPROM's commands.

use embedded_hal::i2c::I2c;
use shaftbook_core::medium::{Geometry, Medium, MediumError};

use super::transfer::{address_bytes, read, write};
use super::wired_part::WiredPart;

/// An FRAM with two address bytes, on bus `B`: no pages, each byte is kept as it
/// arrives, never busy (MB85RC256V datasheet).
///
/// The page of its [`WiredPart`] is only what the store is told to write at a time.
#[derive(Debug)]
pub struct Fram<B> {
    bus: B,
    part: WiredPart,
}

impl<B: I2c> Fram<B> {
    /// `part` on `bus`. No bus traffic.
    #[inline]
    pub const fn new(bus: B, part: WiredPart) -> Self {
        Self { bus, part }
    }

    /// The bus, for other parts on it.
    #[inline]
    pub fn bus(&mut self) -> &mut B {
        &mut self.bus
    }

    /// Gives the bus back.
    #[inline]
    pub fn release(self) -> B {
        self.bus
    }
}

impl<B: I2c> Medium for Fram<B> {
    #[inline]
    fn geometry(&self) -> Geometry {
        self.part.geometry()
    }

    #[inline]
    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        read(&mut self.bus, self.part, address, bytes)
    }

    /// Writes all of `bytes`, across any border: there are no pages.
    #[inline]
    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        let start = address_bytes(self.part, address, bytes.len())?;
        if !bytes.is_empty() {
            write(&mut self.bus, self.part, start, bytes)?;
        }
        Ok(bytes.len())
    }

    /// Always, without asking: a write is done when it has been sent. A missing part
    /// shows at the next read.
    #[inline]
    fn is_ready(&mut self) -> Result<bool, MediumError> {
        Ok(true)
    }
}
