//! The Shaftbook simulator and the engineer's bench tools, as a library.
#![forbid(unsafe_code)]

pub mod bench_board;
pub mod bus;
pub mod campaign;
pub mod capture;
pub mod checked_file;
pub mod cli;
pub mod figures;
pub mod fitting;
pub mod flash;
pub mod gallery;
pub mod hints;
pub mod hold_up;
pub mod input_error;
pub mod inspect;
pub mod junit;
pub mod keys;
pub mod live;
pub mod picture;
pub mod profile;
pub mod prove;
pub mod readout;
pub mod replay;
pub mod scenario;
pub mod settings_file;
pub mod sew;
pub mod sewing;
