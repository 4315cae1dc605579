//! Three screens: the service interval, the challenge for the engineer, and the reply.

use core::fmt::Write;

use super::{Body, Content, Foot, Row, interval_s, service_is_due};
use crate::number::{Line, grouped, hours, line};
use crate::rules::PanelRules;
use crate::screen::Typed;
use crate::state::State;
use crate::text::{COLUMNS, Words};
use shaftbook_core::authority::EightDigits;
use shaftbook_core::service::Authorised;
use shaftbook_core::settings::ServiceMeasure;

#[inline(never)]
pub(super) fn content<R: PanelRules>(words: &Words, state: &State<'_, R>) -> Content {
    let ledger = state.machine.ledger;
    let Some(s) = interval_s(state) else {
        return Content::rows(words.service, [Row::text(words.not_known)], None);
    };
    let mut interval = Line::new();
    hours(&mut interval, s, words.separator, words.decimal);
    // Cannot fail: a line has room for it.
    let _ = write!(interval, " {} ", words.of);
    grouped(&mut interval, ledger.settings.service_interval_h.into(), words.separator);
    let _ = write!(interval, " {}", words.h);
    let due = service_is_due(state);
    // A wide figure leaves no room for the word; it is shown as due all the same.
    let has_room = words.due.chars().count() + interval.chars().count() <= COLUMNS;
    let mut done = Line::new();
    grouped(&mut done, ledger.services.into(), words.separator);
    let mut parts = Line::new();
    grouped(&mut parts, ledger.renewed_by_service().0.count_ones().into(), words.separator);
    let counts = match ledger.settings.service_measure {
        ServiceMeasure::Powered => words.counts_powered,
        ServiceMeasure::Running => words.counts_running,
    };
    let rows = [
        Row { due, ..Row::pair(if due && has_room { words.due } else { "" }, interval) },
        Row::text(counts),
        Row::pair(words.services_done, done),
        Row::pair(words.parts_renewed, parts),
    ];
    Content::rows(words.service, rows, Some(Foot::Hold(words.hold_ask)))
}

#[inline(never)]
pub(super) fn challenge<R: PanelRules>(
    wish: Authorised,
    challenge: Option<EightDigits>,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    let mut tag = Line::new();
    let _ = write!(tag, "{}", R::tag(state.machine.id));
    let mut number = Line::new();
    let _ = write!(number, "{}", state.machine.ledger.services);
    let what = match wish {
        Authorised::Service => words.for_service,
        Authorised::Renew(_) => words.for_renewal,
        Authorised::Refit => words.for_fitting,
    };
    let code = challenge.map_or_else(|| line("..."), eight_digits);
    let rows = [
        Row::text(what),
        Row::pair(words.board, tag),
        Row::pair(words.number, number),
        Row::pair(words.code, code),
    ];
    let foot = challenge.map(|_| Foot::Tap(words.act_enter));
    Content::rows(words.ask_engineer, rows, foot)
}

#[inline(never)]
pub(super) fn reply(challenge: EightDigits, typed: &Typed, words: &Words) -> Content {
    let above = Row::pair(words.code, eight_digits(challenge));
    let foot = if typed.at == 7 { Foot::Hold(words.hold_send) } else { Foot::Tap(words.act_digit) };
    let body = Body::Digits { digits: typed.digits, at: typed.at, above };
    Content::new(words.reply, body, Some(foot))
}

/// "1234 5678".
fn eight_digits(digits: EightDigits) -> Line {
    let mut text = Line::new();
    let _ = write!(text, "{:04} {:04}", digits.get() / 10_000, digits.get() % 10_000);
    text
}
