//! Reads the bytes of a part, as an engineer would from a dead board.
//!
//! - [`image`]: the bytes, and a part that gives them back
//! - [`boards`]: whose records they are
//! - [`recovered`]: what the firmware's own recovery makes of them
//! - [`reading`], [`apply`]: a second reading, slot by slot, independent of the first
//! - [`slots`]: what each slot holds
//! - [`report`]: the two readings compared, and everything that was found
//! - [`text`], [`names`]: the report in words
//!
//! Invariants: nothing is written; any bytes give a report; a report never contains the board's
//! key.

pub mod apply;
pub mod boards;
pub mod image;
pub mod names;
pub mod reading;
pub mod recovered;
pub mod report;
pub mod slots;
pub mod text;
