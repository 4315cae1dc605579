//! The list of the newest journal entries, newest first; and the screen of one entry.

use core::fmt::Write;

use chrono::{Datelike, Days, NaiveDate};
use heapless::Vec;
use shaftbook_core::fault::Fault;
use shaftbook_core::journal::{AUTHORISED, Event};
use shaftbook_core::ledger::HistoryLine;

use super::{Content, Foot, ROWS_MAX, Row};
use crate::number::{Line, grouped, hours};
use crate::rules::PanelRules;
use crate::state::State;
use crate::text::Words;

#[inline(never)]
pub(super) fn content<R: PanelRules>(
    chosen: Option<u8>,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    let history = &state.machine.ledger.history;
    if history.is_empty() {
        return Content::rows(words.journal, [Row::text(words.no_entries)], None);
    }
    let act = if chosen.is_some() { words.act_open } else { words.act_browse };
    Content::list(words.journal, history.len(), chosen, Some(Foot::Tap(act)), |n| {
        history
            .iter()
            .rev()
            .nth(n)
            .map_or_else(Row::default, |line| Row::pair(words.event(line.event), when(line, words)))
    })
}

/// One entry: its number, when, and what it was about.
#[inline(never)]
pub(super) fn one<R: PanelRules>(line: u8, words: &Words, state: &State<'_, R>) -> Content {
    let newest_first = || state.machine.ledger.history.iter().rev();
    let Some(entry) = newest_first().nth(usize::from(line)) else {
        return content(None, words, state);
    };
    let mut number = Line::new();
    grouped(&mut number, entry.number.get().into(), words.separator);
    let mut at = Line::new();
    hours(&mut at, entry.powered_s.into(), words.separator, words.decimal);
    let _ = write!(at, " {}", words.h);
    let mut rows: Vec<Row, ROWS_MAX> = Vec::new();
    // Cannot fail: there is room for five.
    let _ = rows.push(Row::pair(words.event(entry.event), number));
    let _ = rows.push(Row::pair(words.lifetime, at));
    if let Some(day) = entry.day {
        let _ = rows.push(Row::pair(words.date, date_of(day)));
    }
    match entry.event {
        Event::FaultSeen => {
            if let Some(fault) = Fault::from_number(entry.subject) {
                let _ = rows.push(Row::text(words.fault_words(fault).name));
            }
        }
        Event::Renewed if entry.subject == AUTHORISED => {
            let _ = rows.push(Row::text(words.authorised));
        }
        _ => {}
    }
    Content::rows(words.journal, rows, None)
}

/// The date where a clock is fitted, else the lifetime hours then.
fn when(line: &HistoryLine, words: &Words) -> Line {
    let mut text = Line::new();
    // Cannot fail: a line has room for it.
    if let Some(day) = line.day {
        // The century is left away: the line has little room.
        text = date_of(day).chars().skip(2).collect();
    } else {
        hours(&mut text, line.powered_s.into(), words.separator, words.decimal);
        let _ = write!(text, " {}", words.h);
    }
    text
}

/// The date of a day number as ISO 8601 writes it.
pub(super) fn date_of(day: u16) -> Line {
    let mut text = Line::new();
    if let Some(date) = date(day) {
        let (year, month, day) = (date.year(), date.month(), date.day());
        // Cannot fail: a line has room for it.
        let _ = write!(text, "{year:04}-{month:02}-{day:02}");
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
