//! The engineer's bench tools of Shaftbook.
#![forbid(unsafe_code)]

pub mod capture;
pub mod flash;
pub mod gallery;
pub mod hints;
pub mod hold_up;
pub mod inspect;
pub mod keys;
pub mod live;
pub mod picture;
pub mod readout;
pub mod replay;
pub mod sew;
