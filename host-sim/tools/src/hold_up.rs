//! Hold-up: how long a capacitor carries the board from the power-fail warning on, and how
//! big it must be for what the firmware still has to store.
//!
//! - [`circuit`]: the charge and energy balance, losses of the capacitor, what is needed
//! - [`e6`]: the values that capacitors are sold in
//! - [`reaction`]: what the firmware needs, the one place
//! - [`report`]: the result for programs and for people
//!
//! Invariants: a figure is never on the hopeful side: needed values are rounded up, times
//! that are reached are rounded down, and a bound stands in for what is not known.
//!
//! It does not know the inrush current, the ripple current or the life of a capacitor:
//! `docs/WIRING.md` has those formulas.

pub mod circuit;
pub mod e6;
pub mod microfarads;
pub mod reaction;
pub mod report;
