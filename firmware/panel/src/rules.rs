//! The rules of the panel, each a named switch, as `shaftbook_core::rules` has them for the core.
//!
//! A proof is only worth something if it fails when the thing that it guards is broken. These
//! switches are how the panel is broken for that.
//!
//! Invariant: [`Sound`] changes nothing. Every default here is the right one, and a constant,
//! so that the sound panel carries nothing of the broken ones.

use shaftbook_core::rules::Sound;
use shaftbook_readout::rules::ReadRules;

shaftbook_core::rules! {
    /// The rules of the panel. Every default is the sound one.
    trait PanelRules: ReadRules {}

    /// A service that is due counts among what is due.
    service_counts_as_due
    /// What is renewed is the component that was opened, not the line it stands in.
    renews_what_was_opened
    /// A past that was stated is never added to what was measured.
    stated_apart
    /// A code that is read aloud stays as it was when it was opened.
    code_holds_still
    /// The hours of the first screen are those since the last service.
    home_since_service
}

impl PanelRules for Sound {}
