//! `ekv` 1: its database, with one key.
//!
//! Configured as its documentation says (README and the module `config`):
//! - feature `crc`, "protect integrity of the data in flash";
//! - `PAGE_SIZE` is "the smallest unit that can be erased at once", which is a choice on an
//!   EEPROM: here 256 bytes, of which a file of one value of 128 bytes fills one;
//! - `ALIGN` 1, as an EEPROM is written byte by byte; the chunk as long as a block; key and
//!   value as short as they are; branching factor and scratch pages as they come ("do not
//!   change");
//! - another `random_seed` at each power-up;
//! - its README advises against single small writes ("batch multiple writes in a single
//!   transaction"), and recommends it for data of more than 1,000 keys: a counter can follow
//!   neither advice.
//!
//! A part that does not mount is formatted only if it is blank.

use ::ekv::flash::{Flash as EkvFlash, PageID};
use ::ekv::{Config, Database, MountError, ReadError};
use embassy_futures::block_on;
use embassy_sync::blocking_mutex::raw::NoopRawMutex;

use crate::Failure;
use crate::PART_BYTES;
use crate::Part;
use crate::PartError;
use crate::VALUE_BYTES;
use crate::Value;
use crate::ValueStore;

/// The one key.
const KEY: &[u8] = &[1];
/// Bytes of a block.
const BLOCK_BYTES: u32 = ::ekv::config::PAGE_SIZE as u32;

/// The part as flash with erase blocks.
struct Flash<P>(P);

impl<P: Part> EkvFlash for Flash<P> {
    type Error = PartError;

    fn page_count(&self) -> usize {
        (PART_BYTES / BLOCK_BYTES) as usize
    }

    async fn erase(&mut self, page: PageID) -> Result<(), PartError> {
        self.0.erase(page.index() as u32 * BLOCK_BYTES, BLOCK_BYTES)
    }

    async fn read(
        &mut self,
        page: PageID,
        offset: usize,
        bytes: &mut [u8],
    ) -> Result<(), PartError> {
        self.0.read(page.index() as u32 * BLOCK_BYTES + offset as u32, bytes)
    }

    async fn write(&mut self, page: PageID, offset: usize, bytes: &[u8]) -> Result<(), PartError> {
        self.0.program(page.index() as u32 * BLOCK_BYTES + offset as u32, bytes)
    }
}

/// The database on a part.
pub struct Ekv<P: Part>(Database<Flash<P>, NoopRawMutex>);

impl<P: Part> ValueStore<P> for Ekv<P> {
    const NAME: &'static str = "ekv 1.0.0 with crc, 256-byte blocks";

    fn new(mut part: P) -> Self {
        let mut config = Config::default();
        config.random_seed = part.boot_number();
        Self(Database::new(Flash(part), config))
    }

    fn open(&mut self) -> Result<Option<Value>, Failure> {
        let Self(database) = self;
        match block_on(database.mount()) {
            Ok(()) => {}
            Err(MountError::Flash(_)) => return Err(Failure::Part),
            Err(MountError::Corrupted) => {
                if !block_on(database.lock_flash()).0.is_blank()? {
                    return Err(Failure::Unusable("Corrupted"));
                }
                block_on(database.format()).map_err(|_| Failure::Part)?;
                return Ok(None);
            }
        }
        let mut value = [0; VALUE_BYTES];
        let found = block_on(async {
            let transaction = database.read_transaction().await;
            transaction.read(KEY, &mut value).await
        });
        match found {
            Ok(VALUE_BYTES) => Ok(Some(value)),
            Ok(_) => Err(Failure::Unusable("other length")),
            Err(ReadError::KeyNotFound) => Ok(None),
            Err(ReadError::Flash(_)) => Err(Failure::Part),
            Err(_) => Err(Failure::Unusable("Corrupted")),
        }
    }

    fn store(&mut self, value: &Value) -> Result<(), Failure> {
        block_on(async {
            let mut transaction = self.0.write_transaction().await;
            transaction.write(KEY, value).await.map_err(|_| Failure::Unusable("write"))?;
            transaction.commit().await.map_err(|_| Failure::Unusable("commit"))
        })
    }
}
