//! What a person asks of the board: renewals, services, replies.
//!
//! Invariant: what a command will change is noted by the truth, not by the board.

use shaftbook_core::authority::{self, EightDigits, Key};
use shaftbook_core::board::Command;
use shaftbook_core::ledger::IntervalBaseline;
use shaftbook_core::service::Authorised;

use super::{KEY, Rig};
use crate::prove::under_test::UnderTest;

impl<R: UnderTest> Rig<R> {
    /// The right reply to a new challenge for `allows`.
    pub fn right_reply(&mut self, allows: Authorised) -> Option<EightDigits> {
        let now = self.now();
        let challenge = self.board.challenge(now, allows).ok()?;
        let services = self.board.ledger().services;
        Some(authority::reply(&Key::new(KEY), allows.purpose(), services, challenge))
    }

    /// Asks for `command`; notes what it will change, by the truth. `None` when it
    /// was refused.
    pub fn ask(&mut self, command: Command) -> Option<()> {
        let mut after = self.figures.clone();
        let truth = self.truth();
        let ledger = self.board.ledger();
        let renewed = match &command {
            Command::Renew { components, .. } => *components,
            Command::Service { .. } => {
                after.services += 1;
                after.interval =
                    IntervalBaseline { powered_ms: truth.powered_ms, running_ms: truth.running_ms };
                ledger.renewed_by_service()
            }
            Command::Fit { .. } => return None,
        };
        for (place, fitted) in ledger.components.iter().enumerate() {
            if renewed.contains(place) {
                after.baselines[place] = fitted.component.measure.value(&truth, None);
            }
        }
        let now = self.now();
        self.board.request(now, command).ok()?;
        self.pending = Some(after);
        Some(())
    }

    /// Asks for `command` when no other is under way, and waits until it is done, at most
    /// two seconds: the machine stands meanwhile.
    pub fn ask_and_wait(&mut self, command: Command, watch: &mut impl FnMut(&Self)) {
        if self.pending.is_none() {
            let _ = self.ask(command);
        }
        for _ in 0..100 {
            self.pass_to(self.now_us + 20_000, watch);
            if self.pending.is_none() || self.bus.is_cut() {
                break;
            }
        }
    }
}
