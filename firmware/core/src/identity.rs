//! Which board this is.

/// A board's identity: unique, fixed for life, given by the board (its chip's
/// serial number). Every record on the part is bound to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BoardId(pub u64);
