//! The rules of care, each a named switch, as `shaftbook_core::rules` has them for the core.
//!
//! A proof is only worth something if it fails when the thing that it guards is broken. These
//! switches are how care is broken for that.
//!
//! Invariant: [`Sound`] changes nothing. Every default here is the right one, and a constant or
//! one call, so that the sound care carries nothing of the broken ones.

use shaftbook_core::component::{Component, Measure, Standing};
use shaftbook_core::counters::Counters;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::rules::{Rules, Sound};

shaftbook_core::rules! {
    /// The rules of care. Every default is the sound one.
    trait CareRules: Rules {
        /// The component at `place`, with its limits.
        #[inline]
        #[must_use]
        fn component(ledger: &Ledger, place: usize) -> Option<Component> {
            Some(ledger.components.get(place)?.component)
        }

        /// Wear of the component at `place`, in its measure's own unit.
        #[inline]
        #[must_use]
        fn wear(
            ledger: &Ledger,
            place: usize,
            lifetime: &Counters,
            day: Option<u16>,
        ) -> Option<u64> {
            ledger.wear(place, lifetime, day)
        }

        /// How a component with this wear (in its measure's own unit) stands.
        #[inline]
        #[must_use]
        fn standing(component: &Component, wear: u64) -> Standing {
            component.standing(wear)
        }

        /// A wear by `measure` in the unit of limits: s of time, or a count.
        #[inline]
        #[must_use]
        fn in_limit_unit(measure: Measure, wear: u64) -> u64 {
            wear / measure.per_limit_unit()
        }

        /// Days, fractions of them rounded.
        #[inline]
        #[must_use]
        fn whole_days(days: f64) -> f64 {
            libm::floor(days)
        }
    }

    /// Of two components the one with the worse standing is more pressing, however worn.
    worst_standing_first
    /// A clock that leaps is not believed before a person confirms its day.
    leaps_are_doubted
    /// While the clock is at fault, no calendar days are announced.
    no_days_by_a_wrong_clock
    /// The surest hint comes first.
    surest_first
    /// The trimmer is cleaned before its knife is blamed.
    cleaning_before_knife
    /// The tests of one look share its error rate.
    tests_share_the_error
    /// A needle that has a hint of its own is left out of those of all needles.
    named_needles_left_out
    /// A session's glitches are held against those of the life before it.
    glitches_against_before
}

impl CareRules for Sound {}
