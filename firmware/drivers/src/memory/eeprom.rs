//! The driver of a 24-series EEPROM.

use embedded_hal::i2c::I2c;
use shaftbook_core::medium::{Geometry, Medium, MediumError};

use super::transfer::{address_bytes, medium_error, read, write};
use super::wired_part::WiredPart;

/// A 24-series EEPROM with two address bytes, on bus `B`.
///
/// Holds no state of the part: nothing is lost when it is dropped.
#[derive(Debug)]
pub struct Eeprom<B> {
    bus: B,
    part: WiredPart,
}

impl<B: I2c> Eeprom<B> {
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

impl<B: I2c> Medium for Eeprom<B> {
    #[inline]
    fn geometry(&self) -> Geometry {
        self.part.geometry()
    }

    #[inline]
    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        read(&mut self.bus, self.part, address, bytes)
    }

    /// Sends the bytes up to the end of the page of `address`; the rest is for the
    /// next cycle. The whole range must be on the part, else nothing is sent. No
    /// bytes: 0, and nothing is sent.
    ///
    /// # Errors
    /// [`MediumError::NoAnswer`] while the part is busy or when it is missing.
    #[inline]
    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        let start = address_bytes(self.part, address, bytes.len())?;
        if bytes.is_empty() {
            return Ok(0);
        }
        let page_bytes = usize::from(self.part.geometry().page_bytes);
        let left_in_page = page_bytes - (address as usize & (page_bytes - 1));
        let count = bytes.len().min(left_in_page);
        write(&mut self.bus, self.part, start, &bytes[..count])?;
        Ok(count)
    }

    /// Acknowledge polling by a read of one byte at wherever the part's address
    /// counter stands. A read, because an address-only write is not possible on every
    /// bus controller, and some report a short write to an absent part as done.
    #[inline]
    fn is_ready(&mut self) -> Result<bool, MediumError> {
        match self.bus.read(self.part.device_address(), &mut [0]) {
            Ok(()) => Ok(true),
            Err(error) => match medium_error(&error) {
                MediumError::NoAnswer => Ok(false),
                other => Err(other),
            },
        }
    }
}
