//! The unit in which capacitors are sold, in a file of its own because circuit, E6 series and
//! report share it.

/// A capacitance, µF.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Microfarads(pub f64);
