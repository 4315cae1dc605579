//! `shaftbook number`: the file that gives a board its number.

use std::io::Write as _;
use std::path::PathBuf;

use serde::Serialize;
use shaftbook_core::identity::BoardId;
use shaftbook_readout::tag::BoardTag;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, WholeFile, print};
use shaftbook_tools::flash::{number, uf2};

/// Number a board: make the UF2 file that writes its identity into its flash.
///
/// Copy the file to the board in its boot mode, once, after or before its program; neither
/// touches the other. Every record in the memory part is bound to the number: give each
/// board another one, and never change it.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook number --board-id 00000000000A11CE --out number.uf2
  shaftbook number --board-id A11CE --out number.uf2 --format json

How to flash a board is in docs/BOARD.md.")]
pub struct Args {
    /// Identity of the board, up to 16 hexadecimal digits, as given to `shaftbook fit`
    #[arg(long, value_name = "HEX")]
    board_id: String,
    /// File to write
    #[arg(long, value_name = "FILE.uf2")]
    out: PathBuf,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Debug, Serialize)]
struct Report {
    board: String,
    tag: String,
    address: String,
    out: String,
    bytes: usize,
}

/// Does it.
///
/// # Errors
/// A bad identity, or a file that cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let id = super::inspect::board_id(&args.board_id)
        .map(BoardId)
        .map_err(|error| Failure(format!("--board-id: {error}")))?;
    if id == number::UNNUMBERED {
        return Err(Failure(
            "--board-id: that is what a board without a number has; give another".into(),
        ));
    }
    let file = uf2::encode(&number::sector(id));
    let (whole, mut writer) = WholeFile::begin(&args.out)?;
    writer.write_all(&file).and_then(|()| writer.flush())?;
    whole.finish()?;
    let report = Report {
        board: format!("{:016X}", id.0),
        tag: BoardTag::of(id).to_string(),
        address: format!("0x{:08X}", number::ADDRESS),
        out: args.out.display().to_string(),
        bytes: file.len(),
    };
    let text = format!(
        "board identity  {}\nboard tag       {}\nwritten         {}, {} bytes, for {}\n",
        report.board, report.tag, report.out, report.bytes, report.address
    );
    print(args.format, &text, &report)?;
    Ok(Verdict::Held)
}
