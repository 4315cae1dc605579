//! The journal: the newest entries, newest first.

use core::fmt::Write;

use chrono::{Datelike, Days, NaiveDate};
use shaftbook_core::ledger::HistoryLine;

use super::{Content, Foot, Row};
use crate::number::{Line, hours};
use crate::state::State;
use crate::text::Words;

pub(super) fn content(chosen: Option<u8>, words: &Words, state: &State<'_>) -> Content {
    let history = &state.machine.ledger.history;
    if history.is_empty() {
        return Content::rows(words.journal, [Row::text(words.no_entries)], None);
    }
    let foot = if chosen.is_some() { None } else { Some(Foot::Tap(words.act_browse)) };
    Content::list(words.journal, history.len(), chosen, foot, |n| {
        history
            .iter()
            .rev()
            .nth(n)
            .map_or_else(Row::default, |line| Row::pair(words.event(line.event), when(line, words)))
    })
}

/// The date where a clock is fitted, else the lifetime hours then.
fn when(line: &HistoryLine, words: &Words) -> Line {
    let mut text = Line::new();
    let date = line.day.and_then(date);
    // Cannot fail: a line has room for it.
    match date {
        Some(date) => {
            let (year, month, day) = (date.year() % 100, date.month(), date.day());
            let _ = write!(text, "{year:02}-{month:02}-{day:02}");
        }
        None => {
            hours(&mut text, line.powered_s.into(), words.separator, words.decimal);
            let _ = write!(text, " {}", words.h);
        }
    }
    text
}

/// The date of a day number: 1 is 1 January 2020.
fn date(day: u16) -> Option<NaiveDate> {
    NaiveDate::from_ymd_opt(2019, 12, 31)?.checked_add_days(Days::new(day.into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn day_1_is_the_first_of_january_2020() {
        assert_eq!(date(1), NaiveDate::from_ymd_opt(2020, 1, 1));
        // 2020 and 2024 are leap years: 366 + 365 × 3 + 366 days before 2025.
        assert_eq!(date(1_828), NaiveDate::from_ymd_opt(2025, 1, 1));
        assert_eq!(date(u16::MAX).map(|d| d.year()), Some(2199));
    }
}
