//! A driver for either kind of part; the [`WiredPart`] says which kind it is.

use embedded_hal::i2c::I2c;
use shaftbook_core::medium::{Geometry, Medium, MediumError};

use super::eeprom::Eeprom;
use super::fram::Fram;
use super::wired_part::{PartKind, WiredPart};

/// A memory part on bus `B`, of the kind that its [`WiredPart`] says.
#[derive(Debug)]
pub enum Memory<B> {
    /// A 24-series EEPROM.
    Eeprom(Eeprom<B>),
    /// An FRAM.
    Fram(Fram<B>),
}

impl<B: I2c> Memory<B> {
    /// `part` on `bus`. No bus traffic.
    #[inline]
    pub const fn new(bus: B, part: WiredPart) -> Self {
        match part.kind() {
            PartKind::Eeprom => Self::Eeprom(Eeprom::new(bus, part)),
            PartKind::Fram => Self::Fram(Fram::new(bus, part)),
        }
    }
}

impl<B: I2c> Medium for Memory<B> {
    #[inline]
    fn geometry(&self) -> Geometry {
        match self {
            Self::Eeprom(part) => part.geometry(),
            Self::Fram(part) => part.geometry(),
        }
    }

    #[inline]
    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        match self {
            Self::Eeprom(part) => part.read(address, bytes),
            Self::Fram(part) => part.read(address, bytes),
        }
    }

    #[inline]
    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        match self {
            Self::Eeprom(part) => part.begin_program(address, bytes),
            Self::Fram(part) => part.begin_program(address, bytes),
        }
    }

    #[inline]
    fn is_ready(&mut self) -> Result<bool, MediumError> {
        match self {
            Self::Eeprom(part) => part.is_ready(),
            Self::Fram(part) => part.is_ready(),
        }
    }
}
