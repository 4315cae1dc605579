//! The screen of one component: its wear, what to do, and the caution that belongs to it; then
//! the question whether it was done.

use core::fmt::Write;

use heapless::Vec;
use shaftbook_care::item::{CareItem, item};
use shaftbook_care::outlook::{DaysLeft, days_left};
use shaftbook_core::component::{Measure, Role, Standing};

use super::{Content, Foot, ROWS_MAX, Row, Scroll, name_of};
use crate::number::{Line, add, compact, hours, line};
use crate::rules::PanelRules;
use crate::state::State;
use crate::text::Words;

/// Pages of a component.
pub const PAGES: u8 = 3;

#[inline(never)]
pub(super) fn content<R: PanelRules>(
    place: u8,
    page: u8,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    let Some(item) = item(&state.machine, usize::from(place)) else {
        return Content::rows(words.care, [Row::text(words.not_known)], None);
    };
    let foot = Foot::Hold(match item.component.renewed_by {
        Role::Operator => words.hold_renew,
        Role::Engineer => words.hold_ask,
    });
    let care = words.care_words(item.component.kind);
    let rows: Vec<Row, ROWS_MAX> = match page {
        0 => {
            let head = [Row::pair(words.wear, worn(&item, words)), remaining(&item, words, state)];
            head.into_iter().chain(care.todo.map(Row::text)).collect()
        }
        1 => figures(&item, words, state),
        _ => care.caution.map(Row::text).into_iter().collect(),
    };
    let mut content = Content::rows(&name_of(item.component.kind, words), rows, Some(foot));
    content.scroll = Some(Scroll { first: page, shown: 1, total: PAGES });
    content
}

/// Wear, limit, what is left, and the days that it will last.
fn figures<R: PanelRules>(
    item: &CareItem,
    words: &Words,
    state: &State<'_, R>,
) -> Vec<Row, ROWS_MAX> {
    let with_unit = |value| {
        let mut text = Line::new();
        amount(&mut text, value, item, words);
        add(&mut text, " ");
        add(&mut text, unit(item, words));
        text
    };
    let days = days(item, words, state).unwrap_or_else(|| line("-"));
    let rows = [
        Row::pair(words.wear, with_unit(item.wear)),
        Row::pair(words.limit, with_unit(item.component.due.into())),
        Row::pair(words.left, with_unit(item.remaining())),
        Row::pair(words.due_in, days),
    ];
    rows.into_iter().collect()
}

#[inline(never)]
pub(super) fn confirm<R: PanelRules>(place: u8, words: &Words, state: &State<'_, R>) -> Content {
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
        _ => compact(line, value, words.separator, words.decimal),
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

/// "Left ~12 days", or what is left.
fn remaining<R: PanelRules>(item: &CareItem, words: &Words, state: &State<'_, R>) -> Row {
    if item.standing == Standing::Due {
        return Row { due: true, ..Row::pair(words.left, line(words.due)) };
    }
    let text = days(item, words, state).unwrap_or_else(|| {
        let mut text = Line::new();
        amount(&mut text, item.remaining(), item, words);
        add(&mut text, " ");
        add(&mut text, unit(item, words));
        text
    });
    Row::pair(words.left, text)
}

/// "~12 days", when there is a rate of use to go by.
fn days<R: PanelRules>(item: &CareItem, words: &Words, state: &State<'_, R>) -> Option<Line> {
    let mut text = Line::new();
    // Cannot fail: a line has room for it.
    let _ = match days_left(&state.machine, item)? {
        DaysLeft::Calendar(0) | DaysLeft::OfUse(0) => return Some(line(words.today)),
        DaysLeft::Calendar(days) => write!(text, "~{} {}", days.min(999), words.days),
        DaysLeft::OfUse(days) => write!(text, "~{} {}", days.min(999), words.days_of_use),
    };
    Some(text)
}
