//! The engineer's end of the read-out code.
//!
//! - [`report`]: what a code says, as plain values that can be serialised
//! - [`text`], [`words`]: the same for people
//! - [`damage`]: the ways in which a code is misheard
//! - [`figures`]: how often each of them is corrected, refused, or taken for another code
//!
//! The code itself is the firmware's: crate `shaftbook-readout`.

pub mod damage;
pub mod draw;
pub mod figures;
pub mod report;
pub mod text;
pub mod words;
