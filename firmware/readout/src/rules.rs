//! The rules of the read-out, each a named switch, as `shaftbook_core::rules` has them for the
//! core.
//!
//! A proof is only worth something if it fails when the thing that it guards is broken. These
//! switches are how the read-out is broken for that.
//!
//! Invariant: [`Sound`] changes nothing. Every default here is the right one, and a constant or
//! one call, so that the sound read-out carries nothing of the broken ones.

use shaftbook_care::rules::CareRules;
use shaftbook_core::counters::Counters;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::rules::Sound;

use crate::tag::BoardTag;

/// ms in an hour.
const MS_PER_H: u64 = 3_600_000;

shaftbook_core::rules! {
    /// The rules of the read-out. Every default is the sound one.
    trait ReadRules: CareRules {
        /// The tag of the board `id`.
        #[inline]
        #[must_use]
        fn tag(id: BoardId) -> BoardTag {
            BoardTag::of(id)
        }

        /// Time since the last service by the service measure, ms.
        #[inline]
        #[must_use]
        fn interval_ms(ledger: &Ledger, lifetime: &Counters) -> u64 {
            ledger.interval_ms(lifetime)
        }

        /// Whole hours of a time in ms.
        #[inline]
        #[must_use]
        fn hours(ms: u64) -> u64 {
            ms / MS_PER_H
        }
    }

    /// Components at notice are counted without those that are due.
    notice_without_due
    /// The fixed knife is the one of the profile's knives whose trims are told.
    knife_is_the_fixed_one
    /// A service is due when its interval has reached the limit, not when it is past it.
    service_due_at_limit
}

impl ReadRules for Sound {}
