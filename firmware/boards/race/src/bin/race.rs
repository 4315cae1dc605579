//! The drivers' edge capture, as shipped, between an interrupt and a main loop.

#![no_std]
#![no_main]

use shaftbook_drivers::capture;

#[path = "../program.rs"]
mod program;
