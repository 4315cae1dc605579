//! # Shaftbook care
//!
//! From what the board has counted to what a person should do: which care is due,
//! when the next will be, and where to look first when the machine misbehaves.
//!
//! - [`machine`]: all that is known of the machine at one moment
//! - [`item`]: wear, limit and standing of each component
//! - [`outlook`]: how many days are left, at the recent rate of use
//! - [`mod@line`]: the straight line behind it
//! - [`calendar`]: from what a clock says to a day that can be trusted
//! - [`binomial`]: the exact test behind the hints
//! - [`finding`]: what a hint is
//! - [`hint`]: first-look hints, each with its reason and figures
//! - [`rules`]: the rules of care, each of which can be broken on its own
//!
//! Reads the core's figures and changes none. Panics: none, whatever comes in.

#![no_std]
#![forbid(unsafe_code)]

pub mod binomial;
pub mod calendar;
pub mod finding;
pub mod hint;
pub mod item;
pub mod line;
pub mod machine;
pub mod outlook;
pub mod rules;
