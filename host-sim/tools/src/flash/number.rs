//! The sector that says which board it is.
//!
//! ```text
//! 0x101F_F000  8 bytes  "SHAFTBK1"
//! 0x101F_F008  8 bytes  the number, least significant byte first
//! ```
//!
//! Read by `firmware/boards/rp2040/src/number.rs`. It is the last of the flash's sectors,
//! written once, beside the program and not by it.

use shaftbook_core::identity::BoardId;

use super::{FLASH_BYTES, FLASH_START, Flash, SECTOR_BYTES};

/// First address of the sector.
pub const ADDRESS: u32 = FLASH_START + FLASH_BYTES - SECTOR_BYTES;
const MAGIC: [u8; 8] = *b"SHAFTBK1";
/// What a board without a number takes itself for.
pub const UNNUMBERED: BoardId = BoardId(u64::MAX);

/// The sector of `board`.
///
/// # Panics
/// Never: the sector is within the flash.
#[must_use]
pub fn sector(board: BoardId) -> Flash {
    let mut flash = Flash::default();
    let mut bytes = MAGIC.to_vec();
    bytes.extend(board.0.to_le_bytes());
    flash.put(ADDRESS, &bytes).expect("the last sector is within the flash");
    flash
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flash::uf2;

    #[test]
    fn another_decoder_finds_the_number_in_the_last_sector() {
        let file = uf2::encode(&sector(BoardId(0x0123_4567_89AB_CDEF)));
        let (bytes, families) = uf2_decode::convert_from_uf2(&file).expect("it decodes");
        assert_eq!(families.into_values().collect::<Vec<_>>(), [0x101F_F000]);
        assert_eq!(bytes.len(), 4_096);
        assert_eq!(bytes[..8], *b"SHAFTBK1");
        assert_eq!(bytes[8..16], [0xEF, 0xCD, 0xAB, 0x89, 0x67, 0x45, 0x23, 0x01]);
        assert!(bytes[16..].iter().all(|byte| *byte == 0xFF));
    }
}
