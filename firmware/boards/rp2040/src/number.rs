//! The board's number, read from the last sector of the flash.
//!
//! ```text
//! 0x101F_F000  8 bytes  "SHAFTBK1"
//! 0x101F_F008  8 bytes  the number, least significant byte first
//! ```
//!
//! `shaftbook number` makes the file that puts it there. The flash chip has a number of its
//! own, but reading that needs the boot ROM and stops execution from flash for a moment.

use shaftbook_core::identity::BoardId;

/// First address of the last 4 KiB of 2 MiB of flash; `memory.x` leaves it out.
const SECTOR: *const [u8; 16] = 0x101F_F000 as *const [u8; 16];
const MAGIC: [u8; 8] = *b"SHAFTBK1";

/// A board that was not numbered.
pub const UNNUMBERED: BoardId = BoardId(u64::MAX);

/// The number of this board; [`UNNUMBERED`] if there is none.
pub fn board_id() -> BoardId {
    // SAFETY: 16 bytes of the flash, which is mapped and readable there; nothing writes it
    // while the program runs. Volatile: the linker knows nothing of these bytes.
    let bytes = unsafe { SECTOR.read_volatile() };
    let (magic, number) = bytes.split_at(MAGIC.len());
    match number.try_into() {
        Ok(number) if magic == MAGIC => BoardId(u64::from_le_bytes(number)),
        _ => UNNUMBERED,
    }
}
