//! A machine that runs while somebody watches: scenario, board, panel and its power
//! switch, at any speed.
//!
//! - [`world`]: the simulated world; no terminal
//! - [`action`]: what a person does, in words, for scripts
//! - [`screen`]: its display, over the bus
//! - [`view`]: how it looks in a terminal
//!
//! The same scenario, seed and actions give the same world, whatever the speed.

pub mod action;
pub mod screen;
pub mod view;
pub mod world;
