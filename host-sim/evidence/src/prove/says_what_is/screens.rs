//! What each screen of the panel should say of a machine, in words and figures.
//!
//! - `care`, `records`, `hints`: the lines of the screens
//! - this file: which lines belong to a screen, and whether a view shows them

mod care;
mod hints;
mod records;

use shaftbook_core::component::ComponentKind;
use shaftbook_core::fault::Fault;
use shaftbook_core::service::Authorised;
use shaftbook_panel::screen::{Screen, Top};
use shaftbook_panel::text::Words;
use shaftbook_panel::view::{Body, Foot, Row, View};

use super::figures::date;
use super::known::Known;
use crate::reference::looking::Sign;
use crate::reference::read_out;

/// A line of a screen: what stands left and right, and whether it is marked as due; each is one
/// of those that are right.
type Lines = Vec<Vec<String>>;

fn line(left: &str, right: &str, is_due: bool) -> Vec<String> {
    vec![format!("{left}|{right}{}", if is_due { "|due" } else { "" })]
}

fn shown_line(row: &Row) -> String {
    format!("{}|{}{}", row.left, row.right, if row.due { "|due" } else { "" })
}

/// What a view says, line by line: the title first.
fn shown(view: &View) -> Vec<String> {
    let mut lines = vec![format!("{}: {} due, fault {}", view.title, view.due, view.faulty)];
    match &view.body {
        Body::Rows(rows) => lines.extend(rows.iter().map(shown_line)),
        Body::Home { figure, beside, permille, below } => {
            lines.push(format!("{figure} {beside} {permille}"));
            lines.extend(below.iter().map(shown_line));
        }
        Body::Needles { bars, below, .. } => {
            lines.extend(bars.iter().map(|bar| {
                let (wear, breaks) = (bar.wear_permille, bar.breaks_permille);
                format!("{wear} {breaks}{}", if bar.due { "|due" } else { "" })
            }));
            lines.push(below.to_string());
        }
        Body::Code(rows) => lines.extend(rows.iter().map(|row| format!("{row}|"))),
        Body::Qr(symbols) => {
            // The rows that the same code has in letters.
            let text = String::from_utf8_lossy(symbols).into_owned();
            lines.extend((0..3).map(|n| {
                format!("{} {}|", &text[10 * n..10 * n + 5], &text[10 * n + 5..10 * n + 10])
            }));
        }
        Body::Digits { above, .. } => lines.push(shown_line(above)),
    }
    lines
}

/// What `view` says on `screen` is what is so; `signs` are the hints of the last look.
pub(super) fn agree(
    screen: &Screen,
    view: &View,
    known: &Known,
    signs: &[Sign],
) -> Result<(), String> {
    let words = known.words();
    let Some((title, expected)) = expected(screen, known, signs) else { return Ok(()) };
    let due = known.due() + u64::from(known.service_is_due());
    let mut all = vec![vec![format!("{title}: {due} due, fault {}", !known.faults.is_empty())]];
    all.extend(expected);
    let shown = shown(view);
    for (n, line) in shown.iter().enumerate() {
        // A list goes on below the screen.
        if !all.get(n).is_some_and(|right| right.contains(line)) {
            return Err(format!("{screen:?} says `{line}`, not {:?}", all.get(n)));
        }
    }
    let room = if view.foot.is_some() { 5 } else { 6 };
    if shown.len() < all.len().min(room) {
        return Err(format!("{screen:?} says only {shown:?} of {all:?}"));
    }
    if let Screen::Component { place, .. } = screen {
        let engineers = known.book.parts[usize::from(*place)].engineers;
        let wanted = if engineers { words.hold_ask } else { words.hold_renew };
        if view.foot != Some(Foot::Hold(wanted)) {
            return Err(format!("{screen:?} says {:?}, not {wanted}", view.foot));
        }
    }
    Ok(())
}

/// Title and lines of a screen, as far as they are known; `None` for a screen of which nothing is.
fn expected(screen: &Screen, known: &Known, signs: &[Sign]) -> Option<(String, Lines)> {
    let words = known.words();
    let title = |text: &str, lines| Some((text.to_owned(), lines));
    match *screen {
        Screen::Top(top) => of_top(top, None, known, signs),
        Screen::List { top, line } => of_top(top, Some(line.into()), known, signs),
        Screen::Component { place, page, .. } => {
            let place = usize::from(place);
            Some((name(known.book.parts[place].kind, words), care::component(place, page, known)))
        }
        Screen::Confirm { place, .. } => {
            let kind = known.book.parts[usize::from(place)].kind;
            let todo = words.care_words(ComponentKind(kind)).todo;
            let lines = [&name(kind, words), todo[0], todo[1]].map(|text| line(text, "", false));
            title(words.confirm, lines.into())
        }
        Screen::Entry { line } => title(words.journal, records::entry(usize::from(line), known)?),
        Screen::Fault { line: at } => {
            let fault = known.faults.iter().nth(usize::from(at))?;
            let said = words.fault_words(fault);
            if fault == Fault::ClockWrong && known.clock >= known.day && known.clock > Some(0) {
                let rows = [
                    line(said.name, "", false),
                    line(words.date, &date(known.clock?), false),
                    line(said.todo[0], "", false),
                    line(said.todo[1], "", false),
                ];
                return title(words.faults, rows.into());
            }
            let rows = [said.name].into_iter().chain(said.todo);
            title(words.faults, rows.map(|text| line(text, "", false)).collect())
        }
        Screen::Hint { line, page } => {
            title(words.hints, hints::hint(signs.get(usize::from(line))?, page, words))
        }
        Screen::Challenge { wish, challenge } => {
            let what = match wish {
                Authorised::Service => words.for_service,
                Authorised::Renew(_) => words.for_renewal,
                Authorised::Refit => words.for_fitting,
            };
            let digits = challenge.map_or_else(
                || "...".into(),
                |challenge| {
                    format!("{:04} {:04}", challenge.get() / 10_000, challenge.get() % 10_000)
                },
            );
            let rows = [
                line(what, "", false),
                line(words.board, &read_out::tag(known.id.0), false),
                line(words.number, &known.book.services.to_string(), false),
                line(words.code, &digits, false),
            ];
            title(words.ask_engineer, rows.into())
        }
        Screen::Code { .. } | Screen::Reply { .. } | Screen::Told { .. } => None,
    }
}

fn of_top(
    top: Top,
    chosen: Option<usize>,
    known: &Known,
    signs: &[Sign],
) -> Option<(String, Lines)> {
    let words = known.words();
    // Which lines of a list are shown depends on the chosen one.
    let below = |lines: Lines, chosen: Option<usize>, room: usize| -> Lines {
        lines.into_iter().skip((chosen.unwrap_or(0) + 1).saturating_sub(room)).collect()
    };
    let (title, lines) = match top {
        Top::Home => (words.home, care::home(known)),
        Top::Needles => (words.needles, care::needles(known, chosen)),
        Top::Care => {
            let order = known.order();
            let at = chosen.and_then(|chosen| order.iter().position(|place| *place == chosen));
            (words.care, below(care::care(&order, known), at, 4))
        }
        Top::Hints if signs.is_empty() => {
            (words.hints, words.no_sign.iter().map(|text| line(text, "", false)).collect())
        }
        Top::Hints => {
            let lines = signs.iter().map(|sign| line(&hints::sign_name(sign, words), "", false));
            (words.hints, below(lines.collect(), chosen, 4))
        }
        Top::Counters => {
            // The foot of a list that is chosen from takes no room.
            (words.counters, below(records::counters(known), chosen, 5))
        }
        Top::Service => (words.service, records::service(known)),
        Top::ReadOut => return None,
        Top::Faults => {
            let names = known.faults.iter().map(|fault| words.fault_words(fault).name);
            let names: Vec<&str> =
                if known.faults.is_empty() { vec![words.no_faults] } else { names.collect() };
            let lines = names.into_iter().map(|text| line(text, "", false)).collect();
            (words.faults, below(lines, chosen, 4))
        }
        Top::Journal => (words.journal, below(records::journal(known), chosen, 4)),
        Top::About => (words.about, below(records::about(known), chosen, 4)),
    };
    Some((title.to_owned(), lines))
}

fn name(kind: u8, words: &Words) -> String {
    let name = words.care_words(ComponentKind(kind)).name;
    if (32..40).contains(&kind) { name.into() } else { format!("{name} {kind}") }
}
