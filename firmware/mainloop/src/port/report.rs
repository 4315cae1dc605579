//! The report that answers `state` at the service port: one `name value` a line.
//!
//! Its figures are the lifetime's, as counted at the moment the line is made. Those after
//! `durable` are what a power cut at that moment would leave.

use core::fmt::Write;

use shaftbook_core::board::Board;
use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::time::Instant;
use shaftbook_panel::state::Build;

use super::Line;
use crate::rules::LoopRules;

/// A report under way: the number of its next line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PortReport(u8);

/// Lines before the needles'.
const HEAD: u8 = 15;
const NEEDLES: u8 = NEEDLES_MAX as u8;
/// Lines before the faults'.
const FAULTS: u8 = HEAD + 2 * NEEDLES;

impl PortReport {
    /// A report from its first line on.
    #[must_use]
    pub const fn new() -> Self {
        Self(0)
    }

    /// The next line, and the report after it; `None` when that was the last.
    #[must_use]
    pub fn line<R: LoopRules>(
        self,
        board: &Board<R>,
        now: Instant,
        build: Build,
    ) -> (Line, Option<Self>) {
        let mut line = Line::new();
        let lifetime = board.lifetime(now);
        let written = if self.0 < HEAD {
            head(&mut line, self.0, board, lifetime.as_ref(), now, build)
        } else if self.0 < FAULTS {
            needle(&mut line, self.0 - HEAD, lifetime.as_ref())
        } else if let Some(fault) = board.faults().iter().nth(usize::from(self.0 - FAULTS)) {
            write!(line, "fault {}", fault.number())
        } else {
            let _ = line.push_str("end");
            return (line, None);
        };
        // Every line is far shorter than `Line`; one that is not is left out.
        if written.is_err() {
            line.clear();
        }
        (line, Some(Self(self.0 + 1)))
    }
}

fn head<R: LoopRules>(
    line: &mut Line,
    number: u8,
    board: &Board<R>,
    lifetime: Option<&Counters>,
    now: Instant,
    build: Build,
) -> core::fmt::Result {
    let counted = lifetime.copied().unwrap_or_default();
    match number {
        0 => write!(line, "version {}", build.version),
        1 => match build.hash {
            Some(hash) => write!(line, "hash {hash:08x}"),
            None => write!(line, "hash ?"),
        },
        2 => write!(line, "board {:016X} {}", board.id().0, R::tag(board.id())),
        3 => write!(line, "up_ms {}", now.as_us() / 1_000),
        4 => write!(line, "ready {}", u8::from(board.is_ready())),
        5 => write!(line, "known {}", u8::from(lifetime.is_some())),
        6 if !R::port_tells_what_it_names() => write!(line, "powered_ms {}", counted.running_ms),
        6 => write!(line, "powered_ms {}", counted.powered_ms),
        7 => write!(line, "running_ms {}", counted.running_ms),
        8 => write!(line, "stitches {}", counted.stitches()),
        9 => write!(
            line,
            "unattributed {} {}",
            counted.unattributed_stitches, counted.unattributed_breaks
        ),
        10 => write!(line, "jumps {}", counted.jumps),
        11 => write!(line, "trims {}", counted.trims),
        12 => write!(line, "power_ups {}", counted.power_ups),
        13 => write!(line, "rejected {} missed {}", counted.glitches, counted.missed_edges),
        _ => durable(line, board.saved()),
    }
}

/// What a power cut now would leave: `durable`, stitches, trims, running and powered ms.
pub(super) fn durable(line: &mut Line, saved: &Counters) -> core::fmt::Result {
    let (stitches, trims) = (saved.stitches(), saved.trims);
    write!(line, "durable {stitches} {trims} {} {}", saved.running_ms, saved.powered_ms)
}

/// Stitches of the needles, then their breaks.
fn needle(line: &mut Line, number: u8, lifetime: Option<&Counters>) -> core::fmt::Result {
    let counted = lifetime.copied().unwrap_or_default();
    let place = usize::from(number % NEEDLES);
    if number < NEEDLES {
        let stitches = counted.needle_stitches.get(place).copied().unwrap_or(0);
        write!(line, "needle {} {stitches}", place + 1)
    } else {
        let breaks = counted.needle_breaks.get(place).copied().unwrap_or(0);
        write!(line, "breaks {} {breaks}", place + 1)
    }
}
