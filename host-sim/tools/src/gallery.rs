//! Every screen of the panel, on an invented machine: for the pictures in the
//! documents, the golden tests, and a newcomer's first look.
//!
//! The figures are made up, and chosen so that every screen has something to show.

mod machine;

use shaftbook_core::authority::EightDigits;
use shaftbook_core::service::Authorised;
use shaftbook_core::time::Instant;
use shaftbook_panel::panel::Panel;
use shaftbook_panel::screen::{Notice, Screen, Top, Typed};
use shaftbook_panel::text::Language;
use shaftbook_panel::view::View;
use shaftbook_readout::code::Code;

use machine::Demo;

/// One screen with a name.
pub struct Exhibit {
    /// Its name: letters, digits and hyphens.
    pub name: &'static str,
    /// What it shows, in a sentence.
    pub caption: &'static str,
    /// What stands on it.
    pub view: View,
}

/// Every screen, in the order in which a person meets them.
#[must_use]
pub fn exhibits(language: Language) -> Vec<Exhibit> {
    let steady = Demo::steady();
    let mut all: Vec<Exhibit> = steady_screens(&steady)
        .into_iter()
        .map(|(name, caption, screen)| exhibit(name, caption, screen, &steady, language))
        .collect();
    let mut add = |name, caption, screen, demo: &Demo| {
        all.push(exhibit(name, caption, screen, demo, language));
    };
    let due = Demo::overdue();
    add("home-due", "service overdue, care due, a fault", Screen::Top(Top::Home), &due);
    add("service-due", "the service interval is used up", Screen::Top(Top::Service), &due);
    add("faults", "the faults by name", Screen::List { top: Top::Faults, line: 0 }, &due);
    add("fault", "one fault: what it means, what to do", Screen::Fault { line: 0 }, &due);
    add("hints", "where to look first", Screen::List { top: Top::Hints, line: 0 }, &due);
    add("hint", "one hint: what to look at", Screen::Hint { line: 0, page: 0 }, &due);
    add("hint-why", "one hint: the figures behind it", Screen::Hint { line: 0, page: 1 }, &due);
    let stored = Demo::long_stored();
    add("fault-date", "a date to confirm", Screen::Fault { line: 0 }, &stored);
    let old = Demo::rolled_over();
    add("home-rolled-over", "the hours have rolled over, and say so", Screen::Top(Top::Home), &old);
    add(
        "counters-rolled-over",
        "a count has rolled over, and says so",
        Screen::Top(Top::Counters),
        &old,
    );
    let lost = Demo::without_memory();
    add("home-not-known", "the memory does not answer", Screen::Top(Top::Home), &lost);
    add("fault-memory", "what to do then", Screen::Fault { line: 0 }, &lost);
    all
}

fn steady_screens(demo: &Demo) -> Vec<(&'static str, &'static str, Screen)> {
    let top = Screen::Top;
    let knife = demo.place_of(shaftbook_core::component::ComponentKind::FIXED_KNIFE);
    let oil = demo.place_of(shaftbook_core::component::ComponentKind::HOOK_OIL);
    let challenge = EightDigits::new(40_719_263);
    let wish = Authorised::Service;
    let reply = |at, digits| Screen::Reply {
        wish,
        challenge: challenge.unwrap_or_else(|| unreachable!("eight digits")),
        typed: Typed { digits, at },
    };
    let told = |notice| Screen::Told { notice, since: Instant::ZERO };
    let mut screens = vec![
        ("home", "hours since service and in all, and what is due next", top(Top::Home)),
        ("needles", "wear of each needle, and its thread breaks", top(Top::Needles)),
        ("needle", "one needle chosen", Screen::List { top: Top::Needles, line: 4 }),
        ("care", "the care list, the most pressing first", top(Top::Care)),
        ("care-chosen", "a line chosen", Screen::List { top: Top::Care, line: 6 }),
        ("component", "wear, what is left, what to do", component(oil, 0)),
        ("component-figures", "wear, limit, what is left, days", component(knife, 1)),
        ("component-caution", "the caution that belongs to it", component(oil, 2)),
        ("confirm", "before anything is renewed", Screen::Confirm { place: oil, line: 0 }),
        ("component-engineer", "a part that is the engineer's", component(knife, 0)),
        ("hints-none", "no sign of a fault", top(Top::Hints)),
        ("counters", "all counters", top(Top::Counters)),
        ("counters-stated", "what was stated", Screen::List { top: Top::Counters, line: 13 }),
        ("service", "the service interval", top(Top::Service)),
        ("challenge", "to read to the engineer", Screen::Challenge { wish, challenge }),
        ("reply", "typing the engineer's reply", reply(3, [6, 0, 2, 5, 0, 0, 0, 0])),
        ("reply-last", "the last digit", reply(7, [6, 0, 2, 5, 1, 8, 8, 4])),
        ("told-working", "what was asked is being stored", told(Notice::Working)),
        ("told-done", "it is durable", told(Notice::Done)),
        ("told-wrong", "the reply was wrong", told(Notice::WrongReply)),
        ("told-wait", "too many tries", told(Notice::Wait(240))),
        ("read-out", "the read-out code", top(Top::ReadOut)),
    ];
    if let Some(code) = Code::of(&demo.state().machine) {
        screens.push(("code", "large, to read aloud", Screen::Code { code, qr: false }));
        screens.push(("code-qr", "the same as a QR code", Screen::Code { code, qr: true }));
    }
    screens.extend([
        ("faults-none", "no faults", top(Top::Faults)),
        ("journal", "what was done and seen, the newest first", top(Top::Journal)),
        ("entry", "one entry of the journal", Screen::Entry { line: 5 }),
        ("about", "the board, measured and stated hours apart", top(Top::About)),
        (
            "about-more",
            "its memory, its version, the hash",
            Screen::List { top: Top::About, line: 7 },
        ),
    ]);
    screens
}

const fn component(place: u8, page: u8) -> Screen {
    Screen::Component { place, line: 0, page }
}

fn exhibit(
    name: &'static str,
    caption: &'static str,
    screen: Screen,
    demo: &Demo,
    language: Language,
) -> Exhibit {
    let mut panel = Panel::new();
    panel.speak(Some(language));
    panel.show(Instant::ZERO, screen);
    Exhibit { name, caption, view: panel.view(&demo.state()) }
}
