//! The list of the faults present, by name; and the screen of one fault, with what to do.

use shaftbook_core::fault::Fault;

use super::journal::date_of;
use super::{Content, Foot, Row};
use crate::rules::PanelRules;
use crate::state::State;
use crate::text::Words;

#[inline(never)]
pub(super) fn content<R: PanelRules>(
    chosen: Option<u8>,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    let faults = state.machine.faults;
    if faults.is_empty() {
        return Content::rows(words.faults, [Row::text(words.no_faults)], None);
    }
    let act = if chosen.is_some() { words.act_open } else { words.act_browse };
    Content::list(words.faults, faults.iter().count(), chosen, Some(Foot::Tap(act)), |n| {
        faults.iter().nth(n).map_or_else(Row::default, |f| Row::text(words.fault_words(f).name))
    })
}

#[inline(never)]
pub(super) fn one<R: PanelRules>(line: u8, words: &Words, state: &State<'_, R>) -> Content {
    let Some(fault) = state.machine.faults.iter().nth(usize::from(line)) else {
        return content(None, words, state);
    };
    let said = words.fault_words(fault);
    if let Some(day) = state.day_to_confirm().filter(|_| fault == Fault::ClockWrong) {
        let rows = [
            Row::text(said.name),
            Row::pair(words.date, date_of(day)),
            Row::text(said.todo[0]),
            Row::text(said.todo[1]),
        ];
        return Content::rows(words.faults, rows, Some(Foot::Hold(words.hold_date)));
    }
    let rows = [Row::text(said.name)].into_iter().chain(said.todo.map(Row::text));
    Content::rows(words.faults, rows, None)
}
