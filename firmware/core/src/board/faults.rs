//! The faults of a board: which are there, which were told, which stand in the journal.
//!
//! Invariant: every fault that comes or goes is told once, in the order of
//! [`Fault::ALL`]; a fault gets at most one line in the journal a power-up.

use super::{Board, Effect};
use crate::fault::{Fault, FaultSet};
use crate::journal::Event;
use crate::rules::Rules;

/// What is known of the faults.
#[derive(Clone, Debug, Default)]
pub(super) struct Faults {
    present: FaultSet,
    told: FaultSet,
    journalled: FaultSet,
}

impl Faults {
    /// The faults present.
    pub(super) fn present(&self) -> FaultSet {
        self.present
    }

    /// Whether one came or went that was not told yet.
    pub(super) fn are_untold(&self) -> bool {
        self.present != self.told
    }

    /// Whether one was told that is not in the journal yet.
    pub(super) fn are_unjournalled(&self) -> bool {
        self.told != self.journalled
    }

    /// `fault` is there, or not.
    pub(super) fn set(&mut self, fault: Fault, is_there: bool) {
        if is_there {
            self.present.raise(fault);
        } else {
            self.present.clear(fault);
        }
    }

    /// The next fault that came or went, as an effect: it is told now.
    pub(super) fn next_effect(&mut self) -> Option<Effect> {
        for fault in Fault::ALL {
            match (self.present.contains(fault), self.told.contains(fault)) {
                (true, false) => {
                    self.told.raise(fault);
                    return Some(Effect::FaultRaised(fault));
                }
                (false, true) => {
                    self.told.clear(fault);
                    return Some(Effect::FaultCleared(fault));
                }
                _ => {}
            }
        }
        None
    }
}

impl<R: Rules> Board<R> {
    /// Notes in the journal the faults that were told and are not in it yet.
    pub(super) fn journal_faults(&mut self) {
        for fault in Fault::ALL {
            let new = self.faults.told.contains(fault) && !self.faults.journalled.contains(fault);
            let is_noted = new && self.note(Event::FaultSeen, fault.number());
            if is_noted || (new && !R::fault_waits_for_room()) {
                self.faults.journalled.raise(fault);
            }
        }
    }
}
