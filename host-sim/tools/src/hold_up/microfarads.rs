//! The unit of capacitors as they are bought.

/// A capacitance, µF.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Microfarads(pub f64);
