//! A press carried to the board, and the board's answer back to the panel.

use shaftbook_core::board::{Board, Command};
use shaftbook_core::rules::Rules;
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::time::Instant;

use crate::button::Press;
use crate::panel::{Ask, Panel};
use crate::state::State;

/// Does what `press` asks for. `version` is shown on the screen about the board.
pub fn press<R: Rules>(
    panel: &mut Panel,
    board: &mut Board<R>,
    now: Instant,
    press: Press,
    version: &'static str,
) {
    let Some(ask) = panel.press(now, press, &State::of(board, now, version)) else { return };
    let asked = match ask {
        Ask::Renew(components) => board.request(now, Command::Renew { components, reply: None }),
        Ask::Challenge(_) => board.challenge(now).map(|digits| panel.challenge(digits)),
        Ask::Reply(Authorised::Service, reply) => {
            board.request(now, Command::Service { reply: Some(reply) })
        }
        Ask::Reply(Authorised::Renew(components), reply) => {
            board.request(now, Command::Renew { components, reply: Some(reply) })
        }
        // A fitting is more than three buttons can say.
        Ask::Reply(Authorised::Refit, _) => Err(Refusal::NotReady),
    };
    if let Err(refusal) = asked {
        panel.refused(now, refusal);
    }
}
