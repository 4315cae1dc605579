//! # Shaftbook panel

#![no_std]
#![forbid(unsafe_code)]
