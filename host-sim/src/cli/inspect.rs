//! `shaftbook inspect`: the bytes of a part, as from a dead board.

use std::path::PathBuf;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use serde::Serialize;
use shaftbook_core::identity::BoardId;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, print};
use shaftbook_tools::inspect::image::Image;
use shaftbook_tools::inspect::report::{ImageReport, inspect};
use shaftbook_tools::inspect::text::render;

/// Inspect the bytes of a memory part, as read out from a dead board.
///
/// Prints what the firmware's own recovery makes of them, compares it with a reading of
/// every slot, and shows the journal, the wear and what is damaged. Writes nothing. The
/// board's key is never printed.
///
/// Exit code 1 if nothing of the board can be recovered: the fault is named.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook sew host-sim/scenarios/six-needle-shop.toml --days 1 --image part.bin
  shaftbook inspect part.bin
  shaftbook inspect part.bin --board 5EED --format json
  shaftbook inspect fram.bin --page-bytes 64

The bytes are described in docs/FORMAT.md.")]
pub struct Args {
    /// Bytes of the whole part, 8 to 64 KiB
    image: PathBuf,
    /// Identity of the board, up to 16 hexadecimal digits; without it, found on the part
    #[arg(long, value_name = "HEX", value_parser = board_id)]
    board: Option<u64>,
    /// Page length of the part, bytes; 64 for a part without pages
    #[arg(long, value_name = "N", default_value = "64", value_parser = page_bytes())]
    page_bytes: u16,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

pub(super) fn board_id(text: &str) -> Result<u64, String> {
    let digits = text.strip_prefix("0x").unwrap_or(text);
    let are_hex = !digits.is_empty() && digits.chars().all(|c| c.is_ascii_hexdigit());
    u64::from_str_radix(digits, 16)
        .ok()
        .filter(|_| are_hex)
        .ok_or_else(|| String::from("1 to 16 hexadecimal digits"))
}

fn page_bytes() -> impl TypedValueParser<Value = u16> {
    PossibleValuesParser::new(["16", "32", "64", "128"]).try_map(|text| text.parse::<u16>())
}

#[derive(Serialize)]
struct Output<'a> {
    image: String,
    #[serde(flatten)]
    report: &'a ImageReport,
}

/// Does it.
///
/// # Errors
/// The file cannot be read, or no part has its size.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let image = Image::load(&args.image, args.page_bytes)?;
    let report = inspect(&image, args.board.map(BoardId));
    let name = args.image.display().to_string();
    let output = Output { image: name.clone(), report: &report };
    print(args.format, &render(&name, &report), &output)?;
    Ok(if report.is_recovered() { Verdict::Held } else { Verdict::Failed })
}
