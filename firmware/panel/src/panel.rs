//! The panel's behaviour: which screen is shown, and what a press does.
//!
//! Invariants:
//! - from every screen, Back leads towards the first one, and so does doing nothing;
//! - nothing is renewed by a short press, and nothing without a confirmation;
//! - every screen but the QR code's shows that something is due; the mark goes when the care is
//!   done, and cannot be dismissed;
//! - the code that is read aloud does not change while it is on the screen.

use shaftbook_care::item;
use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::Effect;
use shaftbook_core::component::Role;
use shaftbook_core::exchange::Outcome;
use shaftbook_core::fault::Fault;
use shaftbook_core::journal::{ComponentSet, Event};
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::time::Instant;
use shaftbook_readout::code::Code;

use crate::button::{Button, Press};
use crate::rules::PanelRules;
use crate::screen::{Notice, Screen, Top, Typed};
use crate::state::State;
use crate::text::Language;
use crate::view::{self, View, component};

/// The first screen comes back after this long without a press, µs.
pub const RETURN_US: u64 = 60_000_000;
/// The same on screens that are read over the phone, µs.
pub const PHONE_RETURN_US: u64 = 600_000_000;
/// A notice that something is done stays this long, µs.
pub const NOTICE_US: u64 = 4_000_000;

/// What the panel asks of the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ask {
    /// Renew what the operator may renew.
    Renew(ComponentSet),
    /// Open a challenge; its digits go to [`Panel::challenge`].
    Challenge(Authorised),
    /// Enter the reply to the open challenge.
    Reply(EightDigits),
    /// Believe the clock: a person has read this day on the screen and confirmed it.
    ConfirmDay(u16),
}

/// The panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Panel {
    screen: Screen,
    language: Option<Language>,
    touched: Instant,
}

impl Panel {
    /// At the first screen, in the language of the board's settings.
    #[must_use]
    pub const fn new() -> Self {
        Self { screen: Screen::Top(Top::Home), language: None, touched: Instant::ZERO }
    }

    /// The screen shown.
    #[must_use]
    pub const fn screen(&self) -> &Screen {
        &self.screen
    }

    /// Shows `screen`, as if a person had gone there at `now`.
    pub const fn show(&mut self, now: Instant, screen: Screen) {
        self.screen = screen;
        self.touched = now;
    }

    /// The language of the screens: the one chosen since power-up, or the settings'.
    #[must_use]
    pub fn language<R: PanelRules>(&self, state: &State<'_, R>) -> Language {
        let code = state.machine.ledger.settings.language;
        self.language.unwrap_or_else(|| Language::from_code(code))
    }

    /// Chooses a language until the next power-up; `None` is the settings'.
    pub const fn speak(&mut self, language: Option<Language>) {
        self.language = language;
    }

    /// What stands on the screen at `now`.
    #[must_use]
    pub fn view<R: PanelRules>(&self, state: &State<'_, R>) -> View {
        view::of(&self.screen, self.language(state), state)
    }

    /// A press. What it asks of the board, if anything.
    pub fn press<R: PanelRules>(
        &mut self,
        now: Instant,
        press: Press,
        state: &State<'_, R>,
    ) -> Option<Ask> {
        self.touched = now;
        match press {
            Press::Short(Button::Back) => self.back(),
            Press::Long(Button::Back) => self.screen = Screen::Top(Top::Home),
            Press::Short(Button::Next) => self.next(state),
            // Holding Next is no way to do anything faster.
            Press::Long(Button::Next) => {}
            Press::Short(Button::Act) => return self.act(state),
            Press::Long(Button::Act) => return self.hold(now, state),
        }
        None
    }

    fn back(&mut self) {
        self.screen = match self.screen {
            Screen::Top(top) => Screen::Top(top.before()),
            Screen::List { top, .. } => Screen::Top(top),
            Screen::Component { line, page: 0, .. } => Screen::List { top: Top::Care, line },
            Screen::Component { place, line, .. } | Screen::Confirm { place, line } => {
                Screen::Component { place, line, page: 0 }
            }
            Screen::Entry { line } => Screen::List { top: Top::Journal, line },
            Screen::Fault { line } => Screen::List { top: Top::Faults, line },
            Screen::Hint { line, page: 0 } => Screen::List { top: Top::Hints, line },
            Screen::Hint { line, .. } => Screen::Hint { line, page: 0 },
            Screen::Code { .. } => Screen::Top(Top::ReadOut),
            Screen::Challenge { wish: Authorised::Service, .. } => Screen::Top(Top::Service),
            Screen::Challenge { .. } => Screen::Top(Top::Care),
            Screen::Reply { wish, challenge, mut typed } => match typed.at.checked_sub(1) {
                Some(at) => {
                    typed.at = at;
                    Screen::Reply { wish, challenge, typed }
                }
                None => Screen::Challenge { wish, challenge: Some(challenge) },
            },
            Screen::Told { .. } => Screen::Top(Top::Home),
        };
    }

    fn next<R: PanelRules>(&mut self, state: &State<'_, R>) {
        self.screen = match self.screen {
            Screen::Top(top) => Screen::Top(top.after(1)),
            Screen::List { top: Top::Care, line } => {
                let order = view::care_order(state);
                let at = order.iter().position(|item| item.place == usize::from(line));
                let next = at.map_or(0, |at| (at + 1) % order.len().max(1));
                let place = order.get(next).map_or(line, |item| item.place as u8);
                Screen::List { top: Top::Care, line: place }
            }
            Screen::List { top, line } => {
                let lines = view::list_lines(top, state).max(1);
                Screen::List { top, line: (line + 1) % lines }
            }
            Screen::Component { place, line, page } => {
                Screen::Component { place, line, page: (page + 1) % component::PAGES }
            }
            Screen::Hint { line, page } => Screen::Hint { line, page: 1 - page.min(1) },
            Screen::Code { code, qr } => Screen::Code { code, qr: !qr },
            Screen::Reply { wish, challenge, mut typed } => {
                if let Some(digit) = typed.digits.get_mut(usize::from(typed.at)) {
                    *digit = (*digit + 1) % 10;
                }
                Screen::Reply { wish, challenge, typed }
            }
            screen @ (Screen::Confirm { .. }
            | Screen::Entry { .. }
            | Screen::Fault { .. }
            | Screen::Challenge { .. }
            | Screen::Told { .. }) => screen,
        };
    }

    fn act<R: PanelRules>(&mut self, state: &State<'_, R>) -> Option<Ask> {
        self.screen = match self.screen {
            Screen::Top(Top::Home) => Screen::Top(Top::Care),
            Screen::Top(Top::ReadOut) => match Code::of(&state.machine) {
                Some(code) => Screen::Code { code, qr: false },
                None => self.screen,
            },
            Screen::Top(Top::Care) => match view::care_order(state).first() {
                Some(item) => Screen::List { top: Top::Care, line: item.place as u8 },
                None => self.screen,
            },
            Screen::Top(top) if view::list_lines(top, state) > 0 => Screen::List { top, line: 0 },
            Screen::List { top: Top::Care, line } => {
                Screen::Component { place: line, line, page: 0 }
            }
            Screen::List { top: Top::Journal, line } => Screen::Entry { line },
            Screen::List { top: Top::Faults, line } => Screen::Fault { line },
            Screen::List { top: Top::Hints, line } => Screen::Hint { line, page: 0 },
            Screen::Challenge { wish, challenge: Some(challenge) } => {
                Screen::Reply { wish, challenge, typed: Typed::default() }
            }
            Screen::Reply { wish, challenge, mut typed } => {
                typed.at = (typed.at + 1).min(7);
                Screen::Reply { wish, challenge, typed }
            }
            Screen::Told { .. } => Screen::Top(Top::Home),
            screen => screen,
        };
        None
    }

    fn hold<R: PanelRules>(&mut self, now: Instant, state: &State<'_, R>) -> Option<Ask> {
        match self.screen {
            Screen::Top(Top::Service) => Some(self.ask_engineer(Authorised::Service)),
            Screen::Top(Top::About) => {
                self.language = Some(self.language(state).next());
                None
            }
            Screen::Component { place, line, .. } => {
                let component = item::item(&state.machine, usize::from(place))?.component;
                if component.renewed_by == Role::Engineer {
                    let set = ComponentSet::only(usize::from(place));
                    return Some(self.ask_engineer(Authorised::Renew(set)));
                }
                self.screen = Screen::Confirm { place, line };
                None
            }
            Screen::Confirm { place, .. } => {
                self.tell(now, Notice::Working);
                let place = if R::renews_what_was_opened() { place } else { place ^ 1 };
                Some(Ask::Renew(ComponentSet::only(usize::from(place))))
            }
            Screen::Fault { line } => {
                let fault = state.machine.faults.iter().nth(usize::from(line));
                let day = state.day_to_confirm().filter(|_| fault == Some(Fault::ClockWrong))?;
                self.tell(now, Notice::Working);
                Some(Ask::ConfirmDay(day))
            }
            Screen::Reply { typed, .. } if typed.at == 7 => {
                let reply = typed.reply()?;
                self.tell(now, Notice::Working);
                Some(Ask::Reply(reply))
            }
            _ => None,
        }
    }

    const fn ask_engineer(&mut self, wish: Authorised) -> Ask {
        self.screen = Screen::Challenge { wish, challenge: None };
        Ask::Challenge(wish)
    }

    const fn tell(&mut self, now: Instant, notice: Notice) {
        self.screen = Screen::Told { notice, since: now };
    }

    /// The board has opened the challenge that was asked for.
    pub fn challenge(&mut self, digits: EightDigits) {
        if let Screen::Challenge { challenge, .. } = &mut self.screen {
            *challenge = Some(digits);
        }
    }

    /// The board has not accepted what was asked.
    pub fn refused(&mut self, now: Instant, refusal: Refusal) {
        let notice = match refusal {
            Refusal::Busy => Notice::Busy,
            Refusal::Wait { seconds } => Notice::Wait(seconds),
            Refusal::NoChallenge | Refusal::OtherPurpose => Notice::AskAnew,
            _ => Notice::NotReady,
        };
        self.tell(now, notice);
    }

    /// The day that was confirmed has been taken, or not.
    pub const fn day_confirmed(&mut self, now: Instant, taken: bool) {
        self.tell(now, if taken { Notice::Done } else { Notice::NotReady });
    }

    /// What came of a reply.
    pub const fn judged(&mut self, now: Instant, outcome: Outcome) {
        match outcome {
            Outcome::Pending => {}
            Outcome::Done => self.tell(now, Notice::Done),
            Outcome::Wrong => self.tell(now, Notice::WrongReply),
            Outcome::Lost => self.tell(now, Notice::NotReady),
        }
    }

    /// Something has happened on the board: a renewal that is waited for is done, or
    /// never will be.
    pub fn effect(&mut self, now: Instant, effect: &Effect) {
        let Screen::Told { notice: Notice::Working, .. } = self.screen else { return };
        match effect {
            Effect::EntryDurable { event: Event::Renewed, .. } => self.tell(now, Notice::Done),
            Effect::FaultRaised(Fault::MemoryWornOut) => self.tell(now, Notice::NotReady),
            _ => {}
        }
    }

    /// Lets time pass: the first screen comes back by itself.
    pub fn tick(&mut self, now: Instant) {
        if let Screen::Told { notice, since } = self.screen {
            if now.since_us(since) >= told_us(notice) {
                self.screen = Screen::Top(Top::Home);
            }
            return;
        }
        if now.since_us(self.touched) >= self.returns_after_us() {
            self.screen = Screen::Top(Top::Home);
        }
    }

    /// When [`Panel::tick`] has something to do, if nothing is pressed before.
    #[must_use]
    pub fn deadline(&self) -> Instant {
        match self.screen {
            Screen::Top(Top::Home) => Instant::NEVER,
            Screen::Told { notice, since } => since.plus_us(told_us(notice)),
            _ => self.touched.plus_us(self.returns_after_us()),
        }
    }

    const fn returns_after_us(&self) -> u64 {
        match self.screen {
            Screen::Code { .. } | Screen::Challenge { .. } | Screen::Reply { .. } => {
                PHONE_RETURN_US
            }
            _ => RETURN_US,
        }
    }
}

/// How long a notice stays, µs. An answer that never comes, as from a dead memory part,
/// must not keep the first screen away.
const fn told_us(notice: Notice) -> u64 {
    match notice {
        Notice::Working => RETURN_US,
        _ => NOTICE_US,
    }
}

impl Default for Panel {
    fn default() -> Self {
        Self::new()
    }
}
