//! # Shaftbook panel
//!
//! What an operator sees and presses: three buttons and 128 by 64 pixels of one bit. It is
//! pure: the machine's state and button presses come in; what to show, and what to ask of the
//! board, comes out.
//!
//! - [`button`]: from edges of three buttons to short and long presses
//! - [`state`]: what the screens are made from
//! - [`screen`], [`panel`]: which screen is shown, and what a press does
//! - [`view`]: what is on a screen, before it is pixels
//! - [`text`]: all words, one table for each language
//! - [`number`]: figures as they are shown
//! - [`frame`], [`draw`], [`painter`]: pixels, in steps small enough for a board that must
//!   answer a power-fail warning in between
//! - [`rules`]: the rules of the panel, each of which can be broken on its own
//! - [`console`]: a press carried to the board, and the board's answer back
//!
//! Panics: none, whatever comes in. Not done here: the display's driver, the pins.

#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod button;
pub mod console;
pub mod draw;
pub mod frame;
pub mod number;
pub mod painter;
pub mod panel;
pub mod rules;
pub mod screen;
pub mod state;
pub mod text;
pub mod view;
