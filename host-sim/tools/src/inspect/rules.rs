//! What a reading of an image must look at before it may call its figures the newest, each a
//! named switch, as `shaftbook_core::rules` has them for the core.
//!
//! A proof is only worth something if it fails when the thing that it guards is broken. These
//! switches are how `inspect` is broken for that.
//!
//! Invariant: [`Sound`] changes nothing.

use shaftbook_core::rules::Sound;

shaftbook_core::rules! {
    /// The rules of a reading. Every default is the sound one.
    trait ReadingRules {}

    /// Slots after the newest record that hold no record may have held a newer one.
    look_beyond_newest
    /// A blank slot where a record should be was erased or put back.
    blank_was_written
    /// A record that cannot be used, as its snapshot is lost, is newer than the figures.
    count_unusable
    /// An image that is full to its last slot may be shorter than its part.
    end_may_be_cut
    /// A slot that holds an older record than it should was put back.
    see_put_back
    /// The bound is for all records that may be missing, not for one.
    bound_all
    /// Journal entries that are missing in the middle are told.
    tell_lost_entries
}

impl ReadingRules for Sound {}
