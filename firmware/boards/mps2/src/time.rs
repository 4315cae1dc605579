//! The board's time, which the script makes.
//!
//! Hours of sewing take seconds, and the same script gives the same counts. Time goes on only
//! by sleep, by the bits of bus transactions, and by 1 µs for each look at the timer. It never
//! passes a moment until it is certain that no record comes before that moment.
//!
//! - A record whose moment falls inside a transaction reaches the queue with its own stamp, as
//!   if an interrupt had brought it.
//! - If the next record is not there yet, the processor sleeps until it is, however long that
//!   takes.
//! - At a [`What::Stand`], time stands but the board goes on: it finishes its work and answers
//!   the service port. So a bench can stop the machine, ask, and let it go on.
//!
//! A reset loses what is in the UART, so the sender waits for [`STARTED`] before it sends. For
//! each record taken, one byte [`TAKEN`] goes back; for a stand it goes back only when nothing
//! is left to do. Invariant: this byte is never left out and never early.

use shaftbook_core::input::Input;
use shaftbook_drivers::capture::EdgeProducer;
use shaftbook_mainloop::hardware::ButtonEdge;

use crate::received::Received;
use crate::record::{RECORD_BYTES, Record, What};

/// Sent at the beginning: time is 0, and records are taken from here on (ASCII ENQ).
pub const STARTED: u8 = 0x05;
/// Sent back for each record taken (ASCII ACK).
pub const TAKEN: u8 = 0x06;
/// Sent back for bytes that are no record (ASCII NAK).
const NO_RECORD: u8 = 0x15;

/// The scripted timer.
pub struct ScriptTime {
    now_ns: u64,
    /// Stamp of the record taken last, µs.
    last_us: u64,
    next: Option<Record>,
    /// Time stands, and whether that was told.
    standing: Option<bool>,
    received: Received,
    /// Bytes to send back.
    owed: u32,
    edges: EdgeProducer<'static>,
    presses: EdgeProducer<'static, ButtonEdge>,
    level_mv: Option<u16>,
    /// What the script said last of each digital input, power-fail warning first.
    levels: [Option<Input>; INPUTS],
}

/// Digital inputs of a machine.
const INPUTS: usize = 6;

/// The place of a digital input's level; `None` for the voltage.
const fn place(input: Input) -> Option<usize> {
    match input {
        Input::PowerFail(_) => Some(0),
        Input::NeedleCode(_) => Some(1),
        Input::Shaft(_) => Some(2),
        Input::Trim(_) => Some(3),
        Input::ThreadBreak(_) => Some(4),
        Input::Jump(_) => Some(5),
        Input::NeedleLevel(_) => None,
    }
}

impl ScriptTime {
    /// Time 0, with what the records' changes go to.
    pub fn new(
        received: Received,
        edges: EdgeProducer<'static>,
        presses: EdgeProducer<'static, ButtonEdge>,
    ) -> Self {
        // Nothing was sent before: there is room.
        received.uart().write(STARTED);
        Self {
            now_ns: 0,
            last_us: 0,
            next: None,
            standing: None,
            received,
            owed: 0,
            edges,
            presses,
            level_mv: None,
            levels: [None; INPUTS],
        }
    }

    /// Tells what the script said last of each digital input.
    pub fn tell_levels(&self, tell: impl FnMut(Input)) {
        self.levels.iter().flatten().copied().for_each(tell);
    }

    /// Now, µs since the reset.
    pub fn now_us(&self) -> u64 {
        self.now_ns / 1_000
    }

    /// The last needle-position voltage, mV; `None` before the first.
    pub fn level_mv(&self) -> Option<u16> {
        self.level_mv
    }

    /// `ns` go by.
    pub fn pass(&mut self, ns: u64) {
        let until_ns = self.now_ns + ns;
        while self.standing.is_none() {
            let next = self.wait_for_next();
            let at_ns = self.stamp_us(&next) * 1_000;
            if at_ns > until_ns {
                self.now_ns = until_ns;
                return;
            }
            self.reach(&next);
        }
    }

    /// Sleeps until `until_us`, or the next record; while time stands, until there is a
    /// next record or `is_asked`.
    pub fn sleep(&mut self, until_us: u64, is_asked: impl Fn() -> bool) {
        if self.standing == Some(false) {
            self.owed += 1;
            self.standing = Some(true);
        }
        while self.standing.is_some() {
            if self.peek().is_some() {
                self.standing = None;
            } else if is_asked() {
                return;
            } else {
                self.rest(&is_asked);
            }
        }
        let next = self.wait_for_next();
        if self.stamp_us(&next) <= until_us {
            self.reach(&next);
        } else {
            self.now_ns = self.now_ns.max(until_us * 1_000);
        }
    }

    fn stamp_us(&self, next: &Record) -> u64 {
        self.last_us + u64::from(next.gap_us)
    }

    /// The next record's moment comes.
    fn reach(&mut self, next: &Record) {
        self.last_us = self.stamp_us(next);
        // A record that came while time stood may be late: time does not go back.
        self.now_ns = self.now_ns.max(self.last_us * 1_000);
        self.next = None;
        let tick_us = self.last_us as u32;
        match next.what {
            What::Nothing => {}
            What::Machine(Input::NeedleLevel(mv)) => self.level_mv = Some(mv),
            What::Machine(input) => {
                if let Some(level) = place(input).and_then(|n| self.levels.get_mut(n)) {
                    *level = Some(input);
                }
                self.edges.push(tick_us, input);
            }
            What::Button(button, level) => self.presses.push(tick_us, (button, level)),
            What::Stand => {
                self.standing = Some(false);
                return;
            }
        }
        self.owed += 1;
        self.send_back();
    }

    fn wait_for_next(&mut self) -> Record {
        loop {
            if let Some(next) = self.peek() {
                return next;
            }
            self.rest(&|| false);
        }
    }

    /// The next record, if it is there.
    fn peek(&mut self) -> Option<Record> {
        while self.next.is_none() && self.received.len() >= RECORD_BYTES {
            let bytes = core::array::from_fn(|_| self.received.pop().unwrap_or(0));
            self.next = Record::decode(&bytes);
            if self.next.is_none() {
                self.received.uart().write(NO_RECORD);
            }
        }
        self.next
    }

    fn send_back(&mut self) {
        while self.owed > 0 && self.received.uart().write(TAKEN) {
            self.owed -= 1;
        }
    }

    /// The processor sleeps until an interrupt, unless there is something to do already.
    fn rest(&mut self, is_asked: &impl Fn() -> bool) {
        self.send_back();
        critical_section::with(|_| {
            // Looked at with interrupts masked: what comes now ends the sleep.
            if self.owed == 0 && self.received.len() < RECORD_BYTES && !is_asked() {
                cortex_m::asm::wfi();
            }
        });
    }
}
