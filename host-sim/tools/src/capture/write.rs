//! Writes a simulation's events as a capture for which `shaftbook replay` gives the same
//! counts.
//!
//! The timescale is 1 µs, the simulation's own. The variables, all active high, are [`POWER`],
//! [`SHAFT`], [`TRIM`], [`THREAD_BREAK`], [`JUMP`], [`POWER_FAIL`], the code lines [`NEEDLE`]
//! and the voltage [`NEEDLE_MV`]. A cut puts every line but the needle's to rest.

use std::io::{self, Write};

use shaftbook_core::input::{Input, Level};
use vcd::{IdCode, SimulationCommand, TimescaleUnit, Value, VarType, Writer};

use shaftbook_world::sewing::{SewingEvent, Timed};

/// Supply of the board.
pub const POWER: &str = "power";
/// Main-shaft sensor.
pub const SHAFT: &str = "shaft";
/// Thread trimmer.
pub const TRIM: &str = "trim";
/// Thread break.
pub const THREAD_BREAK: &str = "thread_break";
/// Jump.
pub const JUMP: &str = "jump";
/// Power-fail warning.
pub const POWER_FAIL: &str = "power_fail";
/// Needle code lines, line 0 first.
pub const NEEDLE: [&str; 4] = ["needle0", "needle1", "needle2", "needle3"];
/// Needle-position voltage, mV, 16 bits.
pub const NEEDLE_MV: &str = "needle_mv";

/// A capture being written.
pub struct CaptureWriter<W: Write> {
    writer: Writer<W>,
    power: IdCode,
    /// Shaft, trim, thread break, jump, power fail.
    lines: [IdCode; 5],
    active: [bool; 5],
    needle: [IdCode; 4],
    needle_mv: IdCode,
    now_us: Option<u64>,
}

impl<W: Write> CaptureWriter<W> {
    /// Writes the header and the levels at rest.
    ///
    /// # Errors
    /// Those of `writer`.
    pub fn new(writer: W, comment: &str) -> io::Result<Self> {
        let mut writer = Writer::new(writer);
        writer.comment(&comment.replace('$', ""))?;
        writer.timescale(1, TimescaleUnit::US)?;
        writer.add_module("machine")?;
        let power = writer.add_wire(1, POWER)?;
        let mut lines = [power; 5];
        for (line, name) in lines.iter_mut().zip([SHAFT, TRIM, THREAD_BREAK, JUMP, POWER_FAIL]) {
            *line = writer.add_wire(1, name)?;
        }
        let mut needle = [power; 4];
        for (line, name) in needle.iter_mut().zip(NEEDLE) {
            *line = writer.add_wire(1, name)?;
        }
        let needle_mv = writer.add_var(VarType::Integer, 16, NEEDLE_MV, None)?;
        writer.upscope()?;
        writer.enddefinitions()?;
        writer.begin(SimulationCommand::Dumpvars)?;
        writer.change_scalar(power, false)?;
        for line in lines.into_iter().chain(needle) {
            writer.change_scalar(line, false)?;
        }
        writer.end()?;
        Ok(Self { writer, power, lines, active: [false; 5], needle, needle_mv, now_us: None })
    }

    /// Writes one event; they must come in time order.
    ///
    /// # Errors
    /// Those of the writer.
    pub fn event(&mut self, timed: Timed) -> io::Result<()> {
        self.time(timed.at_us)?;
        match timed.event {
            SewingEvent::PowerUp => self.writer.change_scalar(self.power, true),
            SewingEvent::Cut => {
                self.writer.change_scalar(self.power, false)?;
                for line in 0..self.lines.len() {
                    if self.active[line] {
                        self.line(line, Level::Inactive)?;
                    }
                }
                Ok(())
            }
            SewingEvent::Input(input) => self.input(input),
        }
    }

    fn input(&mut self, input: Input) -> io::Result<()> {
        match input {
            Input::Shaft(level) => self.line(0, level),
            Input::Trim(level) => self.line(1, level),
            Input::ThreadBreak(level) => self.line(2, level),
            Input::Jump(level) => self.line(3, level),
            Input::PowerFail(level) => self.line(4, level),
            Input::NeedleCode(code) => {
                for (bit, line) in self.needle.iter().enumerate() {
                    self.writer.change_scalar(*line, code >> bit & 1 == 1)?;
                }
                Ok(())
            }
            Input::NeedleLevel(mv) => {
                let bits = (0..16).rev().map(|bit| Value::from(mv >> bit & 1 == 1));
                self.writer.change_vector(self.needle_mv, bits)
            }
        }
    }

    fn line(&mut self, line: usize, level: Level) -> io::Result<()> {
        self.active[line] = level.is_active();
        self.writer.change_scalar(self.lines[line], level.is_active())
    }

    fn time(&mut self, at_us: u64) -> io::Result<()> {
        if self.now_us == Some(at_us) {
            return Ok(());
        }
        self.now_us = Some(at_us);
        self.writer.timestamp(at_us)
    }

    /// Writes the end of the capture, as a bare time stamp, and flushes.
    ///
    /// # Errors
    /// Those of the writer.
    pub fn finish(mut self, end_us: u64) -> io::Result<()> {
        self.time(end_us.max(self.now_us.unwrap_or(0)))?;
        self.writer.flush()
    }
}
