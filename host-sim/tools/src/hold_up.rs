//! Hold-up: how long a capacitor carries the board after the power-fail warning, and how big it
//! must be for what the firmware still has to store.
//!
//! - [`circuit`]: the charge and energy balance, losses of the capacitor, what is needed
//! - [`e6`]: the values that capacitors are sold in
//! - [`microfarads`]: the unit that the others share
//! - [`reaction`]: how long the firmware needs, in one place only
//! - [`report`]: the result for programs and for people
//!
//! Invariants: no figure is too hopeful. Needed values are rounded up, times that are reached
//! are rounded down, and a bound stands in for what is not known.
//!
//! The inrush current, the ripple current and the life of a capacitor are not reckoned here:
//! `docs/WIRING.md` has those formulas.

pub mod circuit;
pub mod e6;
pub mod microfarads;
pub mod reaction;
pub mod report;
