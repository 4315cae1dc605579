//! Simulator.
