//! Files for the RP2040 board's flash.
//!
//! - [`uf2`]: the file that its boot ROM takes from a computer
//! - [`elf`]: the parts of a program that go into the flash
//! - [`number`]: the sector that says which board it is
//!
//! Invariant: a program never reaches the sector of the number, and the number's file
//! holds nothing else, so that either can be copied without the other.

pub mod elf;
pub mod number;
pub mod uf2;

use std::collections::BTreeMap;
use std::fmt;

use sha2::{Digest, Sha256};

/// First address of the flash.
pub const FLASH_START: u32 = 0x1000_0000;
/// Bytes of the flash of the usual modules, and of the board's.
pub const FLASH_BYTES: u32 = 2 * 1024 * 1024;
/// What is erased at a time.
pub const SECTOR_BYTES: u32 = 4_096;
/// Content of erased flash.
const ERASED: u8 = 0xFF;

type Sector = [u8; SECTOR_BYTES as usize];

/// Why something cannot go into the flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlashError {
    /// It is not, or not wholly, within the 2 MiB; its address.
    Outside(u32),
    /// It would go over something else; its address.
    Twice(u32),
}

impl fmt::Display for FlashError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Outside(address) => write!(
                f,
                "bytes at 0x{address:08X} are not within the 2 MiB of flash from 0x{FLASH_START:08X} on"
            ),
            Self::Twice(address) => write!(f, "two parts of it go to 0x{address:08X}"),
        }
    }
}

impl std::error::Error for FlashError {}

/// What is to stand in the flash, in whole sectors.
#[derive(Clone, Debug, Default)]
pub struct Flash {
    sectors: BTreeMap<u32, Sector>,
    /// First and one past the last address of what was put.
    ranges: Vec<(u32, u32)>,
}

impl Flash {
    /// Puts `bytes` at `address`; the rest of a sector that is touched will be erased.
    ///
    /// # Errors
    /// A [`FlashError`]; nothing is put then.
    pub fn put(&mut self, address: u32, bytes: &[u8]) -> Result<(), FlashError> {
        let end = u32::try_from(bytes.len())
            .ok()
            .and_then(|count| address.checked_add(count))
            .filter(|end| address >= FLASH_START && *end <= FLASH_START + FLASH_BYTES)
            .ok_or(FlashError::Outside(address))?;
        if self.reaches(address, end) {
            return Err(FlashError::Twice(address));
        }
        self.ranges.push((address, end));
        for (at, byte) in (address..end).zip(bytes) {
            let offset = at % SECTOR_BYTES;
            let sector = self.sectors.entry(at - offset).or_insert([ERASED; SECTOR_BYTES as usize]);
            sector[offset as usize] = *byte;
        }
        Ok(())
    }

    /// Whether anything was put from `start` on, before `end`.
    #[must_use]
    pub fn reaches(&self, start: u32, end: u32) -> bool {
        self.ranges.iter().any(|(from, to)| *from < end && start < *to)
    }

    /// Bytes that were put.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.ranges.iter().map(|(from, to)| u64::from(to - from)).sum()
    }

    /// What the board's panel and service port show of it: the first four bytes of the SHA-256
    /// of all from the beginning of the flash to the last byte that was put, big-endian.
    ///
    /// # Panics
    /// Never: the hash has 32 bytes.
    #[must_use]
    pub fn hash(&self) -> u32 {
        let end = self.ranges.iter().map(|(_, to)| *to).max().unwrap_or(FLASH_START);
        let mut digest = Sha256::new();
        for start in (FLASH_START..end).step_by(SECTOR_BYTES as usize) {
            let bytes = (end - start).min(SECTOR_BYTES) as usize;
            let sector = self.sectors.get(&start).unwrap_or(&[ERASED; SECTOR_BYTES as usize]);
            digest.update(&sector[..bytes]);
        }
        let hash = digest.finalize();
        u32::from_be_bytes(*hash.first_chunk().expect("32 bytes"))
    }

    /// The sectors that are touched, in order of their addresses.
    pub fn sectors(&self) -> impl Iterator<Item = (u32, &Sector)> {
        self.sectors.iter().map(|(address, sector)| (*address, sector))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_within_the_flash_and_goes_over_nothing_is_put() {
        let mut flash = Flash::default();
        let end = FLASH_START + FLASH_BYTES;
        assert_eq!(flash.put(FLASH_START - 1, &[1, 2]), Err(FlashError::Outside(FLASH_START - 1)));
        assert_eq!(flash.put(end - 1, &[1, 2]), Err(FlashError::Outside(end - 1)));
        assert_eq!(flash.put(u32::MAX, &[1, 2]), Err(FlashError::Outside(u32::MAX)));
        assert_eq!(flash.sectors().count(), 0);
        flash.put(end - 2, &[1, 2]).expect("its last bytes");
        assert_eq!(flash.put(end - 1, &[3]), Err(FlashError::Twice(end - 1)));
        flash.put(end - 3, &[4]).expect("right before it");
        assert_eq!(flash.bytes(), 3);
    }

    #[test]
    fn the_hash_is_that_of_all_bytes_from_the_beginning_on() {
        let mut flash = Flash::default();
        // FIPS 180-4's example.
        flash.put(FLASH_START, b"abc").expect("its first bytes");
        assert_eq!(flash.hash(), 0xBA78_16BF);
        flash.put(FLASH_START + SECTOR_BYTES, b"d").expect("the next sector");
        let mut bytes = vec![ERASED; SECTOR_BYTES as usize + 1];
        bytes[..3].copy_from_slice(b"abc");
        bytes[SECTOR_BYTES as usize] = b'd';
        assert_eq!(flash.hash().to_be_bytes(), Sha256::digest(&bytes)[..4]);
    }

    #[test]
    fn the_rest_of_a_sector_is_erased() {
        let mut flash = Flash::default();
        flash.put(FLASH_START + 4_095, &[1, 2]).expect("over a border");
        let sectors: Vec<_> = flash.sectors().collect();
        assert_eq!(sectors.len(), 2);
        assert_eq!(sectors[0].1[4_094..], [ERASED, 1]);
        assert_eq!(sectors[1].1[..2], [2, ERASED]);
    }
}
