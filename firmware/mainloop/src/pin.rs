//! From a pin's two interrupt flags to its edges.
//!
//! Purpose: an interrupt that finds "has risen" and "has fallen" both set was late: the pin has
//! moved at least twice. Both edges are handed on, and the order is chosen so that the last one
//! leads to the level that was read. So the board ends at the pin's true level.
//!
//! Invariant: after the edges given, the level that was handed on is the level that was read.
//! That holds too for a flag that contradicts the level: then the pin moved again after the
//! flags were read, and that move may or may not interrupt again.

use shaftbook_core::input::Level;

/// The edges of one interrupt, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Edges {
    /// The pin did not move.
    None,
    /// It moved once, to this level.
    One(Level),
    /// It moved at least twice, and ended at this level.
    Two(Level),
}

/// A pin's two interrupt flags.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Flags {
    /// It has risen since the flags were cleared.
    pub rose: bool,
    /// It has fallen since.
    pub fell: bool,
}

/// The edges of a pin, whose `flags` were read and cleared before the pin was read as
/// `is_high`; `active_low`: it is asserted when low.
#[must_use]
#[inline]
pub const fn edges(flags: Flags, is_high: bool, active_low: bool) -> Edges {
    match (flags.rose, flags.fell) {
        (false, false) => Edges::None,
        (true, true) => Edges::Two(Level::from_bool(is_high != active_low)),
        // The flag of a move in between was cleared with this one's.
        (high, _) if high != is_high => Edges::Two(Level::from_bool(is_high != active_low)),
        (high, _) => Edges::One(Level::from_bool(high != active_low)),
    }
}

impl Edges {
    /// Hands each edge to `push`, in order.
    #[inline]
    pub fn each(self, mut push: impl FnMut(Level)) {
        match self {
            Self::None => {}
            Self::One(level) => push(level),
            Self::Two(level) => {
                push(Level::from_bool(!level.is_active()));
                push(level);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    /// The levels handed on.
    fn given((rose, fell): (bool, bool), is_high: bool, active_low: bool) -> Vec<bool> {
        let mut found = Vec::new();
        edges(Flags { rose, fell }, is_high, active_low)
            .each(|level| found.push(level.is_active()));
        found
    }

    #[test]
    fn one_flag_is_one_edge() {
        assert_eq!(given((false, true), false, true), [true], "pulled low: asserted");
        assert_eq!(given((true, false), true, true), [false]);
        assert_eq!(given((true, false), true, false), [true]);
        assert_eq!(given((false, false), true, true), [false; 0]);
    }

    #[test]
    fn a_flag_that_contradicts_the_level_ends_at_the_level() {
        assert_eq!(given((false, true), true, true), [true, false]);
        assert_eq!(given((true, false), false, true), [false, true]);
        assert_eq!(given((true, false), false, false), [true, false]);
    }

    #[test]
    fn two_flags_are_two_edges_that_end_at_the_level_read() {
        assert_eq!(given((true, true), false, true), [false, true]);
        assert_eq!(given((true, true), true, true), [true, false]);
        assert_eq!(given((true, true), true, false), [false, true]);
    }
}
