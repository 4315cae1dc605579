//! A machine that is given to the code that ships, without a board: all that panel, hints and
//! read-out say of it.

use rand_pcg::Pcg32;
use shaftbook_care::hint::{Certainty, Hint, Span, look};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::service::Authorised;
use shaftbook_core::time::Instant;
use shaftbook_panel::panel::Panel;
use shaftbook_panel::screen::{Screen, Top};
use shaftbook_panel::state::State;
use shaftbook_panel::view::{Body, list_lines};
use shaftbook_readout::code::Code;
use shaftbook_world::bench::under_test::UnderTest;

use super::known::Known;
use super::{codes, drawn, screens};
use crate::reference::looking::{Of, Sign};

/// The hints of a look are the reference's, with their figures.
pub(super) fn same_signs(hints: &[Hint], signs: &[Sign]) -> Result<(), String> {
    let of = |span| match span {
        Span::Session => Of::Session,
        Span::Lifetime => Of::Lifetime,
        Span::Renewal => Of::Renewal,
    };
    let same = |hint: &Hint, sign: &Sign| {
        let is_expected = !matches!(sign.finding, 18..=20);
        let against = sign.against * if is_expected { 100.0 } else { 1.0 };
        codes::number_of(hint.finding) == sign.finding
            && (hint.certainty == Certainty::Strong) == sign.is_strong
            && of(hint.span) == sign.of
            && hint.seen == sign.seen
            && (hint.against as f64 - against).abs() <= 0.500_1
            && hint.place == sign.place
    };
    if hints.len() == signs.len() && hints.iter().zip(signs).all(|(hint, sign)| same(hint, sign)) {
        return Ok(());
    }
    Err(format!("the hints are {hints:?}, not {signs:?}"))
}

/// What is shown on each screen, and what the code says.
pub(super) fn told<R: UnderTest>(known: &Known, rng: &mut Pcg32) -> Result<(), String> {
    let (hints, signs) = (look::<R>(&known.machine(&[])), known.signs());
    same_signs(&hints, &signs)?;
    let mut state: State<'_, R> = known.state(&[]);
    state.machine = state.machine.with_hints(&hints);
    let view = |screen: &Screen| {
        let mut panel = Panel::new();
        panel.show(Instant::ZERO, *screen);
        panel.view(&state)
    };
    for screen in all_screens(known, &state, rng) {
        screens::agree(&screen, &view(&screen), known, &signs)?;
    }
    let code = Code::of(&state.machine).ok_or("a board that is ready has no code")?;
    let expected = known.said(signs.first());
    codes::says(&code.to_string(), &expected)?;
    let shown = view(&Screen::Top(Top::ReadOut)).body;
    codes::says(&text_of(&shown).ok_or("no code is shown")?, &expected)?;
    for qr in [false, true] {
        let shown = text_of(&view(&Screen::Code { code, qr }).body).ok_or("no code is shown")?;
        codes::says(&shown, &expected)?;
    }
    Ok(())
}

/// The letters of a code on a screen.
pub(super) fn text_of(body: &Body) -> Option<String> {
    let rows: Vec<String> = match body {
        Body::Rows(rows) => rows.iter().map(|row| row.left.to_string()).collect(),
        Body::Code(rows) => rows.iter().map(ToString::to_string).collect(),
        Body::Qr(symbols) => vec![String::from_utf8_lossy(symbols).into_owned()],
        _ => return None,
    };
    Some(rows.join(" "))
}

/// The screens that are looked at: all of the row, and of each list some lines.
fn all_screens<R: UnderTest>(known: &Known, state: &State<'_, R>, rng: &mut Pcg32) -> Vec<Screen> {
    let mut screens: Vec<Screen> = Top::ALL.map(Screen::Top).to_vec();
    for top in Top::ALL {
        let lines = u64::from(list_lines(top, state));
        if lines > 0 {
            screens.push(Screen::List { top, line: drawn::below(rng, lines) as u8 });
            screens.push(Screen::List { top, line: lines as u8 - 1 });
        }
    }
    for place in 0..known.book.parts.len().min(8) as u8 {
        let page = drawn::below(rng, 3) as u8;
        screens.push(Screen::Component { place, line: place, page });
        screens.push(Screen::Component { place, line: place, page: 1 });
    }
    if let Some(last) = known.book.parts.len().checked_sub(1) {
        let wish = Authorised::Renew(ComponentSet::only(last));
        screens.push(Screen::Confirm { place: last as u8, line: 0 });
        screens.push(Screen::Challenge { wish, challenge: None });
    }
    let wish = Authorised::Service;
    screens.push(Screen::Challenge { wish, challenge: None });
    let entries = known.ledger.history.len() as u8;
    screens.extend((0..entries).map(|line| Screen::Entry { line }));
    let faults = known.faults.iter().count() as u8;
    screens.extend((0..faults).map(|line| Screen::Fault { line }));
    let hints = state.machine.hints.len() as u8;
    screens.extend((0..2 * hints).map(|n| Screen::Hint { line: n / 2, page: n % 2 }));
    screens
}
