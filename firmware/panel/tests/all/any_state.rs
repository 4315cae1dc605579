//! Any state of any machine, on any screen, in any language: nothing panics, every view
//! can be drawn, no row of a plausible machine runs into itself, and no presses renew
//! anything that was not confirmed.

use core::marker::PhantomData;

use proptest::prelude::*;
use shaftbook_care::hint::{Hints, look};
use shaftbook_care::machine::Machine;
use shaftbook_core::authority::{EightDigits, KEY_BYTES, Key};
use shaftbook_core::component::{
    COMPONENTS_MAX, Component, ComponentKind, Measure, Role, Standing,
};
use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::identity::BoardId;
use shaftbook_core::journal::{ComponentSet, EntryNumber, Event};
use shaftbook_core::ledger::{
    CarriedIn, Fitted, HISTORY_MAX, HistoryLine, IntervalBaseline, Ledger,
};
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::settings::{ServiceMeasure, Settings};
use shaftbook_core::time::Instant;
use shaftbook_panel::button::{Button, Press};
use shaftbook_panel::draw::draw;
use shaftbook_panel::frame::Frame;
use shaftbook_panel::panel::{Ask, NOTICE_US, PHONE_RETURN_US, Panel};
use shaftbook_panel::screen::{Notice, Screen, Top, Typed};
use shaftbook_panel::state::{Build, MemoryHealth, State};
use shaftbook_panel::text::{COLUMNS, Language};
use shaftbook_panel::view::{self, Body};
use shaftbook_readout::code::Code;

/// What a [`State`] is borrowed from.
#[derive(Clone, Debug)]
struct Owner {
    id: u64,
    ledger: Ledger,
    lifetime: Option<Counters>,
    session: Counters,
    faults: FaultSet,
    day: Option<u16>,
    memory: MemoryHealth,
    hints: Hints,
}

impl Owner {
    /// With the hints that a look gives.
    fn looked_at(mut self) -> Self {
        self.hints = look(&self.state().machine);
        self
    }

    fn state(&self) -> State<'_> {
        let machine = Machine {
            id: BoardId(self.id),
            lifetime: self.lifetime,
            session: self.session,
            ledger: &self.ledger,
            faults: self.faults,
            day: self.day,
            hints: &self.hints,
            rules: PhantomData,
        };
        State {
            machine,
            memory: self.memory,
            build: Build { version: "0.1.0", hash: Some(0x0123_cdef) },
            clock: self.day.map(|day| day.saturating_add(500)),
        }
    }
}

fn any_u64() -> BoxedStrategy<u64> {
    prop_oneof![
        2 => Just(0),
        1 => Just(u64::MAX),
        3 => 0..2_000_u64,
        3 => any::<u64>().prop_map(|v| v >> (v % 64)),
    ]
    .boxed()
}

fn any_u32() -> BoxedStrategy<u32> {
    prop_oneof![
        2 => Just(0),
        1 => Just(u32::MAX),
        3 => 0..2_000_u32,
        3 => any::<u32>().prop_map(|v| v >> (v % 32)),
    ]
    .boxed()
}

fn any_u16() -> impl Strategy<Value = u16> {
    prop_oneof![Just(0), Just(u16::MAX), 0..3_000_u16, any::<u16>()]
}

fn counters() -> impl Strategy<Value = Counters> {
    (
        prop::array::uniform5(any_u64()),
        prop::array::uniform16(any_u64()),
        prop::array::uniform16(any_u32()),
        prop::array::uniform4(any_u32()),
    )
        .prop_map(|(sums, needle_stitches, needle_breaks, small)| Counters {
            powered_ms: sums[0],
            running_ms: sums[1],
            needle_stitches,
            unattributed_stitches: sums[2],
            jumps: sums[3],
            trims: sums[4],
            needle_breaks,
            unattributed_breaks: small[0],
            power_ups: small[1],
            glitches: small[2],
            missed_edges: small[3],
        })
}

fn fitted() -> impl Strategy<Value = Fitted> {
    let kind = prop_oneof![0..64_u8, any::<u8>()];
    let measure = (0..32_u8).prop_map(|code| Measure::from_code(code).unwrap_or(Measure::Days));
    (kind, measure, any::<bool>(), any::<bool>(), any_u32(), any_u32(), any_u64()).prop_map(
        |(kind, measure, engineer, with_service, notice, due, baseline)| Fitted {
            component: Component {
                kind: ComponentKind(kind),
                measure,
                renewed_by: if engineer { Role::Engineer } else { Role::Operator },
                with_service,
                notice,
                due,
            },
            baseline,
        },
    )
}

fn history_line() -> impl Strategy<Value = HistoryLine> {
    (any::<u32>(), 1..=6_u8, any_u16(), any_u32(), prop::option::of(any_u16())).prop_map(
        |(number, event, subject, powered_s, day)| HistoryLine {
            number: EntryNumber::new(number),
            event: Event::from_code(event).unwrap_or(Event::Served),
            subject,
            powered_s,
            day,
        },
    )
}

fn ledger() -> impl Strategy<Value = Ledger> {
    (
        prop::collection::vec(fitted(), 0..=COMPONENTS_MAX),
        prop::collection::vec(history_line(), 0..=HISTORY_MAX),
        (any_u32(), any_u64(), any_u32()),
        (any_u64(), any_u64()),
        (any_u16(), any_u16(), 0..=NEEDLES_MAX as u8, any::<bool>(), 0..=15_u8),
    )
        .prop_map(|(components, history, stated, interval, small)| {
            let mut ledger = Ledger::new(Settings::default(), Key::new([0; KEY_BYTES]));
            ledger.components.extend(components);
            ledger.history.extend(history);
            ledger.carried_in = CarriedIn { hours: stated.0, stitches: stated.1, trims: stated.2 };
            ledger.interval = IntervalBaseline { powered_ms: interval.0, running_ms: interval.1 };
            ledger.services = small.0;
            ledger.settings.service_interval_h = small.1;
            ledger.settings.needles = small.2;
            if small.3 {
                ledger.settings.service_measure = ServiceMeasure::Running;
            }
            ledger.settings.language = small.4;
            ledger
        })
}

fn owner() -> impl Strategy<Value = Owner> {
    (
        (any::<u64>(), ledger(), prop::option::weighted(0.9, counters()), counters()),
        (any::<u32>(), prop::option::of(any_u16()), any_u16(), any_u32(), any::<bool>()),
    )
        .prop_map(
            |((id, ledger, lifetime, session), (faults, day, retired, laps, of_life))| {
                let mut set = FaultSet::default();
                for fault in Fault::ALL.into_iter().filter(|f| faults >> f.number() & 1 == 1) {
                    set.raise(fault);
                }
                // The session is a part of the lifetime, on a sound board.
                let lifetime = lifetime.map(|l| if of_life { l.plus(&session) } else { l });
                let memory = MemoryHealth { retired_slots: retired, laps };
                let hints = Hints::new();
                Owner { id, ledger, lifetime, session, faults: set, day, memory, hints }.looked_at()
            },
        )
}

/// The same machine with figures that a head can reach in 20 years.
fn plausible(mut owner: Owner) -> Owner {
    const HOUR_MS: u64 = 3_600_000;
    let life_ms = 100_000 * HOUR_MS;
    let of_a_life = |counters: Counters| Counters {
        powered_ms: counters.powered_ms % life_ms,
        running_ms: counters.running_ms % life_ms,
        needle_stitches: counters.needle_stitches.map(|n| n % 600_000_000),
        unattributed_stitches: counters.unattributed_stitches % 100_000_000,
        jumps: counters.jumps % 1_000_000_000,
        trims: counters.trims % 1_000_000_000,
        needle_breaks: counters.needle_breaks.map(|n| n % 100_000),
        unattributed_breaks: counters.unattributed_breaks % 100_000,
        power_ups: counters.power_ups % 100_000,
        glitches: counters.glitches % 100_000_000,
        missed_edges: counters.missed_edges % 100_000_000,
    };
    owner.lifetime = owner.lifetime.map(of_a_life);
    owner.session = of_a_life(owner.session);
    let ledger = &mut owner.ledger;
    for (place, fitted) in ledger.components.iter_mut().enumerate() {
        fitted.component.kind = ComponentKind(1 + place as u8 * 2);
        fitted.component.due = fitted.component.due.max(1);
    }
    for line in &mut ledger.history {
        line.number = EntryNumber::new(line.number.get() % 100_000);
        line.powered_s %= 100_000 * 3_600;
    }
    ledger.carried_in.hours %= 100_000;
    ledger.carried_in.stitches %= 10_000_000_000;
    ledger.carried_in.trims %= 1_000_000_000;
    ledger.settings.service_interval_h = 1 + ledger.settings.service_interval_h % 9_999;
    ledger.settings.needles = ledger.settings.needles.max(1);
    owner.memory.laps %= 100_000;
    owner.memory.retired_slots %= 65;
    owner.looked_at()
}

fn screens(state: &State<'_>, line: u8, page: u8) -> Vec<Screen> {
    let digits = EightDigits::new(12_345_678).unwrap();
    let wishes =
        [Authorised::Service, Authorised::Refit, Authorised::Renew(ComponentSet(u32::from(line)))];
    let mut screens: Vec<Screen> = Top::ALL.into_iter().map(Screen::Top).collect();
    screens.extend(Top::ALL.into_iter().map(|top| Screen::List { top, line }));
    screens.extend([
        Screen::Component { place: line, line, page },
        Screen::Confirm { place: line, line },
        Screen::Entry { line },
        Screen::Fault { line },
        Screen::Hint { line, page },
    ]);
    for wish in wishes {
        screens.push(Screen::Challenge { wish, challenge: None });
        screens.push(Screen::Challenge { wish, challenge: Some(digits) });
        let typed = Typed { digits: [line; 8], at: page };
        screens.push(Screen::Reply { wish, challenge: digits, typed });
    }
    for notice in [
        Notice::Working,
        Notice::Done,
        Notice::WrongReply,
        Notice::Wait(u32::MAX),
        Notice::Busy,
        Notice::NotReady,
        Notice::AskAnew,
    ] {
        screens.push(Screen::Told { notice, since: Instant::ZERO });
    }
    if let Some(code) = Code::of(&state.machine) {
        screens.extend([Screen::Code { code, qr: false }, Screen::Code { code, qr: true }]);
    }
    screens
}

fn press() -> impl Strategy<Value = Press> {
    let button = prop_oneof![
        1 => Just(Button::Back),
        4 => Just(Button::Next),
        4 => Just(Button::Act),
    ];
    (button, prop::bool::weighted(0.3))
        .prop_map(|(button, long)| if long { Press::Long(button) } else { Press::Short(button) })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_state_is_shown_on_any_screen(
        owner in owner(), line in prop_oneof![0..40_u8, any::<u8>()],
        page in prop_oneof![0..9_u8, any::<u8>()],
    ) {
        let state = owner.state();
        for screen in screens(&state, line, page) {
            for language in Language::ALL {
                let view = view::of(&screen, language, &state);
                let mut frame = Frame::new();
                draw(&view, &mut frame).unwrap();
                // What is due is counted on every screen.
                let lifetime = owner.lifetime.as_ref();
                let due = owner.ledger.components.iter().enumerate().filter(|(place, fitted)| {
                    lifetime.and_then(|l| owner.ledger.wear(*place, l, owner.day)).is_some_and(
                        |wear| fitted.component.standing(wear) == Standing::Due)
                });
                prop_assert!(usize::from(view.due) >= due.count());
            }
        }
    }

    /// Name and figure of a row stand apart, beside the bar of a long list too.
    #[test]
    fn no_row_of_a_plausible_machine_runs_into_itself(
        owner in owner().prop_map(plausible), line in 0..32_u8, wait_s in 0..=86_400_u32,
    ) {
        let state = owner.state();
        let mut screens = screens(&state, line, 0);
        screens.retain(|screen| !matches!(screen, Screen::Told { .. }));
        screens.push(Screen::Told { notice: Notice::Wait(wait_s), since: Instant::ZERO });
        for (screen, language) in screens.into_iter().flat_map(|s| Language::ALL.map(|l| (s, l))) {
            let view = view::of(&screen, language, &state);
            let Body::Rows(rows) = &view.body else { continue };
            let room = if view.scroll.is_some() { COLUMNS - 1 } else { COLUMNS };
            for row in rows.iter().filter(|row| !row.right.is_empty() || view.scroll.is_none()) {
                let (left, right) = (row.left.chars().count(), row.right.chars().count());
                // Light on dark beside dark on light is apart enough.
                let gap = usize::from(left > 0 && right > 0 && !row.due);
                prop_assert!(left + gap + right <= room, "{screen:?}: {:?} {:?}", row.left, row.right);
            }
        }
    }

    /// The machine changes under the fingers, between any two presses, as it likes.
    #[test]
    fn any_presses_on_a_machine_that_changes(
        owners in prop::collection::vec(owner(), 1..4),
        presses in prop::collection::vec((press(), 0..4_usize, 0..8_u8), 1..60),
    ) {
        let mut panel = Panel::new();
        let mut now = Instant::ZERO;
        for (press, which, answer) in presses {
            let owner = &owners[which % owners.len()];
            let state = owner.state();
            let before = *panel.screen();
            let asked = panel.press(now, press, &state);
            match asked {
                Some(Ask::Renew(set)) => {
                    let Screen::Confirm { place, .. } = before else {
                        panic!("renewed without being asked: {before:?}");
                    };
                    prop_assert_eq!(set, ComponentSet::only(usize::from(place)));
                    prop_assert_eq!(press, Press::Long(Button::Act));
                }
                Some(Ask::Challenge(_)) if answer == 0 => {
                    panel.refused(now, Refusal::Wait { seconds: u32::MAX });
                }
                Some(Ask::Challenge(_)) => panel.challenge(EightDigits::new(0).unwrap()),
                Some(Ask::ConfirmDay(day)) => {
                    prop_assert!(matches!(before, Screen::Fault { .. }), "{before:?}");
                    prop_assert!(Some(day) >= state.machine.day);
                    panel.day_confirmed(now, answer > 3);
                }
                Some(Ask::Reply(_)) | None => {}
            }
            let mut frame = Frame::new();
            draw(&panel.view(&state), &mut frame).unwrap();
            now = now.plus_us(u64::from(answer) * 20_000_000);
            panel.tick(now);
            if answer == 7 && let Screen::Told { notice: Notice::Working, .. } = panel.screen() {
                panel.refused(now, Refusal::NotReady);
            }
        }
        if matches!(panel.screen(), Screen::Told { notice: Notice::Working, .. }) {
            panel.refused(now, Refusal::Busy);
        }
        now = now.plus_us(PHONE_RETURN_US.max(NOTICE_US));
        panel.tick(now);
        prop_assert_eq!(panel.screen(), &Screen::Top(Top::Home));
    }
}
