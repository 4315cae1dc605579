//! `shaftbook uf2`: a board's program as the file that is copied to it.

use std::io::Write as _;
use std::path::PathBuf;

use serde::Serialize;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, WholeFile, print};
use shaftbook_tools::flash::{elf, uf2};

/// Turn a linked program for the RP2040 board into the UF2 file that its boot mode takes.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook uf2 shaftbook-rp2040.elf --out shaftbook-rp2040.uf2

`firmware/boards/build` does this for the board's image; see docs/BOARD.md.")]
pub struct Args {
    /// Program (ELF, ARM)
    #[arg(value_name = "PROGRAM.elf")]
    program: PathBuf,
    /// File to write
    #[arg(long, value_name = "FILE.uf2")]
    out: PathBuf,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Debug, Serialize)]
struct Report {
    flash_bytes: u64,
    hash: String,
    blocks: usize,
    out: String,
    bytes: usize,
}

/// Does it.
///
/// # Errors
/// A file that is no program for the board, or one that cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let program =
        std::fs::read(&args.program).map_err(|error| Failure::file(&args.program, &error))?;
    let flash = elf::flash_of(&program).map_err(|error| Failure::file(&args.program, &error))?;
    let file = uf2::encode(&flash);
    let (whole, mut writer) = WholeFile::begin(&args.out)?;
    writer.write_all(&file).and_then(|()| writer.flush())?;
    whole.finish()?;
    let report = Report {
        flash_bytes: flash.bytes(),
        hash: format!("{:08x}", flash.hash()),
        blocks: file.len() / uf2::BLOCK_BYTES,
        out: args.out.display().to_string(),
        bytes: file.len(),
    };
    let text = format!(
        "in the flash    {} bytes, which the board shows as hash {}\nwritten         {}, {} blocks, {} bytes\n",
        report.flash_bytes, report.hash, report.out, report.blocks, report.bytes
    );
    print(args.format, &text, &report)?;
    Ok(Verdict::Held)
}
