//! The simulated world of Shaftbook: machine, bus, parts, display, supply, and the bench
//! that holds a board in it.
#![forbid(unsafe_code)]

pub mod any_image;
pub mod bench;
pub mod bus;
pub mod checked_file;
pub mod figures;
pub mod fitting;
pub mod input_error;
pub mod judge;
pub mod locate;
pub mod profile;
pub mod scenario;
pub mod settings_file;
pub mod sewing;
