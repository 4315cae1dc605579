//! What the program is asked for, and what it answers.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

/// What to rewrite.
#[derive(Debug, Deserialize)]
pub struct Request {
    /// The workspace as it is.
    pub from: PathBuf,
    /// The workspace that is written to; its folders are there.
    pub to: PathBuf,
    /// What holds in the build, as in `cfg`: `feature = "activity"`. All else does not.
    pub cfg: Vec<String>,
    /// The files with mutants.
    pub files: Vec<File>,
}

/// A file with mutants.
#[derive(Debug, Default, Deserialize)]
pub struct File {
    /// Where it is in the workspace.
    pub path: String,
    /// The function that says whether a mutant is switched on, as this file calls it.
    pub switch: String,
    /// Names (`Type::name`, or `name`) of the functions that have to stay `const`.
    pub keep_const: Vec<String>,
    /// Its mutants.
    pub mutants: Vec<Mutant>,
}

/// A mutant, as cargo-mutants lists it.
#[derive(Clone, Debug, Deserialize)]
pub struct Mutant {
    /// Its number; not 0.
    pub number: u32,
    /// Its kind: `FnValue`, `BinaryOperator`, ...
    pub genre: String,
    /// First character of what is replaced: line and column, from 1.
    pub start: (usize, usize),
    /// What it is replaced by.
    pub replacement: String,
    /// Whether it is to be put behind the switch.
    pub wanted: bool,
}

/// What was done.
#[derive(Debug, Default, Serialize)]
pub struct Answer {
    /// The files in the order of the request.
    pub files: Vec<Found>,
}

/// What was done in a file.
#[derive(Debug, Default, Serialize)]
pub struct Found {
    /// Its mutants; one of which no place was found is missing.
    pub mutants: Vec<Place>,
    /// The functions that were `const`, as in [`File::keep_const`].
    pub const_functions: Vec<String>,
}

/// What was done with a mutant.
#[derive(Debug, Serialize)]
pub struct Place {
    /// Its number.
    pub number: u32,
    /// What it changes, in words that stay the same when lines move.
    pub change: String,
    /// Whether it is in code that is not compiled in this build.
    pub left_out: bool,
    /// Whether it is in a function that is still `const`: it cannot ask for the switch.
    pub in_const: bool,
    /// Bytes of its own code in the rewritten file; none if it is not there.
    pub own: Option<(usize, usize)>,
    /// Bytes of its code and of what it is a mutant of.
    pub whole: Option<(usize, usize)>,
}
