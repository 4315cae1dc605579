//! Runs a scenario through the board and holds what it counted against the truth.
//!
//! - [`run`]: the run itself; watches every cut and what the board came back with;
//! - [`compare`]: counted beside truth, each difference with its causes;
//! - [`slack`]: what a count may rightly be above the truth by;
//! - [`care`]: what is due by the profile that the board was fitted with.

pub mod care;
pub mod compare;
pub mod run;
pub mod slack;
