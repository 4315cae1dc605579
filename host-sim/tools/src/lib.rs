//! The tools around a board: sewing and replaying, inspection, keys, flashing, read-out, hints,
//! the live panel, and the size of the hold-up capacitor.
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
