//! Programs one record into one slot and proves that it is there.
//!
//! Invariants: at most one bus transaction a step; a record counts as stored only
//! after it was read back equal; what is being programmed never changes under way.

use crate::codec::frame::{HEADER_BYTES, RECORD_BYTES, Record};
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
pub enum SlotStep {
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
#[derive(Clone, Copy, Debug)]
pub struct SlotWriter {
    address: u32,
    phase: Phase,
}

impl SlotWriter {
    /// A writer at `address`. Nothing has been sent yet.
    #[must_use]
    pub const fn new(address: u32) -> Self {
        Self { address, phase: Phase::Program { done: 0 } }
    }

    /// Starts the same record again from its first byte.
    pub fn restart(&mut self) {
        self.phase = Phase::Program { done: 0 };
    }

    /// Whether the record has been sent in part or not at all, and no program cycle
    /// is under way.
    #[must_use]
    pub fn can_give_way(&self) -> bool {
        matches!(self.phase, Phase::Program { .. })
    }

    /// Does the next bus transaction. `record` stays the same until the last; `back`
    /// is where it is read back to.
    pub fn step<R: Rules, M: Medium>(
        &mut self,
        now: Instant,
        medium: &mut M,
        record: &Record,
        back: &mut Record,
    ) -> SlotStep {
        match self.phase {
            Phase::Program { .. }
                if !R::always_programmed() && seems_held(medium, self.address, record, back) =>
            {
                SlotStep::Stored
            }
            Phase::Program { done } => {
                let rest = record.get(done..).unwrap_or(&[]);
                match medium.begin_program(self.address + done as u32, rest) {
                    Ok(sent) => {
                        let done = done + sent.clamp(1, rest.len().max(1));
                        self.phase = Phase::Wait { done, since: now };
                        SlotStep::Again
                    }
                    Err(error) => SlotStep::Failed(error),
                }
            }
            Phase::Wait { done, since } => match medium.is_ready() {
                Ok(true) if done < RECORD_BYTES => {
                    self.phase = Phase::Program { done };
                    SlotStep::Again
                }
                Ok(true) if !R::read_back() => SlotStep::Stored,
                Ok(true) => {
                    self.phase = Phase::ReadBack;
                    SlotStep::Again
                }
                Ok(false) if now.since_us(since) < PROGRAM_LIMIT_US => {
                    SlotStep::Pause(POLL_PAUSE_US)
                }
                Ok(false) => SlotStep::Failed(MediumError::NoAnswer),
                Err(error) => SlotStep::Failed(error),
            },
            Phase::ReadBack => match holds(medium, self.address, record, back) {
                Ok(true) => SlotStep::Stored,
                Ok(false) => SlotStep::Differs,
                Err(error) => SlotStep::Failed(error),
            },
        }
    }
}

/// Whether the slot at `address` has the header of `record`: what a broken board looks at.
fn seems_held<M: Medium>(medium: &mut M, address: u32, record: &Record, back: &mut Record) -> bool {
    medium.read(address, back).is_ok() && back[..HEADER_BYTES] == record[..HEADER_BYTES]
}

/// Whether the part holds `record` at `address`; what it holds is in `back`. Work: one bus transaction.
///
/// # Errors
/// [`MediumError`] when the part could not be read.
#[inline(never)]
pub fn holds<M: Medium>(
    medium: &mut M,
    address: u32,
    record: &Record,
    back: &mut Record,
) -> Result<bool, MediumError> {
    // Nothing that was read before may pass for an answer.
    *back = [0; RECORD_BYTES];
    medium.read(address, back)?;
    Ok(*back == *record)
}
