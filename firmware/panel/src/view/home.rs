//! The first screen: hours since service, lifetime hours, what is due next.

use core::fmt::Write;

use shaftbook_care::item::most_pressing;
use shaftbook_care::outlook::{DaysLeft, days_left};
use shaftbook_core::component::Standing;

use super::{Body, Content, Row, interval_s, name_of, service_is_due};
use crate::number::{HOURS_DIGITS, Line, add, hours, line, rolling};
use crate::rules::PanelRules;
use crate::state::State;
use crate::text::{COLUMNS, Words};

#[inline(never)]
pub(super) fn content<R: PanelRules>(words: &Words, state: &State<'_, R>) -> Content {
    let settings = &state.machine.ledger.settings;
    let (mut figure, mut permille) = (line("?"), 0);
    let since_service = interval_s(state).map(|s| match &state.machine.lifetime {
        Some(lifetime) if !R::home_since_service() => lifetime.powered_ms / 1_000,
        _ => s,
    });
    if let Some(s) = since_service {
        figure.clear();
        hours(&mut figure, s, words.separator, words.decimal);
        let limit_s = u64::from(settings.service_interval_h) * 3_600;
        permille = (s.saturating_mul(1_000) / limit_s.max(1)).min(1_000) as u16;
    }
    let mut beside = line(words.of);
    // Cannot fail: the line has room for it.
    let _ = write!(beside, " {} {}", settings.service_interval_h, words.h);
    let below = [lifetime(words, state), next(words, state)];
    Content::new(words.home, Body::Home { figure, beside, permille, below }, None)
}

fn lifetime<R: PanelRules>(words: &Words, state: &State<'_, R>) -> Row {
    let Some(lifetime) = &state.machine.lifetime else { return Row::text(words.not_known) };
    let mut figure = Line::new();
    rolling(&mut figure, lifetime.powered_ms / 3_600_000, HOURS_DIGITS, words.separator);
    add(&mut figure, " ");
    add(&mut figure, words.h);
    Row::pair(words.lifetime, figure)
}

/// What is due next.
fn next<R: PanelRules>(words: &Words, state: &State<'_, R>) -> Row {
    if service_is_due(state) {
        let row = Row::pair(words.service_name, line(words.due));
        return Row { due: true, ..row };
    }
    let Some(item) = most_pressing(&state.machine) else { return Row::text(words.nothing_due) };
    let name = name_of(item.component.kind, words);
    if item.standing == Standing::Due {
        return Row { due: true, ..Row::pair(&name, line(words.due)) };
    }
    let mut when = Line::new();
    let (days, unit) = match days_left(&state.machine, &item) {
        Some(DaysLeft::Calendar(0) | DaysLeft::OfUse(0)) => {
            return Row::pair(&name, line(words.today));
        }
        Some(DaysLeft::Calendar(days)) => (days, words.days),
        Some(DaysLeft::OfUse(days)) => (days, words.days_of_use),
        None => (0, ""),
    };
    // Cannot fail: a line has room for it.
    let _ = write!(when, "{} {unit}", days.min(999));
    let columns = name.chars().count() + 1 + when.chars().count();
    if unit.is_empty() || columns > COLUMNS {
        when.clear();
        let _ = write!(when, "{} %", item.permille() / 10);
    }
    Row::pair(&name, when)
}
