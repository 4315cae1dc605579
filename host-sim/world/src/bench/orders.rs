//! What a person asks of the board: renewals, services, replies.
//!
//! Invariant: what a command will change is reckoned from the truth, not from the board's own
//! counts.

use shaftbook_core::authority::{self, EightDigits, Key};
use shaftbook_core::board::Command;
use shaftbook_core::ledger::IntervalBaseline;
use shaftbook_core::service::{Authorised, Refusal};

use super::device::Device;
use super::{Bench, KEY};

impl<D: Device> Bench<D> {
    /// Asks for a challenge.
    ///
    /// # Errors
    /// What the board refused it with.
    pub fn challenge(&mut self, allows: Authorised) -> Result<EightDigits, Refusal> {
        D::challenge(self, allows)
    }

    /// The right reply to a new challenge for `allows`.
    pub fn right_reply(&mut self, allows: Authorised) -> Option<EightDigits> {
        let challenge = self.challenge(allows).ok()?;
        let services = self.board().ledger().services;
        Some(authority::reply(&Key::new(KEY), allows.purpose(), services, challenge))
    }

    /// Asks for `command`, or for the part of it that can be asked for at once; nothing is
    /// noted of it.
    ///
    /// # Errors
    /// What the board refused it with.
    pub fn request(&mut self, command: Command) -> Result<(), Refusal> {
        let pending = self.pending.clone();
        let answer = D::request(self, D::narrowed(command));
        // What waits from before is not lost by it.
        self.pending = pending;
        answer
    }

    /// Asks for `command`, as [`Bench::request`] does, and notes what it will change, by
    /// the truth. `None` when it was refused.
    pub fn ask(&mut self, command: Command) -> Option<()> {
        if matches!(command, Command::Fit { .. }) {
            return None;
        }
        D::request(self, D::narrowed(command)).ok()
    }

    /// Notes what `command` will change when it is taken at `at_us`, by the truth.
    pub(super) fn expect(&mut self, command: &Command, at_us: u64) {
        let mut after = self.figures.clone();
        let truth = self.truth_at(at_us);
        let ledger = self.board().ledger();
        let renewed = match command {
            Command::Renew { components, .. } => *components,
            Command::Service { .. } => {
                after.services += 1;
                after.interval =
                    IntervalBaseline { powered_ms: truth.powered_ms, running_ms: truth.running_ms };
                ledger.renewed_by_service()
            }
            Command::Fit { .. } => return,
        };
        // A board that was only just fitted may have components of which no figure is known.
        let baselines = after.baselines.iter_mut().zip(&ledger.components).enumerate();
        for (_, (baseline, fitted)) in baselines.filter(|(place, _)| renewed.contains(*place)) {
            *baseline = fitted.component.measure.value(&truth, None);
        }
        self.pending = Some(after);
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
