//! `sequential-storage` 8: its map, with one key.
//!
//! Configured as its documentation says (README and the pages of `map` and `cache`):
//! - "Map" for values that are replaced, with a key type of `u8`; a buffer that holds the
//!   biggest key and value, here 129 bytes, rounded up;
//! - all array caches together, which read least by the table in its README; they live as long
//!   as the power lasts and are made anew at power-up ("must be kept around");
//! - `WRITE_SIZE` 1 and `READ_SIZE` 1, which an EEPROM can do; `ERASE_SIZE` is a choice: the
//!   crate wants an item to fit a block many times over and at least two blocks. A block of
//!   1,024 bytes (7 values) and one of 256 (1 value) are both run.

use embassy_futures::block_on;
use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use sequential_storage::Error;
use sequential_storage::cache::Cache;
use sequential_storage::cache::key_pointers::ArrayKeyPointers;
use sequential_storage::cache::page_pointers::ArrayPagePointers;
use sequential_storage::cache::page_states::ArrayPageStates;
use sequential_storage::map::{MapConfig, MapStorage};

use crate::Failure;
use crate::PART_BYTES;
use crate::Part;
use crate::PartError;
use crate::VALUE_BYTES;
use crate::Value;
use crate::ValueStore;

/// The one key.
const KEY: u8 = 1;
/// Key and value.
const BUFFER_BYTES: usize = VALUE_BYTES + 4;

type Caches<const BLOCKS: usize> =
    Cache<ArrayPageStates<BLOCKS>, ArrayPagePointers<BLOCKS>, ArrayKeyPointers<u8, 1>, u8>;

/// The part as flash with erase blocks of `BLOCK` bytes.
#[derive(Debug)]
struct Flash<P, const BLOCK: usize>(P);

impl NorFlashError for PartError {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

impl<P: Part, const BLOCK: usize> ErrorType for Flash<P, BLOCK> {
    type Error = PartError;
}

impl<P: Part, const BLOCK: usize> ReadNorFlash for Flash<P, BLOCK> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), PartError> {
        self.0.read(offset, bytes)
    }

    fn capacity(&self) -> usize {
        PART_BYTES as usize
    }
}

impl<P: Part, const BLOCK: usize> NorFlash for Flash<P, BLOCK> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = BLOCK;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), PartError> {
        self.0.erase(from, to - from)
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), PartError> {
        self.0.program(offset, bytes)
    }
}

/// The map on a part, in `BLOCKS` blocks of `BLOCK` bytes.
pub struct Sequential<P: Part, const BLOCK: usize, const BLOCKS: usize> {
    map: MapStorage<u8, Flash<P, BLOCK>, Caches<BLOCKS>>,
    buffer: [u8; BUFFER_BYTES],
}

/// With blocks of 1,024 bytes.
pub type Sequential1024<P> = Sequential<P, 1_024, 32>;
/// With blocks of 256 bytes.
pub type Sequential256<P> = Sequential<P, 256, 128>;

fn failure(error: &Error<PartError>) -> Failure {
    match error {
        Error::Storage { .. } => Failure::Part,
        Error::FullStorage => Failure::Unusable("FullStorage"),
        Error::Corrupted { .. } => Failure::Unusable("Corrupted"),
        _ => Failure::Unusable("other"),
    }
}

impl<P: Part, const BLOCK: usize, const BLOCKS: usize> ValueStore<P>
    for Sequential<P, BLOCK, BLOCKS>
{
    const NAME: &'static str = if BLOCK == 256 {
        "sequential-storage 8.0.2, 256-byte blocks"
    } else {
        "sequential-storage 8.0.2, 1 KiB blocks"
    };

    fn new(part: P) -> Self {
        let caches =
            Cache::new(ArrayPageStates::new(), ArrayPagePointers::new(), ArrayKeyPointers::new());
        let map = MapStorage::new(Flash(part), const { MapConfig::new(0..PART_BYTES) }, caches);
        Self { map, buffer: [0; BUFFER_BYTES] }
    }

    fn open(&mut self) -> Result<Option<Value>, Failure> {
        let found = block_on(self.map.fetch_item::<&[u8]>(&mut self.buffer, &KEY))
            .map_err(|error| failure(&error))?;
        match found {
            None => Ok(None),
            Some(bytes) => {
                Value::try_from(bytes).map(Some).map_err(|_| Failure::Unusable("other length"))
            }
        }
    }

    fn store(&mut self, value: &Value) -> Result<(), Failure> {
        block_on(self.map.store_item(&mut self.buffer, &KEY, &value.as_slice()))
            .map_err(|error| failure(&error))
    }
}
