//! `littlefs2` 0.8 (the C library littlefs 2): one file.
//!
//! Configured as its documentation says (the trait `Storage`, littlefs `DESIGN.md` and
//! `lfs.h`):
//! - blocks of 512 bytes ("at least 128"), read and written in units of 16 bytes, a cache of
//!   64, one word of lookahead: 64 blocks, the whole part;
//! - `BLOCK_CYCLES` 500, within the "suggested values 100-1000", so that the metadata pair
//!   moves on and wear is levelled;
//! - the file is replaced in one `write`: what is in the file is atomic at its `close`.
//!
//! The file system stays mounted while there is power. A part that does not mount is
//! formatted only if it is blank.

use littlefs2::consts::{U1, U64};
use littlefs2::driver::Storage;
pub use littlefs2::fs::{Allocation, Filesystem};
use littlefs2::io::{Error, Result as IoResult};
use littlefs2::path;
use littlefs2::path::Path;

use crate::Failure;
use crate::PART_BYTES;
use crate::Part;
use crate::VALUE_BYTES;
use crate::Value;

/// Length of a block, bytes.
const BLOCK_BYTES: usize = 512;
/// The one file.
const FILE: &Path = path!("counters");

/// The part as storage of blocks.
pub struct Blocks<P>(
    /// The part.
    pub P,
);

impl<P: Part> Storage for Blocks<P> {
    const READ_SIZE: usize = 16;
    const WRITE_SIZE: usize = 16;
    const BLOCK_SIZE: usize = BLOCK_BYTES;
    const BLOCK_COUNT: usize = PART_BYTES as usize / BLOCK_BYTES;
    const BLOCK_CYCLES: isize = 500;
    type CACHE_SIZE = U64;
    type LOOKAHEAD_SIZE = U1;

    fn read(&mut self, at: usize, bytes: &mut [u8]) -> IoResult<usize> {
        self.0.read(at as u32, bytes).map(|()| bytes.len()).map_err(|_| Error::IO)
    }

    fn write(&mut self, at: usize, bytes: &[u8]) -> IoResult<usize> {
        self.0.program(at as u32, bytes).map(|()| bytes.len()).map_err(|_| Error::IO)
    }

    fn erase(&mut self, at: usize, count: usize) -> IoResult<usize> {
        self.0.erase(at as u32, count as u32).map(|()| count).map_err(|_| Error::IO)
    }
}

fn failure(error: Error) -> Failure {
    match error {
        Error::IO => Failure::Part,
        Error::CORRUPTION => Failure::Unusable("CORRUPTION"),
        Error::NO_SPACE => Failure::Unusable("NO_SPACE"),
        _ => Failure::Unusable("other"),
    }
}

/// Mounts the file system on `blocks`, which it makes on a blank part.
///
/// # Errors
/// [`Failure`].
pub fn mount<'a, P: Part>(
    allocation: &'a mut Allocation<Blocks<P>>,
    blocks: &'a mut Blocks<P>,
) -> Result<Filesystem<'a, Blocks<P>>, Failure> {
    Filesystem::mount_or_else(allocation, blocks, |error, blocks, _| {
        if blocks.0.is_blank().map_err(|_| Error::IO)? {
            Filesystem::format(blocks)
        } else {
            Err(error)
        }
    })
    .map_err(failure)
}

/// What is in the file, if there is one.
///
/// # Errors
/// [`Failure`].
pub fn read<P: Part>(system: &Filesystem<'_, Blocks<P>>) -> Result<Option<Value>, Failure> {
    match system.read::<VALUE_BYTES>(FILE) {
        Ok(bytes) => bytes.into_array().map(Some).map_err(|_| Failure::Unusable("other length")),
        Err(Error::NO_SUCH_ENTRY) => Ok(None),
        Err(error) => Err(failure(error)),
    }
}

/// Replaces what is in the file.
///
/// # Errors
/// [`Failure`].
pub fn write<P: Part>(system: &Filesystem<'_, Blocks<P>>, value: &Value) -> Result<(), Failure> {
    system.write(FILE, value).map_err(failure)
}
