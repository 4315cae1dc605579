//! One component: its wear, what to do, the caution that belongs to it, and the
//! question whether it was done.

use core::fmt::Write;

use heapless::Vec;
use shaftbook_care::item::{CareItem, item};
use shaftbook_care::outlook::{DaysLeft, days_left};
use shaftbook_core::component::{Measure, Role};

use super::{Content, Foot, ROWS_MAX, Row, name_of};
use crate::number::{Line, add, compact, hours, line};
use crate::state::State;
use crate::text::Words;

pub(super) fn content(place: u8, page: u8, words: &Words, state: &State<'_>) -> Content {
    let Some(item) = item(&state.machine, usize::from(place)) else {
        return Content::rows(words.care, [Row::text(words.not_known)], None);
    };
    let foot = Foot::Hold(match item.component.renewed_by {
        Role::Operator => words.hold_renew,
        Role::Engineer => words.hold_ask,
    });
    let care = words.care_words(item.component.kind);
    let rows: Vec<Row, ROWS_MAX> = if page == 0 {
        let mut rows = Vec::new();
        let _ = rows.push(Row::pair(words.wear, worn(&item, words)));
        let _ = rows.push(remaining(&item, words, state));
        rows.extend(care.todo.map(Row::text));
        rows
    } else {
        care.caution.map(Row::text).into_iter().collect()
    };
    Content::rows(&name_of(item.component.kind, words), rows, Some(foot))
}

pub(super) fn confirm(place: u8, words: &Words, state: &State<'_>) -> Content {
    let Some(item) = item(&state.machine, usize::from(place)) else {
        return Content::rows(words.care, [Row::text(words.not_known)], None);
    };
    let name = name_of(item.component.kind, words);
    let care = words.care_words(item.component.kind);
    let rows = [Row::text(&name), Row::text(care.todo[0]), Row::text(care.todo[1])];
    Content::rows(words.confirm, rows, Some(Foot::Hold(words.hold_confirm)))
}

/// A limit or a wear in the component's unit, without the unit.
fn amount(line: &mut Line, value: u64, item: &CareItem, words: &Words) {
    match item.component.measure {
        Measure::Powered | Measure::Running => {
            hours(line, value, words.separator, words.decimal);
        }
        _ => compact(line, value, words.separator),
    }
}

fn unit<'w>(item: &CareItem, words: &'w Words) -> &'w str {
    let [h, stitches, trims, power_ups, days] = words.units;
    match item.component.measure {
        Measure::Powered | Measure::Running => h,
        Measure::Stitches | Measure::NeedleStitches(_) => stitches,
        Measure::Trims => trims,
        Measure::PowerUps => power_ups,
        Measure::Days => days,
    }
}

/// "812 stitches".
fn worn(item: &CareItem, words: &Words) -> Line {
    let mut text = Line::new();
    amount(&mut text, item.wear, item, words);
    let _ = write!(text, " {}", unit(item, words));
    text
}

/// "Left ~12 days".
fn remaining(item: &CareItem, words: &Words, state: &State<'_>) -> Row {
    if item.remaining() == 0 {
        return Row { due: true, ..Row::pair(words.left, line(words.due)) };
    }
    let mut text = Line::new();
    match days_left(&state.machine, item) {
        Some(DaysLeft::Calendar(0) | DaysLeft::OfUse(0)) => text = line(words.today),
        Some(DaysLeft::Calendar(days)) => {
            let _ = write!(text, "~{} {}", days.min(999), words.days);
        }
        Some(DaysLeft::OfUse(days)) => {
            let _ = write!(text, "~{} {}", days.min(999), words.days_of_use);
        }
        None => {
            amount(&mut text, item.remaining(), item, words);
            add(&mut text, " ");
            add(&mut text, unit(item, words));
        }
    }
    Row::pair(words.left, text)
}
