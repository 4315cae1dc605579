//! Why a command could not be done: one line, exit code 2.

use std::fmt::Display;
use std::path::Path;

/// The line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure(pub String);

impl Failure {
    /// `error` about the file `path`.
    #[must_use]
    pub fn file(path: &Path, error: &impl Display) -> Self {
        Self(format!("{}: {error}", path.display()))
    }
}

impl<E: std::error::Error> From<E> for Failure {
    fn from(error: E) -> Self {
        Self(error.to_string())
    }
}
