//! The memory part on the I²C bus: what `docs/FAULT_MODEL.md` says, as code.
//!
//! Purpose: a [`Bus`] is an embedded-hal bus with one [`Part`] on it, so that the board's own
//! driver, with its page splitting, polling and addressing, is under test. The part keeps the
//! datasheet's rules, counts its wear, can be cut at any bus byte or moment, and can go wrong
//! in every way that the fault model names.
//!
//! Invariants: the same part, seed and calls give the same bytes, times and errors. The bytes
//! at rest change only by a program cycle, a fault that was asked for, or a [`Tear`]. After a
//! cut nothing answers and nothing moves.
//!
//! Not done here: deciding which faults to try, and judging what the board made of them.
//!
//! - [`Part`], its cells and program cycles; [`Stuck`]
//! - [`Wear`]: cycles counted per page and per 4-byte group
//! - [`Tear`]: what a cut leaves of a page whose cycle had begun
//! - [`Timing`]: how long bytes and cycles take
//! - [`ClockSays`]: a clock chip on the same bus, if one is fitted
//! - [`DisplayModel`]: the panel's display on the same bus, if one is fitted
//! - [`Bus`]: the wire, the cuts, the line faults; [`Answers`], [`BusEvent`], [`BusTally`]

mod cells;
mod clock;
mod clock_wire;
mod cut;
mod display;
mod display_command;
mod display_wire;
mod line;
mod part;
mod tear;
mod timing;
mod wear;

pub use cells::Stuck;
pub use clock::ClockSays;
pub use display::{DisplayFailure, DisplayModel};
pub use line::{Answers, Bus, BusError, BusEvent, BusTally, RecordedCycle};
pub use part::{Part, WrongImage};
pub use tear::{BadTear, Tear};
pub use timing::Timing;
pub use wear::Wear;
