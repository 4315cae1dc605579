//! The list of first-look hints; and the screen of one hint, with what to do and why.

use core::fmt::Write;

use shaftbook_care::hint::{Certainty, Finding, Hint, Span};

use super::{Content, Foot, Row};
use crate::number::{Line, grouped, line};
use crate::rules::PanelRules;
use crate::state::State;
use crate::text::Words;

#[inline(never)]
pub(super) fn content<R: PanelRules>(
    chosen: Option<u8>,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    let hints = state.machine.hints;
    if hints.is_empty() {
        return Content::rows(words.hints, words.no_sign.map(Row::text), None);
    }
    let act = if chosen.is_some() { words.act_open } else { words.act_browse };
    Content::list(words.hints, hints.len(), chosen, Some(Foot::Tap(act)), |n| {
        hints.get(n).map_or_else(Row::default, |hint| Row::text(&name(hint, words)))
    })
}

#[inline(never)]
pub(super) fn one<R: PanelRules>(at: u8, page: u8, words: &Words, state: &State<'_, R>) -> Content {
    let hints = state.machine.hints;
    let Some(hint) = hints.get(usize::from(at)) else { return content(None, words, state) };
    let said = words.hint_words(hint.finding);
    let sure = match hint.certainty {
        Certainty::Strong => words.strong,
        Certainty::Possible => words.possible,
    };
    if page == 0 {
        let rows = [Row::text(&name(hint, words)), Row::text(sure)];
        let todo = said.todo.map(Row::text);
        return Content::rows(words.hints, rows.into_iter().chain(todo), None);
    }
    let [session, lifetime, renewal] = words.spans;
    let span = match hint.span {
        Span::Session => session,
        Span::Lifetime => lifetime,
        Span::Renewal => renewal,
    };
    let mut seen = Line::new();
    grouped(&mut seen, hint.seen, words.separator);
    let rows = [
        Row::text(&name(hint, words)),
        Row::text(span),
        Row::pair(said.seen, seen),
        Row::pair(said.against, against(hint, words)),
    ];
    Content::rows(words.hints, rows, None)
}

fn name(hint: &Hint, words: &Words) -> Line {
    let mut name = line(words.hint_words(hint.finding).name);
    if let Finding::NeedleBreaks(needle) = hint.finding {
        // Cannot fail: a line has room for it.
        let _ = write!(name, " {}", needle.number());
    }
    name
}

/// What it is held against: hundredths where it is an expectation.
fn against(hint: &Hint, words: &Words) -> Line {
    let mut text = Line::new();
    match hint.finding {
        Finding::NeedleBreaks(_) | Finding::BreaksEverywhere | Finding::ShaftGlitches => {
            grouped(&mut text, hint.against / 100, words.separator);
            let _ = write!(text, "{}{:02}", words.decimal, hint.against % 100);
        }
        _ => grouped(&mut text, hint.against, words.separator),
    }
    text
}
