//! The screen about the board itself: measured and stated hours apart, identity, memory,
//! version and hash.

use core::fmt::Write;

use super::{Content, Foot, Row};
use crate::number::{HOURS_DIGITS, Line, compact, grouped, line, rolling};
use crate::rules::PanelRules;
use crate::state::State;
use crate::text::{FIGURE_COLUMNS, NAME_COLUMNS, Words};

/// Lines of the list.
pub(super) const LINES: usize = 9;

#[inline(never)]
pub(super) fn content<R: PanelRules>(
    chosen: Option<u8>,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    let foot = Some(Foot::Hold(words.hold_language));
    Content::list(words.about, LINES, chosen, foot, |n| row(n, words, state))
}

fn row<R: PanelRules>(n: usize, words: &Words, state: &State<'_, R>) -> Row {
    let mut figure = Line::new();
    let hours = |figure: &mut Line, h: u64| {
        rolling(figure, h, HOURS_DIGITS, words.separator);
        let _ = write!(figure, " {}", words.h);
    };
    // Cannot fail: a line has room for each figure.
    let name = match n {
        0 => {
            let _ = write!(figure, "{}", R::tag(state.machine.id));
            words.board
        }
        1 => {
            match &state.machine.lifetime {
                Some(lifetime) => {
                    let stated =
                        if R::stated_apart() { 0 } else { state.machine.ledger.carried_in.hours };
                    hours(&mut figure, lifetime.powered_ms / 3_600_000 + u64::from(stated));
                }
                None => figure = line("?"),
            }
            words.measured
        }
        2 => {
            hours(&mut figure, state.machine.ledger.carried_in.hours.into());
            words.stated_hours
        }
        3 => {
            grouped(&mut figure, state.memory.retired_slots.into(), words.separator);
            words.retired
        }
        4 => {
            compact(&mut figure, state.memory.laps.into(), words.separator, words.decimal);
            words.laps
        }
        5 => {
            figure = line(state.build.version);
            // A release's version ends with its commit and takes the line for itself.
            if words.version.chars().count() + figure.len() < NAME_COLUMNS + FIGURE_COLUMNS {
                words.version
            } else {
                ""
            }
        }
        6 => {
            match state.build.hash {
                Some(hash) => {
                    let _ = write!(figure, "{hash:08x}");
                }
                None => figure = line("?"),
            }
            words.hash
        }
        7 => {
            figure = line(words.language);
            words.language_label
        }
        _ => {
            let _ = write!(figure, "{:016X}", state.machine.id.0);
            words.identity
        }
    };
    Row::pair(name, figure)
}
