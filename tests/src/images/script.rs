//! A scenario as the script of the QEMU image, with the truth beside each record.
//!
//! The record format is described in `firmware/boards/mps2/src/record.rs`; this is written
//! from that description, apart from the image's code.
//!
//! Invariant: `truth[n]` has truly happened when record `n` comes, or (with signals that
//! are distorted) the undisturbed event after it at most.

use shaftbook_core::counters::Counters;
use shaftbook_core::input::{Input, Level};
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::truth::Truth;
use shaftbook_world::sewing::{Sewing, SewingEvent};

/// Bytes of a record.
pub const RECORD_BYTES: usize = 8;
/// What the bytes of a record add up to, modulo 256.
const SUM: u8 = 0xA5;
/// Between power-up and the machine's first event, µs: the board starts, and is asked.
pub const LEAD_US: u64 = 2_000_000;
/// When the board stands to be asked, µs after power-up.
const ASKED_AT_US: u64 = 1_000_000;
/// Records that only let time pass, while the board starts, and µs between them.
const START_RECORDS: u64 = 100;
const START_GAP_US: u64 = 2_000;

/// What a record says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Time goes on.
    Nothing,
    /// A change at the machine.
    Machine(Input),
    /// Time stands until the next record.
    Stand,
}

/// A script from a power-up on.
#[derive(Clone, Debug, Default)]
pub struct Script {
    bytes: Vec<u8>,
    stamps_us: Vec<u64>,
    truth: Vec<Truth>,
    /// Records up to and with the stand at which the board is asked.
    pub asked_after: usize,
}

impl Script {
    /// A script of nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The first power-up of `scenario` with `seed`, to its cut. The board starts, stands
    /// to be asked, and after [`LEAD_US`] the machine begins; at the cut it stands again.
    ///
    /// # Panics
    /// When the scenario does not begin with a power-up.
    #[must_use]
    pub fn of(scenario: &Scenario, seed: u64) -> Self {
        let mut script = Self::new();
        for n in 1..=START_RECORDS {
            script.push(n * START_GAP_US, What::Nothing, Truth::default());
        }
        script.push(ASKED_AT_US, What::Stand, Truth::default());
        script.asked_after = script.len();
        let mut sewing = Sewing::new(scenario, seed);
        let on = sewing.next().expect("a scenario has events");
        assert_eq!(on.event, SewingEvent::PowerUp, "the supply comes first");
        while let Some(timed) = sewing.next() {
            let at_us = timed.at_us - on.at_us + LEAD_US;
            let what = match timed.event {
                SewingEvent::Input(input) => What::Machine(input),
                SewingEvent::Cut | SewingEvent::PowerUp => What::Stand,
            };
            script.push(at_us, what, sewing.truth());
            if what == What::Stand {
                break;
            }
        }
        script
    }

    /// Adds a record at `at_us` µs after the power-up; `truth` has happened then.
    pub fn push(&mut self, at_us: u64, what: What, truth: Truth) {
        let gap_us = at_us - self.stamps_us.last().copied().unwrap_or(0);
        self.bytes.extend(record(gap_us as u32, what));
        self.stamps_us.push(at_us);
        self.truth.push(truth);
    }

    /// Adds a stand at `at_us` µs after the power-up; nothing has happened.
    pub fn stand_at(&mut self, at_us: u64) {
        self.push(at_us, What::Stand, Truth::default());
    }

    /// Records.
    #[must_use]
    pub fn len(&self) -> usize {
        self.stamps_us.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.stamps_us.is_empty()
    }

    /// The bytes of records `range`, counted from 0.
    #[must_use]
    pub fn bytes(&self, range: std::ops::Range<usize>) -> &[u8] {
        &self.bytes[range.start * RECORD_BYTES..range.end * RECORD_BYTES]
    }

    /// The most that can have happened when `count` records were taken.
    #[must_use]
    pub fn most(&self, count: usize) -> Counters {
        self.at(count, |n| self.truth[n])
    }

    /// The least that has happened when `count` records were taken.
    #[must_use]
    pub fn least(&self, count: usize) -> Counters {
        // The truth may be one event ahead: that before its last change.
        self.at(count, |n| {
            let last = self.truth[n];
            let earlier = self.truth[..n].iter().rev().find(|t| counted(t) != counted(&last));
            earlier.copied().unwrap_or_default()
        })
    }

    fn at(&self, count: usize, truth: impl Fn(usize) -> Truth) -> Counters {
        let Some(n) = count.checked_sub(1) else { return Counters::default() };
        let powered_ms = self.stamps_us[n] / 1_000;
        Counters { powered_ms, power_ups: 1, ..truth(n).counters() }
    }
}

/// `count` stitches at 600 a minute, then a stand of the time in which they become durable:
/// a script that goes on where another stood. Its truth is left empty.
#[must_use]
pub fn pulses(count: u64) -> Script {
    const GAP_US: u64 = 100_000;
    const CALM_US: u64 = 65_000_000;
    let mut script = Script::new();
    for n in 1..=count {
        for (after_us, level) in [(0, Level::Active), (30_000, Level::Inactive)] {
            let input = Input::Shaft(level);
            script.push(n * GAP_US + after_us, What::Machine(input), Truth::default());
        }
    }
    script.stand_at(count * GAP_US + CALM_US);
    script
}

/// What is counted at the machine: the truth without the time that is always passing.
fn counted(truth: &Truth) -> Truth {
    Truth { powered_us: 0, ..*truth }
}

fn record(gap_us: u32, what: What) -> [u8; RECORD_BYTES] {
    let (kind, value) = match what {
        What::Nothing => (0, 0),
        What::Machine(Input::Shaft(level)) => (1, level.is_active().into()),
        What::Machine(Input::Trim(level)) => (2, level.is_active().into()),
        What::Machine(Input::ThreadBreak(level)) => (3, level.is_active().into()),
        What::Machine(Input::Jump(level)) => (4, level.is_active().into()),
        What::Machine(Input::NeedleCode(code)) => (5, code.into()),
        What::Machine(Input::NeedleLevel(mv)) => (6, mv),
        What::Machine(Input::PowerFail(level)) => (7, level.is_active().into()),
        What::Stand => (11, 0_u16),
    };
    let mut bytes = [0; RECORD_BYTES];
    bytes[0] = kind;
    bytes[1..3].copy_from_slice(&value.to_le_bytes());
    bytes[3..7].copy_from_slice(&gap_us.to_le_bytes());
    bytes[7] = bytes.iter().fold(SUM, |sum, byte| sum.wrapping_sub(*byte));
    bytes
}
