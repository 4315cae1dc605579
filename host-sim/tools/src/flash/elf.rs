//! From a linked program to what goes into the flash.
//!
//! Only loadable segments count, at the address where they are loaded: the initial values of
//! variables are in the flash, though the variables are in the RAM. Crate `object` reads the
//! file.

use std::fmt;

use object::Endianness;
use object::elf::{EM_ARM, FileHeader32, PT_LOAD};
use object::read::elf::{FileHeader as _, ProgramHeader as _};

use super::{Flash, FlashError, SECTOR_BYTES, number};

/// Why a file is no program for the board.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ElfError {
    /// It is no such file, or a damaged one.
    NotElf(String),
    /// It is for another processor.
    OtherProcessor,
    /// Nothing in it is to be loaded.
    Empty,
    /// It does not fit.
    Flash(FlashError),
    /// It reaches into the sector of the board's number.
    OverNumber,
}

impl fmt::Display for ElfError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotElf(why) => write!(f, "not an ELF file of 32 bits: {why}"),
            Self::OtherProcessor => write!(f, "a program for another processor than ARM"),
            Self::Empty => write!(f, "nothing in it is to be loaded"),
            Self::Flash(why) => why.fmt(f),
            Self::OverNumber => {
                write!(f, "it reaches into the last sector, where the board's number stands")
            }
        }
    }
}

impl std::error::Error for ElfError {}

impl From<object::Error> for ElfError {
    fn from(error: object::Error) -> Self {
        Self::NotElf(error.to_string())
    }
}

/// What of the program `file` goes into the flash.
///
/// # Errors
/// An [`ElfError`].
pub fn flash_of(file: &[u8]) -> Result<Flash, ElfError> {
    let header = FileHeader32::<Endianness>::parse(file)?;
    let endian = header.endian()?;
    if header.e_machine(endian) != EM_ARM {
        return Err(ElfError::OtherProcessor);
    }
    let mut flash = Flash::default();
    for segment in header.program_headers(endian, file)? {
        if segment.p_type(endian) != PT_LOAD {
            continue;
        }
        let bytes = segment
            .data(endian, file)
            .map_err(|()| ElfError::NotElf("a segment is not in the file".into()))?;
        if !bytes.is_empty() {
            flash.put(segment.p_paddr(endian), bytes).map_err(ElfError::Flash)?;
        }
    }
    if flash.bytes() == 0 {
        return Err(ElfError::Empty);
    }
    if flash.reaches(number::ADDRESS, number::ADDRESS + SECTOR_BYTES) {
        return Err(ElfError::OverNumber);
    }
    Ok(flash)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flash::FLASH_START;

    const PROGRAM: [u8; 6] = [1, 2, 3, 4, 5, 6];
    const HEADERS: u32 = 52 + 32;

    /// An ELF file of one segment: loaded at `address`, used elsewhere.
    fn elf(machine: u16, kind: u32, address: u32) -> Vec<u8> {
        let mut file = b"\x7FELF\x01\x01\x01".to_vec();
        file.resize(16, 0);
        file.extend([2_u16, machine].iter().flat_map(|half| half.to_le_bytes()));
        file.extend([1_u32, 0, 52, 0, 0].iter().flat_map(|word| word.to_le_bytes()));
        file.extend([52_u16, 32, 1, 40, 0, 0].iter().flat_map(|half| half.to_le_bytes()));
        let count = PROGRAM.len() as u32;
        let segment = [kind, HEADERS, 0x2000_0000, address, count, count, 4, 4];
        file.extend(segment.iter().flat_map(|word| word.to_le_bytes()));
        assert_eq!(file.len(), HEADERS as usize);
        file.extend(PROGRAM);
        file
    }

    #[test]
    fn a_segment_goes_where_it_is_loaded() {
        let flash = flash_of(&elf(EM_ARM, PT_LOAD, FLASH_START + 2)).expect("a program");
        let (address, sector) = flash.sectors().next().expect("a sector");
        assert_eq!((address, &sector[2..8]), (FLASH_START, &PROGRAM[..]));
        assert_eq!(flash.bytes(), 6);
    }

    #[test]
    fn what_is_no_program_for_the_board_is_refused() {
        let refused = |file: &[u8]| flash_of(file).expect_err("refused");
        assert_eq!(refused(&elf(62, PT_LOAD, FLASH_START)), ElfError::OtherProcessor);
        assert_eq!(refused(&elf(EM_ARM, 4, FLASH_START)), ElfError::Empty);
        assert_eq!(
            refused(&elf(EM_ARM, PT_LOAD, 0)),
            ElfError::Flash(FlashError::Outside(0)),
            "made for another board"
        );
        assert_eq!(refused(&elf(EM_ARM, PT_LOAD, number::ADDRESS - 5)), ElfError::OverNumber);
        assert!(flash_of(&elf(EM_ARM, PT_LOAD, number::ADDRESS - 6)).is_ok());
        let whole = elf(EM_ARM, PT_LOAD, FLASH_START);
        for length in 0..whole.len() {
            assert!(matches!(refused(&whole[..length]), ElfError::NotElf(_)), "{length} bytes");
        }
    }
}
