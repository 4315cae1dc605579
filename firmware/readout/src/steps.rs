//! Figures cut to a few bits: counted in whole steps, up to a last step that means "this or
//! more".
//!
//! Invariant: a figure that did not fit reads as "at least" that much, never as a wrong figure.

/// A figure in steps of `UNIT`, rounded down, at most `MOST` steps; `MOST` steps are
/// "`MOST` steps or more".
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Steps<const MOST: u32, const UNIT: u32>(u32);

impl<const MOST: u32, const UNIT: u32> Steps<MOST, UNIT> {
    /// Steps in `figure`, saturating.
    #[must_use]
    pub fn of(figure: u64) -> Self {
        let steps = figure / u64::from(if UNIT == 0 { 1 } else { UNIT });
        Self(steps.min(u64::from(MOST)) as u32)
    }

    /// These steps; `None` for more than `MOST`.
    #[must_use]
    pub const fn from_steps(steps: u32) -> Option<Self> {
        if steps <= MOST { Some(Self(steps)) } else { None }
    }

    /// The number of steps.
    #[must_use]
    pub const fn steps(self) -> u32 {
        self.0
    }

    /// The least that the figure can be.
    #[must_use]
    pub const fn least(self) -> u64 {
        self.0 as u64 * UNIT as u64
    }

    /// The most that the figure can be; `None` when it did not fit.
    #[must_use]
    pub const fn most(self) -> Option<u64> {
        if self.0 < MOST { Some(self.least() + UNIT as u64 - 1) } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_end_is_said() {
        assert_eq!(Steps::<7, 1>::of(6).most(), Some(6));
        assert_eq!(Steps::<7, 1>::of(7).most(), None);
        assert_eq!(Steps::<7, 1>::of(u64::MAX).least(), 7);
        assert_eq!(Steps::<7, 1>::from_steps(8), None);
    }

    proptest! {
        #[test]
        fn a_figure_lies_between_its_least_and_its_most(figure in 0..2_000_000_u64) {
            let steps = Steps::<254, 4_000>::of(figure);
            prop_assert!(steps.least() <= figure);
            prop_assert!(steps.most().is_none_or(|most| figure <= most));
            prop_assert_eq!(steps.most().is_none(), figure >= 254 * 4_000);
        }
    }
}
