//! What a press does when the machine changes under it.

use core::marker::PhantomData;

use shaftbook_care::machine::Machine;
use shaftbook_core::authority::{KEY_BYTES, Key};
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::{Fitted, Ledger};
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_panel::button::{Button, Press};
use shaftbook_panel::panel::{Ask, Panel, RETURN_US};
use shaftbook_panel::screen::{Notice, Screen, Top};
use shaftbook_panel::state::{Build, MemoryHealth, State};
use shaftbook_panel::view::{Body, View};

const NOW: Instant = Instant::ZERO;

/// A ledger with oil by running time and cleaning by trims.
fn ledger() -> Ledger {
    let mut ledger = Ledger::new(Settings::default(), Key::new([0; KEY_BYTES]));
    for (kind, measure, due) in [
        (ComponentKind::HOOK_OIL, Measure::Running, 8 * 3_600),
        (ComponentKind::TRIMMER_CLEANING, Measure::Trims, 1_000),
    ] {
        let component = Component {
            kind,
            measure,
            renewed_by: Role::Operator,
            with_service: false,
            notice: due / 2,
            due,
        };
        ledger.components.push(Fitted { component, baseline: 0 }).unwrap();
    }
    ledger
}

fn state(ledger: &Ledger, running_h: u64, trims: u64) -> State<'_> {
    let running_ms = running_h * 3_600_000;
    let lifetime = Counters { powered_ms: running_ms, running_ms, trims, ..Counters::default() };
    State {
        machine: Machine {
            id: BoardId(1),
            lifetime: Some(lifetime),
            session: Counters::default(),
            ledger,
            faults: FaultSet::default(),
            day: Some(2_500),
            hints: &[],
            rules: PhantomData,
        },
        memory: MemoryHealth::default(),
        build: Build { version: "0", hash: None },
        clock: None,
    }
}

fn short(panel: &mut Panel, state: &State<'_>, buttons: &[Button]) {
    for button in buttons {
        assert_eq!(panel.press(NOW, Press::Short(*button), state), None);
    }
}

fn chosen(view: &View) -> (usize, String) {
    let Body::Rows(rows) = &view.body else { panic!("no rows") };
    let at = rows.iter().position(|row| row.chosen).expect("a chosen row");
    (at, rows[at].left.as_str().to_owned())
}

#[test]
fn act_opens_the_component_that_is_chosen_however_the_order_changes() {
    let ledger = ledger();
    let (before, after) = (state(&ledger, 1, 200), state(&ledger, 7, 200));
    let mut panel = Panel::new();
    panel.show(NOW, Screen::Top(Top::Care));
    short(&mut panel, &before, &[Button::Act]);
    assert_eq!(chosen(&panel.view(&before)), (0, "Trimmer".into()));
    assert_eq!(chosen(&panel.view(&after)), (1, "Trimmer".into()), "the oil has overtaken it");
    short(&mut panel, &after, &[Button::Act]);
    assert_eq!(panel.view(&after).title, "Trimmer");
    short(&mut panel, &after, &[Button::Back, Button::Next]);
    assert_eq!(chosen(&panel.view(&after)), (0, "Hook oil".into()), "round to the first");
}

#[test]
fn an_answer_that_never_comes_does_not_keep_the_first_screen_away() {
    let mut panel = Panel::new();
    panel.show(NOW, Screen::Told { notice: Notice::Working, since: NOW });
    assert_eq!(panel.deadline(), NOW.plus_us(RETURN_US));
    panel.tick(NOW.plus_us(RETURN_US - 1));
    assert!(matches!(panel.screen(), Screen::Told { .. }), "it may still come");
    panel.tick(panel.deadline());
    assert_eq!(panel.screen(), &Screen::Top(Top::Home));
}

#[test]
fn a_date_that_is_doubted_is_confirmed_by_a_long_press() {
    let ledger = ledger();
    let mut state = state(&ledger, 1, 0);
    state.machine.faults.raise(Fault::ShaftGlitches);
    state.machine.faults.raise(Fault::ClockWrong);
    let hold = |clock, line| {
        let mut panel = Panel::new();
        panel.show(NOW, Screen::Fault { line });
        panel.press(NOW, Press::Long(Button::Act), &State { clock, ..state })
    };
    assert_eq!(hold(Some(3_300), 1), Some(Ask::ConfirmDay(3_300)));
    assert_eq!(hold(Some(3_300), 0), None, "at another fault");
    assert_eq!(hold(Some(2_499), 1), None, "before a day that is known");
    assert_eq!(hold(None, 1), None, "the clock says nothing");
    state.machine.faults.clear(Fault::ClockWrong);
    let mut panel = Panel::new();
    panel.show(NOW, Screen::Fault { line: 0 });
    assert_eq!(
        panel.press(NOW, Press::Long(Button::Act), &State { clock: Some(3_300), ..state }),
        None
    );
}
