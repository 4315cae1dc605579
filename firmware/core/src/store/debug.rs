//! The store as it is shown for debugging: without the bytes of records.
//!
//! Invariant: nothing that may hold the board's key is shown.

use core::fmt;

use super::Store;
use crate::rules::Rules;

impl<R: Rules> fmt::Debug for Store<R> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Not `record`, `back` and `stream`: a snapshot holds the key.
        f.debug_struct("Store")
            .field("stage", &self.stage)
            .field("head", &self.head)
            .field("base", &self.base)
            .field("draft", &self.draft)
            .field("job", &self.job)
            .field("entry_slot", &self.entry_slot)
            .field("entries", &self.entries)
            .field("commits_left", &self.commits_left)
            .field("snapshot_wanted", &self.snapshot_wanted)
            .field("recovery", &self.recovery)
            .field("trouble", &self.trouble)
            .field("differing", &self.differing)
            .field("worn_out", &self.worn_out)
            .field("scanned", &self.scanned)
            .field("saved", &self.saved)
            .field("retired", &self.retired)
            .finish_non_exhaustive()
    }
}
