//! Programs one record into one slot and proves that it is there.
//!
//! Invariants: at most one bus transaction a step; a record counts as stored only
//! after it was read back equal; what is being programmed never changes under way.

use crate::codec::frame::{RECORD_BYTES, Record};
use crate::medium::{Medium, MediumError};
use crate::rules::Rules;
use crate::time::Instant;

/// Longest a program cycle may take before the part counts as not answering, µs:
/// four times the 5 ms that 24-series datasheets allow.
pub const PROGRAM_LIMIT_US: u64 = 20_000;
/// Pause between acknowledge polls, µs: ten or so in the longest allowed cycle.
pub const POLL_PAUSE_US: u64 = 500;

/// What a step brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Step {
    /// Go on now.
    Again,
    /// Go on after a pause, µs.
    Pause(u64),
    /// The record is in its slot.
    Stored,
    /// The slot does not hold what was written.
    Differs,
    /// The part or the bus did not do as asked.
    Failed(MediumError),
}

#[derive(Clone, Copy, Debug)]
enum Phase {
    Program { done: usize },
    Wait { done: usize, since: Instant },
    ReadBack,
}

/// One record on its way into one slot.
#[derive(Clone, Debug)]
pub struct SlotWriter {
    record: Record,
    address: u32,
    phase: Phase,
}

impl SlotWriter {
    /// A writer of `record` at `address`. Nothing has been sent yet.
    #[must_use]
    pub fn new(record: Record, address: u32) -> Self {
        Self { record, address, phase: Phase::Program { done: 0 } }
    }

    /// Starts the same record again from its first byte.
    pub fn restart(&mut self) {
        self.phase = Phase::Program { done: 0 };
    }

    /// Whether the whole record has been sent and its last program cycle has ended.
    #[must_use]
    pub fn is_programmed(&self) -> bool {
        matches!(self.phase, Phase::ReadBack)
    }

    /// Whether a program cycle is under way.
    #[must_use]
    pub fn is_programming(&self) -> bool {
        matches!(self.phase, Phase::Wait { .. })
    }

    /// Does the next bus transaction.
    pub fn step<R: Rules, M: Medium>(&mut self, now: Instant, medium: &mut M) -> Step {
        match self.phase {
            Phase::Program { done } => {
                let rest = self.record.get(done..).unwrap_or(&[]);
                match medium.begin_program(self.address + done as u32, rest) {
                    Ok(sent) => {
                        let done = done + sent.clamp(1, RECORD_BYTES - done.min(RECORD_BYTES - 1));
                        self.phase = Phase::Wait { done, since: now };
                        Step::Again
                    }
                    Err(error) => Step::Failed(error),
                }
            }
            Phase::Wait { done, since } => match medium.is_ready() {
                Ok(true) if done < RECORD_BYTES => {
                    self.phase = Phase::Program { done };
                    Step::Again
                }
                Ok(true) if !R::READ_BACK => Step::Stored,
                Ok(true) => {
                    self.phase = Phase::ReadBack;
                    Step::Again
                }
                Ok(false) if now.since_us(since) < PROGRAM_LIMIT_US => Step::Pause(POLL_PAUSE_US),
                Ok(false) => Step::Failed(MediumError::NoAnswer),
                Err(error) => Step::Failed(error),
            },
            Phase::ReadBack => {
                let mut back = [0; RECORD_BYTES];
                match medium.read(self.address, &mut back) {
                    Ok(()) if back == self.record => Step::Stored,
                    Ok(()) => Step::Differs,
                    Err(error) => Step::Failed(error),
                }
            }
        }
    }
}
