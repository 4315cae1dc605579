//! The one error that a person sees: where in the input, and what is wrong with it.
//!
//! Invariant: it prints as a single line. The command line then ends with exit code 2.

use std::error::Error;
use std::fmt::{self, Display, Formatter};

/// A scenario, settings file or capture that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputError {
    place: String,
    what: String,
}

impl InputError {
    /// An error at `place` (a file, with line and column where known).
    #[must_use]
    pub fn new(place: impl Into<String>, what: impl Into<String>) -> Self {
        Self { place: one_line(&place.into()), what: one_line(&what.into()) }
    }

    /// Where: a file, with line and column where known.
    #[must_use]
    pub fn place(&self) -> &str {
        &self.place
    }

    /// What is wrong there.
    #[must_use]
    pub fn what(&self) -> &str {
        &self.what
    }
}

impl Display for InputError {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.what)
    }
}

impl Error for InputError {}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
