//! `shaftbook inspect`: the bytes of a part, as from a dead board.

use std::path::PathBuf;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use shaftbook_core::identity::BoardId;
use shaftbook_core::rules::Sound;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, print};
use shaftbook_tools::inspect::compose::inspect_by;
use shaftbook_tools::inspect::image::Image;
use shaftbook_tools::inspect::report::NamedReport;
use shaftbook_tools::inspect::text::render;

/// Inspect the bytes of a memory part, as read out from a dead board.
///
/// Prints what the firmware's own recovery makes of them, compares it with a reading of
/// every slot, and shows the journal, the wear and what is damaged. Writes nothing. The
/// board's key is never printed.
///
/// Where newer records may be missing, it says so: why, since when, and at most how much.
///
/// Exit code 1 if nothing of the board can be recovered, if newer records may be missing
/// (MISSING), or if the two readings differ; 0 if the figures are the newest that the bytes
/// can have held.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook sew host-sim/scenarios/six-needle-shop.toml --days 1 --image part.bin
  shaftbook inspect part.bin
  shaftbook inspect part.bin --board 5EED --format json
  shaftbook inspect fram.bin --page-bytes 64

The bytes are described in docs/FORMAT.md, the JSON in docs/schemas/inspect.schema.json.")]
pub struct Args {
    /// Bytes of the whole part, 8 to 64 KiB
    image: PathBuf,
    /// Identity of the board, up to 16 hexadecimal digits; without it, found on the part
    #[arg(long, value_name = "HEX", value_parser = board_id)]
    board: Option<u64>,
    /// Page length of the part, bytes; 64 for a part without pages
    #[arg(long, value_name = "N", default_value = "64", value_parser = page_bytes())]
    page_bytes: u16,
    /// Size of the part by its data sheet, bytes; an image of another size is refused, and
    /// nothing can be missing beyond its end
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(8_192..=65_536))]
    size_bytes: Option<u32>,
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

/// The lengths of pages that a part can have.
pub(super) fn page_bytes() -> impl TypedValueParser<Value = u16> {
    PossibleValuesParser::new(["16", "32", "64", "128", "256"]).try_map(|text| text.parse::<u16>())
}

/// Does it.
///
/// # Errors
/// The file cannot be read, no part has its size, or the part has another.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let image = Image::load(&args.image, args.page_bytes)?;
    let name = args.image.display().to_string();
    let found = image.geometry().size_bytes;
    if let Some(size) = args.size_bytes.filter(|size| *size != found) {
        let what = format!("{name}: {found} bytes, and the part has {size}: not the whole part");
        return Err(Failure(what));
    }
    let id = args.board.map(BoardId);
    let report = inspect_by::<Sound>(&image, id, args.size_bytes.is_some());
    let text = render(&name, &report);
    let output = NamedReport::new(name, report);
    print(args.format, &text, &output)?;
    Ok(if output.report.complete { Verdict::Held } else { Verdict::Failed })
}
