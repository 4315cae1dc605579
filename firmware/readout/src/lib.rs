//! # Shaftbook read-out
//!
//! A board's whole state in thirty letters and digits, made to be read aloud over the
//! phone, with an error-correcting code over them.
//!
//! - [`tag`]: a board's name of eight symbols
//! - [`code`]: the thirty symbols
//!
//! Panics: none, whatever comes in.

#![no_std]
#![forbid(unsafe_code)]

pub mod code;
pub mod tag;
