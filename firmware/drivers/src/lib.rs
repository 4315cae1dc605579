//! # Shaftbook drivers
//!
//! The hardware edge of a Shaftbook board over embedded-hal 1.0, for any chip:
//!
//! - [`memory`]: the 24-series EEPROM or FRAM on the I²C bus, as the core's
//!   [`Medium`](shaftbook_core::medium::Medium);
//! - [`display`]: the panel's display on the same bus, in short steps;
//! - [`clock`]: the day from a clock chip on the same bus;
//! - [`capture`]: edges with their time stamps, from interrupt to main loop.
//!
//! No allocation, no unsafe code, no panic on anything that comes from outside.
//! What is counted and stored is decided in `shaftbook-core`, not here.
#![no_std]
#![forbid(unsafe_code)]

pub mod capture;
pub mod clock;
pub mod display;
pub mod memory;
