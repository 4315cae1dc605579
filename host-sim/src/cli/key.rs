//! `shaftbook key`: the workshop's key file.

use std::io::{self, Write};
use std::path::PathBuf;

use super::Verdict;
use super::failure::Failure;
use shaftbook_tools::keys::{file, workshop::WorkshopKey};

/// Make the workshop's key file.
///
/// The workshop key is 32 random bytes from the operating system. It authorises services
/// on every board that is fitted with it, so it is written for its owner only, and never
/// shown. An existing file is never overwritten.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook key new workshop.key

How keys are kept, and what to do when one leaks, is in docs/SECURITY.md.")]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Make a new workshop key in a new file
    New {
        /// Key file to make
        file: PathBuf,
    },
}

/// Does it.
///
/// # Errors
/// The file is there already, or cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let What::New { file: path } = &args.what;
    let key = WorkshopKey::random().map_err(|e| Failure(format!("no random numbers: {e}")))?;
    file::create(path, &key)?;
    let name = path.display();
    let text = format!(
        "{name}: a new workshop key, for its owner only (mode 0600)\n\
         Keep a copy where it is safe: boards fitted with it cannot be serviced without it.\n"
    );
    match io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(Verdict::Held),
    }
}
