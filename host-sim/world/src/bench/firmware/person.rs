//! A person at the panel: commands and replies by the three buttons, as an operator presses
//! them with the engineer on the telephone.
//!
//! Invariant: nothing reaches the board but edges of the buttons.

use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::Command;
use shaftbook_core::input::Level;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::time::Instant;
use shaftbook_panel::button::{Button, LONG_US, Press};
use shaftbook_panel::screen::{Notice, Screen, Top};

use super::Firmware;
use crate::bench::Bench;
use crate::bench::under_test::UnderTest;

/// A short press lasts this long, µs.
const SHORT_US: u64 = 100_000;
/// A long press is held this much longer than it must be, µs.
const HELD_LONGER_US: u64 = 60_000;
/// From letting a button go until the panel is looked at, µs.
const LOOK_US: u64 = 60_000;
/// Presses after which a person gives up looking for a component.
const LINES_MAX: usize = 33;

/// The first place in `components`.
fn first(components: ComponentSet) -> Option<usize> {
    (0..32).find(|place| components.contains(*place))
}

/// At the panel one component is renewed at a time.
pub(super) fn narrowed(command: Command) -> Command {
    match command {
        Command::Renew { components, reply } => {
            let only = first(components).map_or(components, ComponentSet::only);
            Command::Renew { components: only, reply }
        }
        other => other,
    }
}

/// Does `command` by presses.
pub(super) fn request<R: UnderTest>(
    bench: &mut Bench<Firmware<R>>,
    command: &Command,
) -> Result<(), Refusal> {
    match command {
        Command::Renew { components, reply: None } => {
            let place = first(*components).ok_or(Refusal::NeedsAuthority)?;
            renew(bench, place, command)
        }
        Command::Renew { reply: Some(reply), .. } | Command::Service { reply: Some(reply) } => {
            enter(bench, *reply, command)
        }
        // There is no way to ask for these at the panel.
        Command::Service { reply: None } | Command::Fit { .. } => Err(Refusal::NeedsAuthority),
    }
}

/// Opens a challenge by presses.
pub(super) fn challenge<R: UnderTest>(
    bench: &mut Bench<Firmware<R>>,
    allows: Authorised,
) -> Result<EightDigits, Refusal> {
    match allows {
        Authorised::Service => {
            press(bench, Press::Long(Button::Back));
            let steps = Top::ALL.iter().position(|top| *top == Top::Service).unwrap_or(0);
            (0..steps).for_each(|_| press(bench, Press::Short(Button::Next)));
        }
        Authorised::Renew(components) => {
            let place = first(components).ok_or(Refusal::NeedsAuthority)?;
            open(bench, place)?;
        }
        Authorised::Refit => return Err(Refusal::NeedsAuthority),
    }
    press(bench, Press::Long(Button::Act));
    match *screen(bench) {
        Screen::Challenge { challenge: Some(challenge), .. } => Ok(challenge),
        _ => Err(refusal(bench).unwrap_or(Refusal::NotReady)),
    }
}

fn screen<R: UnderTest>(bench: &Bench<Firmware<R>>) -> &Screen {
    bench.device.main_loop().console().panel().screen()
}

/// What the panel tells that was refused.
fn refusal<R: UnderTest>(bench: &Bench<Firmware<R>>) -> Option<Refusal> {
    match *screen(bench) {
        Screen::Told { notice, .. } => match notice {
            Notice::Working | Notice::Done | Notice::WrongReply => None,
            Notice::Wait(seconds) => Some(Refusal::Wait { seconds }),
            Notice::Busy => Some(Refusal::Busy),
            Notice::NotReady => Some(Refusal::NotReady),
            Notice::AskAnew => Some(Refusal::NoChallenge),
        },
        _ => None,
    }
}

impl<R: UnderTest> Bench<Firmware<R>> {
    /// A person presses a button, and looks.
    pub fn press(&mut self, what: Press) {
        press(self, what);
    }
}

/// One press.
fn press<R: UnderTest>(bench: &mut Bench<Firmware<R>>, press: Press) {
    let (button, held_us) = match press {
        Press::Short(button) => (button, SHORT_US),
        Press::Long(button) => (button, LONG_US + HELD_LONGER_US),
    };
    let begun_us = bench.now_us;
    bench.device.button(Instant::from_us(begun_us), button, Level::Active);
    bench.pass_to(begun_us + held_us, &mut |_| {});
    bench.device.button(bench.now(), button, Level::Inactive);
    bench.pass_to(bench.now_us + LOOK_US, &mut |_| {});
}

/// Opens the screen of the component at `place`.
fn open<R: UnderTest>(bench: &mut Bench<Firmware<R>>, place: usize) -> Result<(), Refusal> {
    press(bench, Press::Long(Button::Back));
    press(bench, Press::Short(Button::Act));
    press(bench, Press::Short(Button::Act));
    for _ in 0..LINES_MAX {
        match *screen(bench) {
            Screen::List { top: Top::Care, line } if usize::from(line) == place => {
                press(bench, Press::Short(Button::Act));
                return Ok(());
            }
            Screen::List { .. } => press(bench, Press::Short(Button::Next)),
            _ => break,
        }
    }
    Err(Refusal::NotReady)
}

fn renew<R: UnderTest>(
    bench: &mut Bench<Firmware<R>>,
    place: usize,
    command: &Command,
) -> Result<(), Refusal> {
    open(bench, place)?;
    press(bench, Press::Long(Button::Act));
    match screen(bench) {
        Screen::Confirm { .. } => hold_to_do(bench, command),
        // The panel asks for the engineer's reply.
        Screen::Challenge { .. } => Err(Refusal::NeedsAuthority),
        _ => Err(Refusal::NotReady),
    }
}

fn enter<R: UnderTest>(
    bench: &mut Bench<Firmware<R>>,
    reply: EightDigits,
    command: &Command,
) -> Result<(), Refusal> {
    if !matches!(screen(bench), Screen::Challenge { challenge: Some(_), .. }) {
        return Err(Refusal::NoChallenge);
    }
    press(bench, Press::Short(Button::Act));
    for place in 0..8 {
        let digit = reply.get() / 10_u32.pow(7 - place) % 10;
        (0..digit).for_each(|_| press(bench, Press::Short(Button::Next)));
        if place < 7 {
            press(bench, Press::Short(Button::Act));
        }
    }
    hold_to_do(bench, command)
}

/// The long press that does it.
fn hold_to_do<R: UnderTest>(
    bench: &mut Bench<Firmware<R>>,
    command: &Command,
) -> Result<(), Refusal> {
    bench.expect(command, bench.now_us + LONG_US);
    press(bench, Press::Long(Button::Act));
    if bench.bus.is_cut() {
        // Nobody knows how far it came.
        return Ok(());
    }
    let refused = match screen(bench) {
        Screen::Told { .. } => refusal(bench),
        _ => Some(Refusal::NotReady),
    };
    refused.map_or(Ok(()), |refusal| {
        bench.pending = None;
        Err(refusal)
    })
}
