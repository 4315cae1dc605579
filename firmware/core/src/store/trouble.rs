//! A part or a bus that does not do as asked: when to try again, and when it is a fault.
//!
//! Invariant: a fault that was told is told to be over once the part does as asked again.

use super::StoreEvent;
use crate::fault::Fault;
use crate::medium::MediumError;
use crate::rules::Rules;
use crate::time::Instant;

/// Pause after a failure of the part or the bus, µs.
const RETRY_PAUSE_US: u64 = 5_000;
/// The same, once the failure has lasted, µs.
pub(super) const LONG_RETRY_PAUSE_US: u64 = 500_000;
/// Failures in a row that are shown as a fault.
const FAILURES_SHOWN: u8 = 4;

/// What is known of a part that does not do as asked.
#[derive(Clone, Debug)]
pub(super) struct Trouble {
    /// In a row.
    failures: u8,
    /// The fault that was told.
    failing: Option<Fault>,
    /// A failure that is over and has not been told yet.
    over: Option<Fault>,
    wake: Instant,
}

impl Trouble {
    /// None.
    pub(super) const fn new() -> Self {
        Self { failures: 0, failing: None, over: None, wake: Instant::ZERO }
    }

    /// Earliest time at which the part is asked again.
    pub(super) fn wake(&self) -> Instant {
        self.wake
    }

    /// The part is not asked before `wake`.
    pub(super) fn pause_until(&mut self, wake: Instant) {
        self.wake = wake;
    }

    /// The fault that was told and is not over.
    pub(super) fn fault(&self) -> Option<Fault> {
        self.failing
    }

    /// Whether a fault is over that was not told to be.
    pub(super) fn is_over_untold(&self) -> bool {
        self.over.is_some()
    }

    /// A fault that is over: it is told now.
    pub(super) fn next_over(&mut self) -> Option<Fault> {
        self.over.take()
    }

    /// Whether the part has not done as asked since it last failed.
    #[cfg(feature = "activity")]
    pub(super) fn is_failing(&self) -> bool {
        self.failures > 0
    }

    /// The part or the bus did not do as asked.
    #[inline(never)]
    pub(super) fn failed(&mut self, now: Instant, error: MediumError) -> Option<StoreEvent> {
        self.failures = self.failures.saturating_add(1);
        let lasting = self.failures >= FAILURES_SHOWN;
        self.wake = now.plus_us(if lasting { LONG_RETRY_PAUSE_US } else { RETRY_PAUSE_US });
        let fault = Fault::from(error);
        if lasting && self.failing != Some(fault) {
            self.failing = Some(fault);
            return Some(StoreEvent::Trouble(fault));
        }
        None
    }

    /// The part did as asked: what follows waits for nothing.
    pub(super) fn worked<R: Rules>(&mut self) {
        if R::failures_end() {
            self.failures = 0;
        }
        self.wake = Instant::ZERO;
        if let Some(fault) = self.failing.take() {
            self.over = Some(fault);
        }
    }
}
