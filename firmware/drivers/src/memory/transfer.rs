//! What the drivers of both kinds of part share: addresses, and reads and writes of one
//! transaction each.

use embedded_hal::i2c::{Error, ErrorKind, I2c, Operation};
use shaftbook_core::medium::MediumError;

use super::wired_part::WiredPart;

/// What a bus error means to the store.
#[inline]
pub(super) fn medium_error<E: Error>(error: &E) -> MediumError {
    match error.kind() {
        ErrorKind::NoAcknowledge(_) => MediumError::NoAnswer,
        _ => MediumError::Bus,
    }
}

/// Checks that `bytes` bytes at `address` are on `part`, and gives the two address
/// bytes, high byte first.
#[inline]
pub(super) fn address_bytes(
    part: WiredPart,
    address: u32,
    bytes: usize,
) -> Result<[u8; 2], MediumError> {
    let size_bytes = part.geometry().size_bytes;
    if address >= size_bytes || bytes > (size_bytes - address) as usize {
        return Err(MediumError::OutOfRange);
    }
    Ok((address as u16).to_be_bytes())
}

/// Reads from `address`: address write, repeated start, data.
#[inline]
pub(super) fn read<B: I2c>(
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
pub(super) fn write<B: I2c>(
    bus: &mut B,
    part: WiredPart,
    start: [u8; 2],
    bytes: &[u8],
) -> Result<(), MediumError> {
    bus.transaction(part.device_address(), &mut [Operation::Write(&start), Operation::Write(bytes)])
        .map_err(|error| medium_error(&error))
}
