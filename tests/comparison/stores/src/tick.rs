//! `tickv` 2: its log of keys.
//!
//! Configured as its documentation says (README, `SPEC.md`, the pages of `TicKV`):
//! - a region is "the smallest region that can be erased", which is a choice on an EEPROM: here
//!   512 bytes, which is also the length of the buffer that the crate reads into. With 1,024
//!   bytes the workload does not run to its end: values of 128 bytes and the crate's own key
//!   fill a region to within 11 bytes. Then the crate's search for a key ends too early, so
//!   that the value that was to be invalidated is not found and the new one is refused
//!   (`KeyAlreadyExists`);
//! - a key is never replaced: the old one is invalidated, the new one appended ("a successful
//!   write or erase is durably committed"). When a region is full, garbage must be collected,
//!   which the crate leaves to its caller;
//! - its README assumes that "key values will rarely need to be modified", and promises that a
//!   cut "only affects a single key": here that is the only one. Two keys in turn were tried
//!   and do not help: after the first collection, the key that had come to lie beyond an erased
//!   region was not found again, without any cut.
//!
//! Boot reads every region that may hold a key into the buffer.

use core::cell::RefCell;

use tickv::error_codes::ErrorCode;
use tickv::flash_controller::FlashController;
use tickv::tickv::{MAIN_KEY, TicKV};

use crate::Failure;
use crate::PART_BYTES;
use crate::Part;
use crate::VALUE_BYTES;
use crate::Value;
use crate::ValueStore;

/// Length of a region, bytes.
const REGION_BYTES: usize = 512;
/// The one key, hashed: any number does.
const KEY: u64 = 0x5348_4146_5442_4F4F;
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
        ErrorCode::InvalidCheckSum => Failure::Unusable("InvalidCheckSum"),
        ErrorCode::CorruptData => Failure::Unusable("CorruptData"),
        ErrorCode::KeyAlreadyExists => Failure::Unusable("KeyAlreadyExists"),
        ErrorCode::FlashFull => Failure::Unusable("FlashFull"),
        _ => Failure::Unusable("other"),
    }
}

impl<P: Part> ValueStore<P> for Tick<P> {
    const NAME: &'static str = "tickv 2.0.0, 512-byte regions";

    fn new(part: P) -> Self {
        Self { part: RefCell::new(part), buffer: [0; REGION_BYTES] }
    }

    fn open(&mut self) -> Result<Option<Value>, Failure> {
        let log = self.log();
        log.initialise(MAIN).map_err(failure)?;
        let mut value = [0; VALUE_BYTES];
        match log.get_key(KEY, &mut value) {
            Ok(_) => Ok(Some(value)),
            Err(ErrorCode::KeyNotFound) => Ok(None),
            Err(error) => Err(failure(error)),
        }
    }

    fn store(&mut self, value: &Value) -> Result<(), Failure> {
        let log = self.log();
        match log.invalidate_key(KEY) {
            Ok(_) | Err(ErrorCode::KeyNotFound) => {}
            Err(error) => return Err(failure(error)),
        }
        match log.append_key(KEY, value) {
            Ok(_) => {}
            Err(ErrorCode::FlashFull | ErrorCode::RegionFull) => {
                log.garbage_collect().map_err(failure)?;
                log.append_key(KEY, value).map_err(failure)?;
            }
            Err(error) => return Err(failure(error)),
        }
        Ok(())
    }
}
