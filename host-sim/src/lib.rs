//! Simulator.
#![forbid(unsafe_code)]

pub mod bus;
