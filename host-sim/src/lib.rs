//! Simulator.

pub mod bus;
