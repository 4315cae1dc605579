//! The race test of the drivers' edge capture, as it ships: an interrupt pushes edges while a
//! main loop takes them.

#![no_std]
#![no_main]

use shaftbook_drivers::capture;

#[path = "../program.rs"]
mod program;
