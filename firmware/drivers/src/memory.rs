//! Memory parts on the I²C bus, as the core's [`Medium`].
//!
//! - [`Eeprom`]: 24-series, two address bytes, pages and a program time;
//! - [`Fram`]: the same commands, no pages, no program time.
//!
//! Both are a bus and a [`WiredPart`], nothing else: make one for a call or keep it,
//! it costs the same. `&mut bus` is a bus too, so one bus serves several parts.
//!
//! Rule of this module: every operation is one bus transaction, and no answer of the
//! part is believed further than the bus goes. An acknowledged write may have
//! programmed nothing (write-protect), and some bus drivers report a short write to
//! an absent part as done: the store reads back.

mod eeprom;
mod fram;
mod wired_part;

pub use eeprom::Eeprom;
pub use fram::Fram;
pub use wired_part::WiredPart;

use embedded_hal::i2c::{Error, ErrorKind, I2c, Operation};
#[cfg(doc)]
use shaftbook_core::medium::Medium;
use shaftbook_core::medium::MediumError;

/// What a bus error means to the store.
#[inline]
fn medium_error<E: Error>(error: &E) -> MediumError {
    match error.kind() {
        ErrorKind::NoAcknowledge(_) => MediumError::NoAnswer,
        _ => MediumError::Bus,
    }
}

/// Checks that `bytes` bytes at `address` are on `part`, and gives the two address
/// bytes, high byte first.
#[inline]
fn address_bytes(part: WiredPart, address: u32, bytes: usize) -> Result<[u8; 2], MediumError> {
    let size_bytes = part.geometry().size_bytes;
    if address >= size_bytes || bytes > (size_bytes - address) as usize {
        return Err(MediumError::OutOfRange);
    }
    Ok((address as u16).to_be_bytes())
}

/// Reads from `address`: address write, repeated start, data.
#[inline]
fn read<B: I2c>(
    bus: &mut B,
    part: WiredPart,
    address: u32,
    bytes: &mut [u8],
) -> Result<(), MediumError> {
    let start = address_bytes(part, address, bytes.len())?;
    if bytes.is_empty() {
        return Ok(());
    }
    bus.write_read(part.device_address(), &start, bytes).map_err(|error| medium_error(&error))
}

/// Writes `bytes` at `address` in one transaction: address and data go out as two
/// adjacent writes, which embedded-hal sends without a start in between, so that
/// nothing is copied.
#[inline]
fn write<B: I2c>(
    bus: &mut B,
    part: WiredPart,
    start: [u8; 2],
    bytes: &[u8],
) -> Result<(), MediumError> {
    bus.transaction(part.device_address(), &mut [Operation::Write(&start), Operation::Write(bytes)])
        .map_err(|error| medium_error(&error))
}
