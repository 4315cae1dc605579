//! The service port: text lines over a UART, 115,200 baud, 8N1.
//!
//! A person with a terminal, or a test bench, asks for the board's state. The port *tells*; it
//! changes nothing, so it needs no authorisation.
//!
//! | ask | answer |
//! |---|---|
//! | `help` | this list |
//! | `state` | one `name value` a line, the last line `end` ([`report`]) |
//! | `watch` | from now on a line for everything that becomes durable; again: no more |
//!
//! Lines end with LF; a CR before it is ignored. Any other word is answered with `? help`.
//!
//! Invariants: at most one line of a report is made in a step. Nothing waits: a report goes on
//! when there is room for its next line, and any other line that finds no room is left out.

pub mod report;

use core::fmt::Write;

use heapless::{Deque, String};
use shaftbook_core::board::{Board, Effect};
use shaftbook_core::time::Instant;
use shaftbook_panel::state::Build;

use crate::hardware::Hardware;
use crate::rules::LoopRules;
use report::PortReport;

/// Longest line that is sent, its end included.
pub const LINE_MAX: usize = 80;
/// Longest line that is understood.
const ASK_MAX: usize = 16;
/// Bytes waiting to be sent: a few lines.
const OUT_MAX: usize = 512;

/// A line to be sent.
pub type Line = String<LINE_MAX>;

/// The port.
#[derive(Clone, Debug, Default)]
pub struct Port {
    asked: String<ASK_MAX>,
    /// The line that comes in is too long: none of it counts.
    overlong: bool,
    out: Deque<u8, OUT_MAX>,
    report: Option<PortReport>,
    watching: bool,
}

impl Port {
    /// A port at which nothing was said yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            asked: String::new(),
            overlong: false,
            out: Deque::new(),
            report: None,
            watching: false,
        }
    }

    /// Takes what came in. Short; call every turn: what is not taken keeps a board awake.
    pub fn hear<H: Hardware>(&mut self, hardware: &mut H) {
        while let Some(byte) = hardware.port_read() {
            self.take(byte);
        }
    }

    /// Sends what there is room for. Short.
    pub fn send<H: Hardware>(&mut self, hardware: &mut H) {
        while !self.out.is_empty() {
            let sent = hardware.port_write(self.out.as_slices().0);
            if sent == 0 {
                break;
            }
            for _ in 0..sent {
                self.out.pop_front();
            }
        }
    }

    /// Whether bytes are waiting for room.
    #[must_use]
    pub fn is_sending(&self) -> bool {
        !self.out.is_empty()
    }

    /// Whether there is a line to make and room for it.
    #[must_use]
    pub fn has_work(&self) -> bool {
        self.report.is_some() && self.has_room()
    }

    /// Makes the next line of a report under way.
    pub fn step<R: LoopRules>(&mut self, board: &Board<R>, now: Instant, build: Build) {
        let Some(report) = self.report.take() else { return };
        let (line, more) = report.line(board, now, build);
        self.say(&line);
        self.report = more;
    }

    /// Something has happened on the board: a line of it, if they are watched.
    pub fn effect(&mut self, effect: &Effect) {
        if !self.watching {
            return;
        }
        let mut line = Line::new();
        let written = match effect {
            Effect::CheckpointDurable(saved) | Effect::LedgerDurable(saved) => {
                report::durable(&mut line, saved)
            }
            Effect::LifetimeKnown(saved) => write!(line, "known {}", saved.stitches()),
            Effect::Ready => write!(line, "ready"),
            Effect::EntryDurable { number, .. } => write!(line, "entry {}", number.get()),
            Effect::FaultRaised(fault) => write!(line, "fault {}", fault.number()),
            Effect::FaultCleared(fault) => write!(line, "over {}", fault.number()),
            Effect::ReplyRefused => write!(line, "refused"),
        };
        if written.is_ok() && self.has_room() {
            self.say(&line);
        }
    }

    fn take(&mut self, byte: u8) {
        match byte {
            b'\n' => {
                if !core::mem::take(&mut self.overlong) {
                    self.answer();
                }
                self.asked.clear();
            }
            b'\r' => {}
            _ => {
                let printable = char::from(if byte.is_ascii_graphic() { byte } else { b' ' });
                self.overlong |= self.asked.push(printable).is_err();
            }
        }
    }

    fn answer(&mut self) {
        match self.asked.trim() {
            "" => {}
            "state" => self.report = Some(PortReport::new()),
            "watch" => {
                self.watching = !self.watching;
                self.short(if self.watching { "watching" } else { "not watching" });
            }
            "help" => self.short("state: all figures; watch: what becomes durable; help"),
            _ => self.short("? help"),
        }
    }

    fn short(&mut self, text: &str) {
        if self.has_room() {
            self.say(text);
        }
    }

    fn has_room(&self) -> bool {
        OUT_MAX - self.out.len() > LINE_MAX
    }

    /// Puts a line out; there is room.
    fn say(&mut self, line: &str) {
        for byte in line.bytes().chain([b'\n']) {
            let _ = self.out.push_back(byte);
        }
    }
}
