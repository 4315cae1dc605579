//! # Shaftbook core
#![no_std]
#![forbid(unsafe_code)]

pub mod counters;
pub mod input;
pub mod medium;
pub mod settings;
pub mod time;
