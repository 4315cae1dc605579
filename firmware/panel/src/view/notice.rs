//! The screen of the read-out code, and short notices.

use core::fmt::Write;

use shaftbook_readout::code::Code;

use super::{Body, Content, Foot, Row};
use crate::number::{Line, add, line, wait};
use crate::rules::PanelRules;
use crate::screen::Notice;
use crate::state::State;
use crate::text::Words;

/// The code as it is now, until it is opened and holds still.
#[inline(never)]
pub(super) fn readout<R: PanelRules>(words: &Words, state: &State<'_, R>) -> Content {
    match Code::of(&state.machine) {
        Some(code) => {
            let foot = Some(Foot::Tap(words.act_hold_still));
            Content::rows(words.readout, text_rows(&code).map(|l| Row::text(&l)), foot)
        }
        None => Content::rows(words.readout, [Row::text(words.not_known)], None),
    }
}

#[inline(never)]
pub(super) fn code(code: &Code, qr: bool, words: &Words) -> Content {
    let body = if qr { Body::Qr(code.ascii()) } else { Body::Code(text_rows(code)) };
    Content::new(words.readout, body, None)
}

/// Three rows of two groups.
fn text_rows(code: &Code) -> [Line; 3] {
    let ascii = code.ascii();
    core::array::from_fn(|row| {
        let mut text = Line::new();
        for (n, symbol) in ascii.iter().skip(row * 10).take(10).enumerate() {
            let gap = if n == 5 { " " } else { "" };
            // Cannot fail: a line has room for it.
            let _ = write!(text, "{gap}{}", char::from(*symbol));
        }
        text
    })
}

#[inline(never)]
pub(super) fn told(notice: Notice, words: &Words) -> Content {
    let mut text = line(match notice {
        Notice::Working => words.working,
        Notice::Done => words.done,
        Notice::WrongReply => words.wrong_reply,
        Notice::Wait(_) => words.wait,
        Notice::Busy => words.try_again,
        Notice::NotReady => words.not_ready,
        Notice::AskAnew => words.ask_anew,
    });
    if let Notice::Wait(seconds) = notice {
        add(&mut text, " ");
        wait(&mut text, seconds);
    }
    Content::rows(words.notice, [Row::default(), Row::text(&text)], None)
}
