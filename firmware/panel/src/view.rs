//! What is on a screen, before it is pixels: lines, figures, bars.
//!
//! Each screen has a file. Nothing here changes anything.
//!
//! Each screen is a function that is never inlined. Otherwise the stack of the screen that is
//! shown would hold the frames of all the others as well.

mod about;
mod care;
pub mod component;
mod counters;
mod faults;
mod hints;
mod home;
mod journal;
mod needles;
mod notice;
mod service;

use heapless::Vec;
use shaftbook_care::item::{self, CareItem};
use shaftbook_core::component::{COMPONENTS_MAX, ComponentKind, Standing};
use shaftbook_core::counters::NEEDLES_MAX;
use shaftbook_readout::code::{Code, SYMBOLS};
use shaftbook_readout::state as readout;

use crate::number::{Line, add, line};
use crate::rules::PanelRules;
use crate::screen::{Screen, Top};
use crate::state::State;
use crate::text::{Language, Words};

/// Rows between title and foot.
pub const ROWS_MAX: usize = 5;

/// A row of text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row {
    /// From the left.
    pub left: Line,
    /// To the right edge.
    pub right: Line,
    /// The chosen line of a list.
    pub chosen: bool,
    /// Something that is due.
    pub due: bool,
}

impl Row {
    /// A row of text only.
    #[must_use]
    pub fn text(left: &str) -> Self {
        Self { left: line(left), ..Self::default() }
    }

    /// A name and a figure.
    #[must_use]
    pub fn pair(left: &str, right: Line) -> Self {
        Self { left: line(left), right, ..Self::default() }
    }
}

/// A needle's two bars.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct NeedleBar {
    /// Wear, per mille of its limit.
    pub wear_permille: u16,
    /// Breaks per 100,000 stitches, in per mille of the highest on the head.
    pub breaks_permille: u16,
    /// Due for a new needle.
    pub due: bool,
}

/// What is between title and foot.
// No allocation to put the rows behind; two views at most are kept.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Body {
    /// Rows of text.
    Rows(Vec<Row, ROWS_MAX>),
    /// The first screen.
    Home {
        /// The large figure.
        figure: Line,
        /// What stands beside it.
        beside: Line,
        /// The bar, per mille.
        permille: u16,
        /// The rows below.
        below: [Row; 2],
    },
    /// Bars of the needles.
    Needles {
        /// By needle.
        bars: Vec<NeedleBar, NEEDLES_MAX>,
        /// The needle that `below` speaks of.
        chosen: Option<usize>,
        /// Its figures.
        below: Line,
    },
    /// The read-out code in large letters, three rows.
    Code([Line; 3]),
    /// The read-out code as a QR code.
    Qr([u8; SYMBOLS]),
    /// A reply as it is typed.
    Digits {
        /// The digits, 0 to 9.
        digits: [u8; 8],
        /// The one that is typed.
        at: u8,
        /// The row above.
        above: Row,
    },
}

/// What the foot line speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Foot {
    /// A short press of Act.
    Tap(&'static str),
    /// A long press of Act.
    Hold(&'static str),
}

/// Where a list stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scroll {
    /// First line shown.
    pub first: u8,
    /// Lines shown.
    pub shown: u8,
    /// Lines in all.
    pub total: u8,
}

/// What stands on a screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct View {
    /// The title.
    pub title: Line,
    /// A fault is present.
    pub faulty: bool,
    /// Components and services that are due.
    pub due: u8,
    /// The rest.
    pub body: Body,
    /// What Act does here.
    pub foot: Option<Foot>,
    /// Where a list stands, if it is longer than the screen.
    pub scroll: Option<Scroll>,
}

/// What a screen file gives.
struct Content {
    title: Line,
    body: Body,
    foot: Option<Foot>,
    scroll: Option<Scroll>,
}

impl Content {
    fn new(title: &str, body: Body, foot: Option<Foot>) -> Self {
        Self { title: line(title), body, foot, scroll: None }
    }

    fn rows(title: &str, rows: impl IntoIterator<Item = Row>, foot: Option<Foot>) -> Self {
        let room = if foot.is_some() { ROWS_MAX - 1 } else { ROWS_MAX };
        Self::new(title, Body::Rows(rows.into_iter().take(room).collect()), foot)
    }

    /// A window of a list of `total` rows, with the chosen line in it.
    fn list(
        title: &str,
        total: usize,
        chosen: Option<u8>,
        foot: Option<Foot>,
        row: impl Fn(usize) -> Row,
    ) -> Self {
        let room = if foot.is_some() { ROWS_MAX - 1 } else { ROWS_MAX };
        let line = chosen.map_or(0, usize::from);
        let first = (line + 1).saturating_sub(room);
        let rows = (first..total).take(room).map(|n| {
            let mut row = row(n);
            row.chosen = chosen.is_some_and(|c| usize::from(c) == n);
            row
        });
        let mut content = Self::rows(title, rows, foot);
        content.scroll = (total > room).then_some(Scroll {
            first: first as u8,
            shown: room as u8,
            total: total as u8,
        });
        content
    }
}

/// The view of `screen`.
#[inline(never)]
#[must_use]
pub fn of<R: PanelRules>(screen: &Screen, language: Language, state: &State<'_, R>) -> View {
    let words = language.words();
    let content = match *screen {
        Screen::Top(top) => of_top(top, None, words, state),
        Screen::List { top, line } => of_top(top, Some(line), words, state),
        Screen::Component { place, page, .. } => component::content(place, page, words, state),
        Screen::Confirm { place, .. } => component::confirm(place, words, state),
        Screen::Entry { line } => journal::one(line, words, state),
        Screen::Fault { line } => faults::one(line, words, state),
        Screen::Hint { line, page } => hints::one(line, page, words, state),
        Screen::Code { ref code, qr } => {
            let now = if R::code_holds_still() { None } else { Code::of(&state.machine) };
            notice::code(now.as_ref().unwrap_or(code), qr, words)
        }
        Screen::Challenge { wish, challenge } => service::challenge(wish, challenge, words, state),
        Screen::Reply { challenge, ref typed, .. } => service::reply(challenge, typed, words),
        Screen::Told { notice, .. } => notice::told(notice, words),
    };
    View {
        title: content.title,
        faulty: !state.machine.faults.is_empty(),
        due: count_due(state),
        body: content.body,
        foot: content.foot,
        scroll: content.scroll,
    }
}

fn of_top<R: PanelRules>(
    top: Top,
    line: Option<u8>,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    match top {
        Top::Home => home::content(words, state),
        Top::Needles => needles::content(line, words, state),
        Top::Care => care::content(line, words, state),
        Top::Hints => hints::content(line, words, state),
        Top::Counters => counters::content(line, words, state),
        Top::Service => service::content(words, state),
        Top::ReadOut => notice::readout(words, state),
        Top::Faults => faults::content(line, words, state),
        Top::Journal => journal::content(line, words, state),
        Top::About => about::content(line, words, state),
    }
}

/// Lines of a screen that can be chosen one by one; 0 for a screen without a list.
#[must_use]
pub fn list_lines<R: PanelRules>(top: Top, state: &State<'_, R>) -> u8 {
    let machine = &state.machine;
    let lines = match top {
        Top::Home | Top::Service | Top::ReadOut => 0,
        Top::Needles => usize::from(machine.ledger.settings.needles),
        Top::Care => item::items(machine).count(),
        Top::Hints => machine.hints.len(),
        Top::Counters => counters::lines(state),
        Top::Faults => machine.faults.iter().count(),
        Top::Journal => machine.ledger.history.len(),
        Top::About => about::LINES,
    };
    lines as u8
}

/// The components, the most pressing first.
#[must_use]
pub fn care_order<R: PanelRules>(state: &State<'_, R>) -> Vec<CareItem, COMPONENTS_MAX> {
    let mut order: Vec<CareItem, COMPONENTS_MAX> = Vec::new();
    for item in item::items(&state.machine) {
        let presses_less = |other: &CareItem| item::urgency::<R>(other) < item::urgency::<R>(&item);
        let place = order.iter().position(presses_less).unwrap_or(order.len());
        // Cannot fail: there is room for every component.
        let _ = order.insert(place, item);
    }
    order
}

/// Whether the service interval is used up.
fn service_is_due<R: PanelRules>(state: &State<'_, R>) -> bool {
    let machine = &state.machine;
    machine.lifetime.as_ref().is_some_and(|lifetime| {
        readout::service_is_due::<R>(machine.ledger, R::interval_ms(machine.ledger, lifetime))
    })
}

/// Time since the last service, s; `None` until the past is known.
fn interval_s<R: PanelRules>(state: &State<'_, R>) -> Option<u64> {
    let lifetime = state.machine.lifetime.as_ref()?;
    Some(R::interval_ms(state.machine.ledger, lifetime) / 1_000)
}

fn count_due<R: PanelRules>(state: &State<'_, R>) -> u8 {
    let components =
        item::items(&state.machine).filter(|item| item.standing == Standing::Due).count();
    let service = R::service_counts_as_due() && service_is_due(state);
    components as u8 + u8::from(service)
}

/// The name of components of `kind`, with its number where it has one.
fn name_of(kind: ComponentKind, words: &Words) -> Line {
    let mut name = line(words.care_words(kind).name);
    if kind.0 < 32 || kind.0 >= 40 {
        add(&mut name, " ");
        crate::number::grouped(&mut name, u64::from(kind.0), words.separator);
    }
    name
}
