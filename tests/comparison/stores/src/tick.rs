//! `tickv` 2: its log of keys.
//!
//! Configured as its documentation says (README, `SPEC.md`, the pages of `TicKV`):
//! - a region is "the smallest region that can be erased": a choice on an EEPROM; 1,024
//!   bytes, which is also the length of the buffer it reads into;
//! - a key is never replaced: the old one is invalidated, the new one appended ("a
//!   successful write or erase is durably committed"); when a region is full, garbage is
//!   collected, which is left to the caller;
//! - its README assumes that "key values will rarely need to be modified", and promises that
//!   a cut "only affects a single key". So that a cut does not take the only value, two keys
//!   are used in turn, each with a number before its value: what a careful user would do.
//!
//! Boot reads every region that may hold a key, into the buffer.

use core::cell::RefCell;

use tickv::error_codes::ErrorCode;
use tickv::flash_controller::FlashController;
use tickv::tickv::{MAIN_KEY, TicKV};

use crate::{Failure, PART_BYTES, Part, VALUE_BYTES, Value, ValueStore};

/// Length of a region, bytes.
const REGION_BYTES: usize = 1_024;
/// The two keys, hashed: any numbers do.
const KEYS: [u64; 2] = [0x5348_4146_5442_4F4F, 0x9E37_79B9_7F4A_7C15];
/// The crate's own key, hashed.
const MAIN: u64 = 0xBC5A_1E5A_0D15_EA5E ^ MAIN_KEY.len() as u64;

/// The part as flash with regions.
struct Flash<'a, P>(&'a RefCell<P>);

impl<P: Part> FlashController<REGION_BYTES> for Flash<'_, P> {
    fn read_region(
        &self,
        region_number: usize,
        bytes: &mut [u8; REGION_BYTES],
    ) -> Result<(), ErrorCode> {
        let address = (region_number * REGION_BYTES) as u32;
        self.0.borrow_mut().read(address, bytes).map_err(|_| ErrorCode::ReadFail)
    }

    fn write(&self, address: usize, bytes: &[u8]) -> Result<(), ErrorCode> {
        self.0.borrow_mut().program(address as u32, bytes).map_err(|_| ErrorCode::WriteFail)
    }

    fn erase_region(&self, region_number: usize) -> Result<(), ErrorCode> {
        let address = (region_number * REGION_BYTES) as u32;
        let erased = self.0.borrow_mut().erase(address, REGION_BYTES as u32);
        erased.map_err(|_| ErrorCode::EraseFail)
    }
}

/// The log on a part.
pub struct Tick<P> {
    part: RefCell<P>,
    buffer: [u8; REGION_BYTES],
    /// Number of the next value; its key is this modulo 2.
    next: u32,
}

impl<P: Part> Tick<P> {
    fn log(&mut self) -> TicKV<'_, Flash<'_, P>, REGION_BYTES> {
        TicKV::new(Flash(&self.part), &mut self.buffer, PART_BYTES as usize)
    }
}

fn failure(error: ErrorCode) -> Failure {
    match error {
        ErrorCode::ReadFail | ErrorCode::WriteFail | ErrorCode::EraseFail => Failure::Part,
        ErrorCode::UnsupportedVersion => Failure::Unusable("UnsupportedVersion"),
        ErrorCode::CorruptData => Failure::Unusable("CorruptData"),
        ErrorCode::KeyAlreadyExists => Failure::Unusable("KeyAlreadyExists"),
        ErrorCode::FlashFull => Failure::Unusable("FlashFull"),
        _ => Failure::Unusable("other"),
    }
}

impl<P: Part> ValueStore<P> for Tick<P> {
    const NAME: &'static str = "tickv 2.0.0, two keys in turn, 1 KiB regions";

    fn power_up(part: P) -> Result<(Self, Option<Value>), Failure> {
        let mut this = Self { part: RefCell::new(part), buffer: [0; REGION_BYTES], next: 0 };
        let log = this.log();
        log.initialise(MAIN).map_err(failure)?;
        let mut newest: Option<(u32, Value)> = None;
        for key in KEYS {
            let mut bytes = [0; 4 + VALUE_BYTES];
            match log.get_key(key, &mut bytes) {
                Ok(_) => {
                    let (number, value) = bytes.split_at(4);
                    let number = number.try_into().map_or(0, u32::from_le_bytes);
                    let value = value.try_into().map_err(|_| Failure::Unusable("length"))?;
                    newest = newest.filter(|(other, _)| *other > number).or(Some((number, value)));
                }
                // A key whose append or invalidation was cut: the other one counts.
                Err(
                    ErrorCode::KeyNotFound | ErrorCode::InvalidCheckSum | ErrorCode::CorruptData,
                ) => {}
                Err(error) => return Err(failure(error)),
            }
        }
        drop(log);
        this.next = newest.map_or(0, |(number, _)| number.wrapping_add(1));
        Ok((this, newest.map(|(_, value)| value)))
    }

    fn store(&mut self, value: &Value) -> Result<(), Failure> {
        let number = self.next;
        let key = KEYS[(number & 1) as usize];
        let mut bytes = [0; 4 + VALUE_BYTES];
        bytes[..4].copy_from_slice(&number.to_le_bytes());
        bytes[4..].copy_from_slice(value);
        let log = self.log();
        match log.invalidate_key(key) {
            Ok(_) | Err(ErrorCode::KeyNotFound) => {}
            Err(error) => return Err(failure(error)),
        }
        match log.append_key(key, &bytes) {
            Ok(_) => {}
            Err(ErrorCode::FlashFull | ErrorCode::RegionFull) => {
                log.garbage_collect().map_err(failure)?;
                log.append_key(key, &bytes).map_err(failure)?;
            }
            Err(error) => return Err(failure(error)),
        }
        drop(log);
        self.next = number.wrapping_add(1);
        Ok(())
    }
}
