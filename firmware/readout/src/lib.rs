//! # Shaftbook read-out
//!
//! A board's whole state in thirty letters and digits, made to be read aloud over the
//! phone, with an error-correcting code over them.
//!
//! - [`tag`]: a board's name of eight symbols
//! - [`state`], [`steps`]: what a code says, and its 120 bits
//! - [`code`]: the thirty symbols
//! - [`heard`]: what a person wrote down
//! - [`decode`]: from what was heard to what was meant
//! - [`alphabet`], [`spelling`]: letters and digits, and the words to say them by
//! - [`rules`]: the rules of the read-out, each of which can be broken on its own
//! - [`gf32`], [`reed_solomon`]: the mathematics
//!
//! Not done here: words for what a code says. Panics: none, whatever comes in.

#![no_std]
#![forbid(unsafe_code)]

pub mod alphabet;
pub mod code;
pub mod decode;
pub mod gf32;
pub mod heard;
pub mod reed_solomon;
pub mod rules;
pub mod spelling;
pub mod state;
pub mod steps;
pub mod tag;
