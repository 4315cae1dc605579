//! Runs a scenario through the board, and holds what the board counted against the truth.
//!
//! - [`run`]: the run itself, which watches every cut and what the board came back with;
//! - [`compare`]: what was counted beside the truth, each difference with its causes;
//! - [`slack`]: by how much a count may rightly be above the truth;
//! - [`care`]: what is due by the profile that the board was fitted with.

pub mod care;
pub mod compare;
pub mod run;
pub mod slack;
