//! # Shaftbook main loop
//!
//! What every board runs after its hardware is set up: counting, storing, panel and service
//! port, over a trait that each board implements.
//!
//! - [`hardware`]: what a board must provide
//! - [`main_loop`]: the loop, one [`main_loop::MainLoop::turn`] at a time
//! - [`image_hash`]: the hash of the firmware's own bytes, piece by piece
//! - [`showing`]: keeps the display awake and up to date
//! - [`indicator`]: lamp and buzzer
//! - [`port`]: the service port: text lines that tell the state, and change nothing
//! - [`rules`]: the loop's rules, each of which can be broken on its own
//! - `task`: the list of what is done beside counting
//! - [`pin`]: from a pin's two interrupt flags to its edges
//! - [`stop`]: a panic or hard fault, kept over the watchdog's reset
//!
//! Invariants: at most one piece of panel work between two polls of the board
//! (`shaftbook_core::turn`); nothing here waits for the world. Panics: none, except what the
//! panel's libraries might do.

#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod hardware;
pub mod image_hash;
pub mod indicator;
pub mod main_loop;
pub mod pin;
pub mod port;
pub mod rules;
pub mod showing;
pub mod stop;
mod task;
