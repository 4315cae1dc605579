//! `shaftbook merge`: the parts of a split campaign put together.

use std::path::PathBuf;

use super::Verdict;
use super::campaign_files::{STREAM, finish};
use super::failure::Failure;
use shaftbook_evidence::campaign::merge::merge;
use shaftbook_evidence::campaign::runner;
use shaftbook_evidence::campaign::stream::Reader;

/// Put the parts of a split campaign together: the files are, byte for byte, those of the
/// campaign that is not split.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:
  shaftbook campaign nightly.toml --shard 1/2 --out part-1
  shaftbook campaign nightly.toml --shard 2/2 --out part-2
  shaftbook merge part-1 part-2 --campaign nightly.toml --out nightly

The parts can be run anywhere, in any order. A part that is missing or not complete is
named, and nothing is written over.")]
pub struct Args {
    /// Folders of the parts
    #[arg(required = true)]
    parts: Vec<PathBuf>,
    /// Folder for the whole
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// The campaign file, as the commands in the reports shall name it
    #[arg(long, value_name = "FILE", default_value = "FILE")]
    campaign: String,
}

/// Does it.
///
/// # Errors
/// A part is missing, not complete, doubled, or of another campaign.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let real = |path: &PathBuf| path.canonicalize().ok();
    if args.out.exists() && args.parts.iter().any(|part| real(part) == real(&args.out)) {
        return Err(Failure::file(&args.out, &"this is one of the parts: give another --out"));
    }
    std::fs::create_dir_all(&args.out).map_err(|e| Failure::file(&args.out, &e))?;
    let streams: Vec<PathBuf> = args.parts.iter().map(|part| part.join(STREAM)).collect();
    let unfinished = args.out.join(format!("{STREAM}.unfinished"));
    let merged = merge(&streams, &unfinished);
    if merged.is_err() {
        let _ = std::fs::remove_file(&unfinished);
    }
    let header = merged?;
    let path = args.out.join(STREAM);
    if Reader::open(&path).is_ok_and(|there| there.header != header) {
        let _ = std::fs::remove_file(&unfinished);
        return Err(Failure::file(&path, &"these are another campaign's: give another --out"));
    }
    std::fs::rename(&unfinished, &path).map_err(|e| Failure::file(&path, &e))?;
    // A store that somebody brought is not known here: its failing runs are shrunk there.
    let runner = runner::named(&header.subject).ok();
    finish(&args.out, runner.as_deref(), &args.campaign)
}
