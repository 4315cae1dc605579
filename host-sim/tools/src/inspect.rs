//! Reads the bytes of a part, as an engineer would from a dead board.
//!
//! - [`image`]: the bytes, and a part that gives them back
//! - [`boards`]: whose records they are
//! - [`recovered`]: what the firmware's own recovery makes of them
//! - [`reading`], [`apply`]: a second reading, slot by slot, independent of the first
//! - [`missing`]: which newer records may be missing, and at most how much they held
//! - [`rules`]: what `missing` must look at, each a switch that a proof breaks
//! - [`signs`]: signs that the image is not the whole part, byte for byte
//! - [`slots`]: what each slot holds
//! - [`report`]: everything that was found, as values; [`compose`]: how it is made; `damage` and
//!   `differences`: two parts of it
//! - [`text`], [`names`]: the report in words
//! - [`schema`]: the JSON schema of the report
//!
//! Invariants: nothing is written; any bytes give a report; a report never contains the board's
//! key.

pub mod apply;
pub mod boards;
pub mod compose;
mod damage;
mod differences;
pub mod image;
pub mod missing;
pub mod names;
pub mod reading;
pub mod recovered;
pub mod report;
pub mod rules;
pub mod schema;
pub mod signs;
pub mod slots;
pub mod text;
