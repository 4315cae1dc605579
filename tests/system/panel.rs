//! The panel on a real board: what a person can and cannot do with three buttons.

use proptest::prelude::*;
use shaftbook_care::item::items;
use shaftbook_care::machine::Machine;
use shaftbook_core::authority::{KEY_BYTES, Key};
use shaftbook_core::board::Fitting;
use shaftbook_core::component::{ComponentKind, Role, Standing};
use shaftbook_core::ledger::CarriedIn;
use shaftbook_core::time::Instant;
use shaftbook_panel::button::{Button, Press};
use shaftbook_panel::frame::{HEIGHT, WIDTH};
use shaftbook_panel::screen::{Notice, Screen, Top};
use shaftbook_panel::text::Language;
use shaftbook_panel::view::Body;
use shaftbook_tools::gallery::exhibits;
use shaftbook_tools::live::action::Action;
use shaftbook_tools::live::world::World;
use shaftbook_tools::picture::frame_of;
use shaftbook_world::profile::Profile;
use shaftbook_world::scenario::Scenario;

const SHOP: &str = r#"
    name = "Panel bench"
    seed = 7
    [hours]
    working_days = 400
    shifts = [{ start = "08:00", end = "18:00" }]
    [machine]
    needles = 6
    [[designs]]
    name = "Badge"
    blocks = [{ needle = 1, stitches = 900 }, { needle = 2, stitches = 700 }]
"#;

/// A machine just switched on, its board fitted with the care of a six-needle head.
fn world() -> World {
    let scenario = Scenario::parse("bench", SHOP).unwrap();
    let profile = Profile::builtin(6);
    let fitting = Fitting {
        settings: profile.settings(scenario.settings()),
        components: profile.components(false),
        carried_in: CarriedIn::default(),
        key: Key::new([0x5A; KEY_BYTES]),
    };
    let mut world = World::new(&scenario, 7, fitting).unwrap();
    world.act(Action::Wait(5)).unwrap();
    world
}

fn press(world: &mut World, words: &str) {
    for word in words.split_whitespace() {
        world.act(word.parse().unwrap()).unwrap();
    }
}

fn screen(world: &World) -> Screen {
    *world.console().unwrap().panel().screen()
}

/// Opens the care list at the component of `kind`.
fn open(world: &mut World, kind: ComponentKind) {
    press(world, "home act act");
    for _ in 0..32 {
        press(world, "act");
        let Screen::Component { place, .. } = screen(world) else { panic!("no component") };
        let ledger = world.board().unwrap().ledger();
        if ledger.components[usize::from(place)].component.kind == kind {
            return;
        }
        press(world, "back next");
    }
    panic!("not in the profile");
}

fn baselines(world: &World) -> Vec<u64> {
    world.board().unwrap().ledger().components.iter().map(|f| f.baseline).collect()
}

#[test]
fn the_screens_come_round_in_both_directions() {
    let mut world = world();
    for top in Top::ALL.into_iter().skip(1).chain([Top::Home]) {
        press(&mut world, "next");
        assert_eq!(screen(&world), Screen::Top(top));
    }
    press(&mut world, "back");
    assert_eq!(screen(&world), Screen::Top(Top::About));
}

#[test]
fn oil_is_renewed_by_a_long_press_and_a_confirmation_and_not_by_less() {
    let mut world = world();
    press(&mut world, "3h");
    open(&mut world, ComponentKind::HOOK_OIL);
    let before = baselines(&world);
    press(&mut world, "act hold act back");
    assert_eq!(baselines(&world), before, "asked, not confirmed");
    press(&mut world, "hold");
    assert!(matches!(screen(&world), Screen::Confirm { .. }));
    press(&mut world, "hold");
    assert!(matches!(screen(&world), Screen::Told { notice: Notice::Done, .. }));
    let after = baselines(&world);
    assert_eq!(before.iter().zip(&after).filter(|(a, b)| a != b).count(), 1, "only the oil");
    press(&mut world, "off 10s on 10s");
    assert_eq!(baselines(&world), after, "durable");
}

#[test]
fn the_knife_asks_for_the_engineer_and_takes_the_right_reply() {
    let mut world = world();
    press(&mut world, "3h");
    open(&mut world, ComponentKind::FIXED_KNIFE);
    let before = baselines(&world);
    press(&mut world, "hold reply");
    assert_eq!(baselines(&world), before, "typed, not sent");
    press(&mut world, "hold");
    assert!(matches!(screen(&world), Screen::Told { notice: Notice::Done, .. }));
    assert_ne!(baselines(&world), before);
}

#[test]
fn a_wrong_reply_changes_nothing_and_says_so_and_soon_there_is_a_wait() {
    let mut world = world();
    press(&mut world, "1h");
    for tries in 1..=3 {
        press(&mut world, "home next next next next next hold reply next hold");
        let told = screen(&world);
        assert!(matches!(told, Screen::Told { notice: Notice::WrongReply, .. }), "{told:?}");
        assert_eq!(world.board().unwrap().ledger().tries, tries);
    }
    press(&mut world, "home next next next next next hold");
    assert!(matches!(screen(&world), Screen::Told { notice: Notice::Wait(_), .. }));
    assert_eq!(world.board().unwrap().ledger().services, 0);
}

#[test]
fn the_first_screen_comes_back_by_itself() {
    let mut world = world();
    press(&mut world, "next next act 59s");
    assert_ne!(screen(&world), Screen::Top(Top::Home));
    press(&mut world, "2s");
    assert_eq!(screen(&world), Screen::Top(Top::Home));
}

#[test]
fn the_code_holds_still_while_it_is_read_aloud() {
    let mut world = world();
    press(&mut world, "1h home next next next next next next act");
    let shown = world.view().unwrap().body;
    assert!(matches!(shown, Body::Code(_)));
    press(&mut world, "500s");
    assert_eq!(world.view().unwrap().body, shown);
    press(&mut world, "next");
    assert!(matches!(world.view().unwrap().body, Body::Qr(_)));
}

#[test]
fn a_cut_at_the_panel_loses_the_screen_and_nothing_else() {
    let mut world = world();
    press(&mut world, "2h next next off");
    assert_eq!(world.view(), None);
    press(&mut world, "on 5s");
    assert_eq!(screen(&world), Screen::Top(Top::Home));
}

/// The QR code on the screen, in its dark surround, read by another library.
fn read_qr(view: &shaftbook_panel::view::View, scale: usize) -> Option<String> {
    const BORDER: usize = 10;
    let frame = frame_of(view);
    let (width, height) = ((WIDTH + 2 * BORDER) * scale, (HEIGHT + 2 * BORDER) * scale);
    let mut image = rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| {
        let inside = |n: usize| (n / scale).wrapping_sub(BORDER);
        if frame.is_lit(inside(x), inside(y)) { 255 } else { 0 }
    });
    image.detect_grids().first()?.decode().ok().map(|(_, text)| text)
}

#[test]
fn the_qr_code_is_read_by_another_library_in_both_languages() {
    for language in Language::ALL {
        let exhibits = exhibits(language);
        let of = |name: &str| exhibits.iter().find(|e| e.name == name).unwrap();
        let Body::Code(lines) = &of("code").view.body else { panic!("no code") };
        let shown = lines.iter().flat_map(|line| line.chars()).filter(|c| *c != ' ');
        for scale in [2, 3, 5] {
            let read = read_qr(&of("code-qr").view, scale);
            assert_eq!(read, Some(shown.clone().collect()), "{scale} pixels a pixel");
        }
        assert_eq!(read_qr(&of("home").view, 3), None, "where there is none");
    }
}

#[derive(Clone, Copy, Debug)]
enum Does {
    Press(Press),
    Wait(u64),
    Cut,
}

fn does() -> impl Strategy<Value = Does> {
    let button = prop::sample::select(Button::ALL.to_vec());
    prop_oneof![
        12 => button.clone().prop_map(|b| Does::Press(Press::Short(b))),
        4 => button.prop_map(|b| Does::Press(Press::Long(b))),
        1 => (1..4_000_u64).prop_map(Does::Wait),
        1 => Just(Does::Cut),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// However the buttons are pressed without the engineer: nothing of the engineer's
    /// is renewed, nothing is served, no lifetime figure falls, and what is due is
    /// marked on every screen.
    #[test]
    fn no_presses_do_what_is_the_engineers(
        actions in prop::collection::vec(does(), 1..120), hours in 0..9_u64,
    ) {
        let mut world = world();
        world.act(Action::Wait(hours * 3_600)).unwrap();
        // The board is off at night.
        let engineers = |world: &World| -> Option<Vec<u64>> {
            let components = &world.board()?.ledger().components;
            let of_engineer = components.iter().filter(|f| f.component.renewed_by == Role::Engineer);
            Some(of_engineer.map(|f| f.baseline).collect())
        };
        let before = engineers(&world).unwrap();
        let mut stitches = 0;
        for does in actions {
            match does {
                Does::Press(press) => world.act(Action::Press(press)).unwrap(),
                Does::Wait(seconds) => world.act(Action::Wait(seconds)).unwrap(),
                Does::Cut => {
                    world.act(Action::Off).unwrap();
                    stitches = 0;
                    world.act(Action::On).unwrap();
                    world.act(Action::Wait(1)).unwrap();
                }
            }
            let Some(board) = world.board() else { continue };
            prop_assert_eq!(board.ledger().services, 0);
            prop_assert_eq!(engineers(&world), Some(before.clone()));
            let Some(lifetime) = world.lifetime() else { continue };
            prop_assert!(lifetime.stitches() >= stitches, "a count fell");
            stitches = lifetime.stitches();
            let view = world.view().unwrap();
            let mut machine = Machine::of(board, Instant::ZERO);
            machine.lifetime = Some(lifetime);
            let due = items(&machine).filter(|item| item.standing == Standing::Due).count();
            prop_assert_eq!(usize::from(view.due), due, "on {:?}", screen(&world));
            // Everything can be drawn.
            let _ = world.display();
        }
        world.act(Action::Press(Press::Long(Button::Back))).unwrap();
        if world.is_powered() {
            prop_assert_eq!(screen(&world), Screen::Top(Top::Home));
        }
    }
}
