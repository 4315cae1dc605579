//! What a store is in the middle of: for whoever counts which of its states a power
//! cut has met.
//!
//! Nothing on a board decides by it: it is compiled with the feature `activity` only, which
//! no image asks for.

use super::next::ENTRIES_MAX;
use super::{Job, Stage, Store};
use crate::rules::Rules;

/// What a store is in the middle of. Several can be true at once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StoreActivity {
    /// The past is being found out.
    pub is_recovering: bool,
    /// There is nothing of this board on the part.
    pub is_empty: bool,
    /// A checkpoint is on its way into its slot.
    pub checkpoint: bool,
    /// The first copy of a journal entry is on its way.
    pub first_copy: bool,
    /// The first copy of an entry is in its slot, the second is not.
    pub second_copy: bool,
    /// A new snapshot is being written; the old one is still the live one.
    pub snapshot: bool,
    /// All of the new snapshot is in its slots, the checkpoint that makes it the live
    /// one is on its way.
    pub commit: bool,
    /// The new snapshot is the live one, but only one slot points to it.
    pub single_pointer: bool,
    /// As many entries since the snapshot as it may have: a new one is wanted.
    pub journal_full: bool,
    /// A slot did not hold what was written and is written once more.
    pub second_try: bool,
    /// The part or the bus failed and has not done as asked since.
    pub failing: bool,
    /// Too few good slots are left.
    pub worn_out: bool,
}

impl<R: Rules> Store<R> {
    /// What the store is in the middle of.
    #[must_use]
    pub fn activity(&self) -> StoreActivity {
        let job = self.job.as_ref().map(|(job, _)| *job);
        let is_ready = self.stage == Stage::Ready;
        StoreActivity {
            is_recovering: matches!(self.stage, Stage::Start | Stage::Recovering),
            is_empty: self.stage == Stage::Empty,
            checkpoint: job == Some(Job::Checkpoint),
            first_copy: job == Some(Job::EntryCopy { second: false }),
            second_copy: is_ready && self.first_copy.is_some(),
            snapshot: is_ready && self.draft.is_some(),
            commit: job == Some(Job::Commit),
            single_pointer: is_ready && self.draft.is_none() && self.commits_left > 0,
            journal_full: is_ready && self.entries >= ENTRIES_MAX,
            second_try: is_ready && self.tried_again,
            failing: self.trouble.is_failing(),
            worn_out: self.worn_out,
        }
    }
}
