//! Reads a capture as the events a board sees.
//!
//! Invariants: events come in time order; every error names the file and the line;
//! nothing of the file is kept but the step of time being read.

use std::collections::VecDeque;
use std::io::{BufRead, Chain, Cursor};

use shaftbook_core::input::{Input, Level};
use shaftbook_core::settings::Settings;
use vcd::{Command, IdCode, Parser, Value};

use super::header;
use super::read_error::{read_error, wrong};
use super::scale::Scale;
use super::signals::{self, Names, SignalLine, Used};
use shaftbook_world::input_error::InputError;
use shaftbook_world::sewing::{SewingEvent, Timed};

/// Bit of `Capture::changed` for any needle code line.
const CODE_CHANGED: u32 = 1 << 31;

/// What was seen in a capture besides its events.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Seen {
    /// Values of used signals that were unknown (`x` or `z`).
    pub unknown_values: u64,
    /// Time of the first and the last time stamp, µs.
    pub begin_us: u64,
    /// See [`Seen::begin_us`].
    pub end_us: u64,
}

/// A capture being read: an iterator of events.
pub struct CaptureReader<R> {
    name: String,
    parser: Parser<Chain<R, Cursor<&'static [u8]>>>,
    /// Line of the last whole command.
    line: u64,
    scale: Scale,
    used: Vec<Used>,
    level_unit_mv: f64,
    shaft_debounce_us: u64,
    /// Last known level of each used signal (code lines: value of their bits).
    known: Vec<Option<u8>>,
    /// Signals that changed in this step of time, by index; and [`CODE_CHANGED`].
    changed: u32,
    last_level_mv: Option<u16>,
    powered: bool,
    /// Whether the supply is one of the signals.
    supply_is_recorded: bool,
    ticks: Option<u64>,
    now_us: u64,
    step: VecDeque<Timed>,
    seen: Seen,
    is_over: bool,
}

impl<R: BufRead> CaptureReader<R> {
    /// Reads the header of capture `name` and finds the signals.
    ///
    /// # Errors
    /// A header that is malformed or cut short, a signal that is not there, a
    /// timescale too coarse for the pulses of `settings`.
    pub fn open(
        name: &str,
        reader: R,
        names: &Names,
        settings: &Settings,
    ) -> Result<Self, InputError> {
        // The parser wants white space after the last time stamp.
        let mut parser = Parser::new(reader.chain(Cursor::new(b"\n".as_slice())));
        let header = header::read(name, &mut parser)?;
        let place = format!("{name}:{}", parser.line());
        let scale = match header.timescale {
            None => return Err(InputError::new(place, "the header has no $timescale")),
            Some((count, unit)) => Scale::new(count, unit)
                .ok_or_else(|| InputError::new(&place, "a $timescale of 0"))?,
        };
        let longest_us = Scale::longest_us(settings);
        if scale.is_longer_than_us(longest_us) {
            let what = format!(
                "the timescale of {scale} cannot resolve the shaft pulses: at {} rev/min and {} \
                 pulses per revolution it must be at most {longest_us} us",
                settings.top_speed_rpm, settings.pulses_per_revolution
            );
            return Err(InputError::new(place, what));
        }
        let used = signals::find(&header.variables, names, name)?;
        let supply_is_recorded = used.iter().any(|u| u.line == SignalLine::Power);
        Ok(Self {
            name: name.to_owned(),
            line: parser.line(),
            parser,
            scale,
            known: vec![None; used.len()],
            used,
            level_unit_mv: if names.level_in_volts { 1_000.0 } else { 1.0 },
            shaft_debounce_us: settings.shaft_debounce_us.into(),
            changed: 0,
            last_level_mv: None,
            powered: false,
            supply_is_recorded,
            ticks: None,
            now_us: 0,
            step: VecDeque::new(),
            seen: Seen::default(),
            is_over: false,
        })
    }

    /// What was seen so far; complete when the iterator has ended.
    pub fn seen(&self) -> Seen {
        self.seen
    }

    /// Reads on until at least one event is ready or the capture is over.
    fn read_on(&mut self) -> Result<(), InputError> {
        while self.step.is_empty() && !self.is_over {
            match self.parser.next() {
                None => {
                    self.end_step();
                    self.is_over = true;
                }
                Some(Err(e)) => return Err(read_error(&self.name, self.line, &e, "value changes")),
                Some(Ok(command)) => {
                    self.line = self.parser.line();
                    self.command(command)?;
                }
            }
        }
        Ok(())
    }

    fn command(&mut self, command: Command) -> Result<(), InputError> {
        match command {
            Command::Timestamp(ticks) => self.timestamp(ticks),
            Command::ChangeScalar(code, value) => self.change(code, &[value]),
            Command::ChangeVector(code, vector) => {
                let values: Vec<Value> = vector.iter().collect();
                self.change(code, &values)
            }
            Command::ChangeReal(code, value) => {
                if self.used.iter().any(|u| u.code == code && u.line == SignalLine::Level) {
                    self.level(value);
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn timestamp(&mut self, ticks: u64) -> Result<(), InputError> {
        if let Some(before) = self.ticks
            && ticks < before
        {
            return self.wrong(format!("time goes back from #{before} to #{ticks}"));
        }
        let Some(us) = self.scale.us(ticks) else {
            return self.wrong(format!("time #{ticks} is out of range"));
        };
        if self.ticks != Some(ticks) {
            self.end_step();
        }
        if self.ticks.is_none() {
            self.seen.begin_us = us;
        }
        self.ticks = Some(ticks);
        self.now_us = us;
        self.seen.end_us = us;
        if !self.supply_is_recorded && !self.powered {
            self.power(true);
        }
        Ok(())
    }

    /// All changes of one time are known: the code lines are read together.
    fn end_step(&mut self) {
        if std::mem::take(&mut self.changed) & CODE_CHANGED != 0
            && self.powered
            && let Some(code) = self.code()
        {
            self.step.push_back(Timed::input(self.now_us, Input::NeedleCode(code)));
        }
    }

    /// The needle code, if it is wired and every line is known.
    fn code(&self) -> Option<u8> {
        let mut code = None;
        for (used, known) in self.used.iter().zip(&self.known) {
            if let SignalLine::Code(bit) = used.line {
                code = Some(code.unwrap_or(0) | (*known)? << bit);
            }
        }
        code
    }

    fn change(&mut self, code: IdCode, values: &[Value]) -> Result<(), InputError> {
        for index in 0..self.used.len() {
            let used = self.used[index];
            if used.code != code {
                continue;
            }
            let Some(number) = number_of(values) else {
                self.seen.unknown_values += 1;
                continue;
            };
            if used.line == SignalLine::Level {
                #[allow(clippy::cast_precision_loss)] // A voltage.
                self.level(number as f64);
                continue;
            }
            let mask = (1 << used.bits) - 1_u64;
            let bits = (if used.active_low { !number } else { number } & mask) as u8;
            self.digital(index, used.line, bits)?;
        }
        Ok(())
    }

    fn digital(&mut self, index: usize, line: SignalLine, bits: u8) -> Result<(), InputError> {
        let before = self.known[index].replace(bits);
        if let SignalLine::Code(_) = line {
            self.changed |= CODE_CHANGED;
            return Ok(());
        }
        if before == Some(bits) {
            return Ok(());
        }
        let input = match line {
            SignalLine::Shaft => Input::Shaft,
            SignalLine::Trim => Input::Trim,
            SignalLine::ThreadBreak => Input::ThreadBreak,
            SignalLine::Jump => Input::Jump,
            SignalLine::PowerFail => Input::PowerFail,
            SignalLine::Power => {
                self.power(bits == 1);
                return Ok(());
            }
            SignalLine::Code(_) | SignalLine::Level => return Ok(()),
        };
        self.one_change_a_step(index, before.is_some())?;
        let is_level = matches!(line, SignalLine::Jump | SignalLine::PowerFail);
        if self.powered && (before.is_some() || (is_level && bits == 1)) {
            let level = Level::from_bool(bits == 1);
            self.step.push_back(Timed::input(self.now_us, input(level)));
        }
        Ok(())
    }

    /// Two changes of a line at one time are a pulse shorter than a tick: no matter if
    /// the board ignores such a pulse anyway, else the capture is too coarse.
    fn one_change_a_step(&mut self, index: usize, is_edge: bool) -> Result<(), InputError> {
        let bit = 1 << index;
        if is_edge
            && self.changed & bit != 0
            && self.scale.is_longer_than_us(self.shaft_debounce_us)
        {
            return self.wrong(format!(
                "a signal changes twice at one time: the timescale of {} is too coarse for it",
                self.scale
            ));
        }
        if is_edge {
            self.changed |= bit;
        }
        Ok(())
    }

    fn level(&mut self, value: f64) {
        let mv = value * self.level_unit_mv;
        if !mv.is_finite() {
            self.seen.unknown_values += 1;
            return;
        }
        #[allow(clippy::cast_sign_loss)] // Clamped.
        let mv = mv.clamp(0.0, 65_535.0).round() as u16;
        self.last_level_mv = Some(mv);
        if self.powered {
            self.step.push_back(Timed::input(self.now_us, Input::NeedleLevel(mv)));
        }
    }

    fn power(&mut self, on: bool) {
        if on == self.powered {
            return;
        }
        self.powered = on;
        let event = if on { SewingEvent::PowerUp } else { SewingEvent::Cut };
        self.step.push_back(Timed::new(self.now_us, event));
        if !on {
            return;
        }
        // What the board reads when it starts.
        self.changed |= CODE_CHANGED;
        if let Some(mv) = self.last_level_mv {
            self.step.push_back(Timed::input(self.now_us, Input::NeedleLevel(mv)));
        }
        for (used, known) in self.used.iter().zip(&self.known) {
            let input = match used.line {
                SignalLine::Jump => Input::Jump,
                SignalLine::PowerFail => Input::PowerFail,
                _ => continue,
            };
            if *known == Some(1) {
                self.step.push_back(Timed::input(self.now_us, input(Level::Active)));
            }
        }
    }

    fn wrong<T>(&self, what: String) -> Result<T, InputError> {
        wrong(&self.name, self.line, what)
    }
}

impl<R: BufRead> Iterator for CaptureReader<R> {
    type Item = Result<Timed, InputError>;

    fn next(&mut self) -> Option<Self::Item> {
        if let Err(error) = self.read_on() {
            self.is_over = true;
            self.step.clear();
            return Some(Err(error));
        }
        self.step.pop_front().map(Ok)
    }
}

/// The number the bits stand for, most significant first; `None` if one is unknown.
fn number_of(values: &[Value]) -> Option<u64> {
    values.iter().try_fold(0_u64, |number, value| match value {
        Value::V0 => Some(number << 1),
        Value::V1 => Some(number << 1 | 1),
        Value::X | Value::Z => None,
    })
}

#[cfg(test)]
mod tests;
