//! The command line of `shaftbook`.
#![forbid(unsafe_code)]

pub mod cli;
