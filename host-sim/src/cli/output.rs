//! How results are printed, and how files are written: whole or not at all.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use serde::Serialize;

use super::failure::Failure;
use shaftbook_tools::keys::file::{is_key_file, owners_only};

/// Form of the output.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people.
    #[default]
    Text,
    /// For programs.
    Json,
}

/// Prints `text`, or `value` as JSON, to standard output.
///
/// # Errors
/// A closed output is none; any other failure to write is one.
pub fn print(format: Format, text: &str, value: &impl Serialize) -> Result<(), Failure> {
    let printed = match format {
        Format::Text => text.to_owned(),
        Format::Json => serde_json::to_string_pretty(value)? + "\n",
    };
    say(&printed)
}

/// Prints `text` as it is to standard output.
///
/// # Errors
/// A closed output is none; any other failure to write is one.
pub fn say(text: &str) -> Result<(), Failure> {
    match io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        result => Ok(result?),
    }
}

/// A file that appears under its name only when it is complete.
pub struct WholeFile {
    path: PathBuf,
    unfinished: PathBuf,
    is_finished: bool,
}

impl WholeFile {
    /// Begins the file `path`.
    ///
    /// # Errors
    /// The path cannot be written to.
    pub fn begin(path: &Path) -> Result<(Self, BufWriter<File>), Failure> {
        Self::begin_as(path, |unfinished| File::create(unfinished))
    }

    /// Begins the file `path`, which only its owner may read.
    ///
    /// # Errors
    /// The path cannot be written to.
    pub fn begin_private(path: &Path) -> Result<(Self, BufWriter<File>), Failure> {
        Self::begin_as(path, |unfinished| {
            // One that was left over might be open to others.
            let _ = fs::remove_file(unfinished);
            owners_only().open(unfinished)
        })
    }

    fn begin_as(
        path: &Path,
        create: impl FnOnce(&Path) -> io::Result<File>,
    ) -> Result<(Self, BufWriter<File>), Failure> {
        if is_key_file(path) {
            return Err(Failure::file(
                path,
                &"that is a key file, and key files are never overwritten",
            ));
        }
        let mut unfinished = path.as_os_str().to_owned();
        unfinished.push(".unfinished");
        let unfinished = PathBuf::from(unfinished);
        let file = create(&unfinished).map_err(|e| Failure::file(path, &e))?;
        let whole = Self { path: path.to_owned(), unfinished, is_finished: false };
        Ok((whole, BufWriter::new(file)))
    }

    /// Gives the file its name.
    ///
    /// # Errors
    /// It cannot be renamed.
    pub fn finish(mut self) -> Result<(), Failure> {
        fs::rename(&self.unfinished, &self.path).map_err(|e| Failure::file(&self.path, &e))?;
        self.is_finished = true;
        Ok(())
    }
}

impl Drop for WholeFile {
    fn drop(&mut self) {
        if !self.is_finished {
            // Best effort: the run has failed already.
            let _ = fs::remove_file(&self.unfinished);
        }
    }
}
