//! Runs a scenario through the board and holds what it counted against the truth.
//!
//! - [`run`]: the run itself; watches every cut and what the board came back with;
//! - [`compare`]: counted beside truth, each difference with its causes.

pub mod compare;
pub mod run;
