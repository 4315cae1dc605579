//! Reads the bytes of a part, as an engineer would from a dead board.
//!
//! - [`image`]: the bytes, and a part that gives them back
//! - [`boards`]: whose records they are
//! - [`recovered`]: what the firmware's own recovery makes of them
//! - [`reading`], [`apply`]: a second reading, slot by slot, independent of it
//! - [`slots`]: what each slot holds
//! - [`report`]: both compared, and everything that is found
//! - [`text`], [`names`]: the same in words
//!
//! Invariants: nothing is written; any bytes give a report; the board's key is never
//! in one.

pub mod apply;
pub mod boards;
pub mod image;
pub mod names;
pub mod reading;
pub mod recovered;
pub mod report;
pub mod slots;
pub mod text;
