//! The screen of all counters: first those measured over the lifetime, then what a person
//! stated.

use super::{Content, Foot, Row};
use crate::number::{COUNT_DIGITS, HOURS_DIGITS, Line, add, rolling};
use crate::rules::PanelRules;
use crate::state::State;
use crate::text::Words;

/// Measured counters.
const MEASURED: usize = 10;

/// Lines of the list.
pub(super) fn lines<R: PanelRules>(state: &State<'_, R>) -> usize {
    match state.machine.lifetime {
        None => 0,
        Some(_) if is_stated(state) => MEASURED + 4,
        Some(_) => MEASURED,
    }
}

fn is_stated<R: PanelRules>(state: &State<'_, R>) -> bool {
    let stated = &state.machine.ledger.carried_in;
    stated.hours != 0 || stated.stitches != 0 || stated.trims != 0
}

#[inline(never)]
pub(super) fn content<R: PanelRules>(
    chosen: Option<u8>,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    let Some(lifetime) = &state.machine.lifetime else {
        return Content::rows(words.counters, [Row::text(words.not_known)], None);
    };
    let foot = if chosen.is_some() { None } else { Some(Foot::Tap(words.act_browse)) };
    let stated = &state.machine.ledger.carried_in;
    let count = |name: &str, value: u64| {
        let mut figure = Line::new();
        rolling(&mut figure, value, COUNT_DIGITS, words.separator);
        // A rolled-over figure is as wide as the screen: its name gets shorter. One column
        // is the bar's.
        let room = crate::text::COLUMNS.saturating_sub(figure.chars().count() + 2);
        let short: Line = name.chars().take(room).collect();
        Row::pair(&short, figure)
    };
    let hours = |name: &str, h: u64| {
        let mut figure = Line::new();
        rolling(&mut figure, h, HOURS_DIGITS, words.separator);
        add(&mut figure, " ");
        add(&mut figure, words.h);
        Row::pair(name, figure)
    };
    Content::list(words.counters, lines(state), chosen, foot, |n| match n {
        0 => count(words.stitches, lifetime.stitches()),
        1 => count(words.trims, lifetime.trims),
        2 => count(words.breaks, lifetime.breaks().into()),
        3 => hours(words.running, lifetime.running_ms / 3_600_000),
        4 => hours(words.powered, lifetime.powered_ms / 3_600_000),
        5 => count(words.jumps, lifetime.jumps),
        6 => count(words.power_ups, lifetime.power_ups.into()),
        7 => count(words.unattributed, lifetime.unattributed_stitches),
        8 => count(words.glitches, lifetime.glitches.into()),
        9 => count(words.missed_edges, lifetime.missed_edges.into()),
        10 => Row::text(words.stated),
        11 => hours(words.powered, stated.hours.into()),
        12 => count(words.stitches, stated.stitches),
        _ => count(words.trims, stated.trims.into()),
    })
}
