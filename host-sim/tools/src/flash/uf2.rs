//! UF2: the file that is copied to a board in its boot mode, in which the board looks like a
//! memory stick.
//!
//! Format: Microsoft's open specification "USB Flashing Format (UF2)": blocks of 512 bytes,
//! each with its target address and 256 bytes for it.
//!
//! ```text
//!   0  0x0A324655          16  bytes of payload, 256
//!   4  0x9E5D5157          20  number of this block, from 0
//!   8  flags, 0x00002000   24  number of blocks
//!  12  target address      28  family, RP2040: 0xE48BFF56
//!  32  payload, padding to 508; 508  0x0AB16F30
//! ```
//!
//! Whole sectors are written. The boot ROM erases a sector when its first block comes, and with
//! an early revision of the chip a sector that is not filled can go wrong (RP2040 erratum E14,
//! from memory).

use super::Flash;

/// Bytes of a block.
pub const BLOCK_BYTES: usize = 512;
/// Bytes of payload in a block: a page of the flash.
pub const PAYLOAD_BYTES: usize = 256;
const MAGIC_FIRST: u32 = 0x0A32_4655;
const MAGIC_SECOND: u32 = 0x9E5D_5157;
const MAGIC_LAST: u32 = 0x0AB1_6F30;
/// The family is given.
const FLAG_FAMILY: u32 = 0x2000;
/// The RP2040.
const FAMILY: u32 = 0xE48B_FF56;

/// The file for `flash`.
#[must_use]
pub fn encode(flash: &Flash) -> Vec<u8> {
    let pages = || {
        flash.sectors().flat_map(|(start, sector)| {
            let addresses = (start..).step_by(PAYLOAD_BYTES);
            addresses.zip(sector.chunks_exact(PAYLOAD_BYTES))
        })
    };
    let count = pages().count() as u32;
    let mut file = Vec::with_capacity(count as usize * BLOCK_BYTES);
    for (number, (address, page)) in (0..).zip(pages()) {
        let head = [
            MAGIC_FIRST,
            MAGIC_SECOND,
            FLAG_FAMILY,
            address,
            PAYLOAD_BYTES as u32,
            number,
            count,
            FAMILY,
        ];
        let start = file.len();
        file.extend(head.iter().flat_map(|word| word.to_le_bytes()));
        file.extend_from_slice(page);
        file.resize(start + BLOCK_BYTES - 4, 0);
        file.extend(MAGIC_LAST.to_le_bytes());
    }
    file
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flash::{FLASH_START, SECTOR_BYTES};

    #[test]
    fn another_decoder_reads_what_was_put() {
        let mut flash = Flash::default();
        let program: Vec<u8> = (0..10_000_u32).map(|n| (n % 251) as u8).collect();
        flash.put(FLASH_START + 256, &program).expect("it fits");
        let file = encode(&flash);
        // Three sectors of sixteen pages.
        assert_eq!(file.len(), 48 * BLOCK_BYTES);
        let (bytes, families) = uf2_decode::convert_from_uf2(&file).expect("it decodes");
        assert_eq!(families.into_iter().collect::<Vec<_>>(), [(FAMILY, FLASH_START.into())]);
        assert_eq!(bytes.len(), 3 * SECTOR_BYTES as usize);
        assert_eq!(bytes[256..256 + program.len()], program);
        assert!(bytes[..256].iter().chain(&bytes[10_256..]).all(|byte| *byte == 0xFF));
    }

    #[test]
    fn every_block_says_its_number_and_its_page() {
        let mut flash = Flash::default();
        flash.put(FLASH_START, &[1]).expect("it fits");
        flash.put(FLASH_START + 5 * SECTOR_BYTES, &[2]).expect("it fits");
        let file = encode(&flash);
        let word = |block: usize, at: usize| {
            let at = block * BLOCK_BYTES + at;
            u32::from_le_bytes(file[at..at + 4].try_into().expect("four bytes"))
        };
        let blocks = file.len() / BLOCK_BYTES;
        assert_eq!(blocks, 32);
        for n in 0..blocks {
            let sector = if n < 16 { 0 } else { 5 * SECTOR_BYTES - 16 * 256 };
            assert_eq!(word(n, 12), FLASH_START + sector + 256 * n as u32, "block {n}");
            assert_eq!((word(n, 20), word(n, 24)), (n as u32, 32));
            assert_eq!((word(n, 8), word(n, 16), word(n, 508)), (0x2000, 256, MAGIC_LAST));
        }
    }
}
