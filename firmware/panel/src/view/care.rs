//! The care list: every component, the most pressing first.

use core::fmt::Write;

use shaftbook_core::component::Standing;

use super::{Content, Foot, Row, care_order, name_of};
use crate::number::{Line, line};
use crate::rules::PanelRules;
use crate::state::State;
use crate::text::Words;

#[inline(never)]
pub(super) fn content<R: PanelRules>(
    chosen: Option<u8>,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    let order = care_order(state);
    if order.is_empty() {
        let text = match state.machine.lifetime {
            Some(_) => words.no_components,
            None => words.not_known,
        };
        return Content::rows(words.care, [Row::text(text)], None);
    }
    let act = if chosen.is_some() { words.act_open } else { words.act_browse };
    // The chosen component, wherever it stands now.
    let chosen = chosen.and_then(|place| {
        let at = order.iter().position(|item| item.place == usize::from(place));
        at.map(|at| at as u8)
    });
    Content::list(words.care, order.len(), chosen, Some(Foot::Tap(act)), |n| {
        let Some(item) = order.get(n) else { return Row::default() };
        let mut figure = Line::new();
        let due = item.standing == Standing::Due;
        if due {
            figure = line(words.due);
        } else {
            let mark = if item.standing == Standing::Notice { "!" } else { "" };
            // Cannot fail: a line has room for it.
            let _ = write!(figure, "{mark}{} %", item.permille() / 10);
        }
        Row { due, ..Row::pair(&name_of(item.component.kind, words), figure) }
    })
}
