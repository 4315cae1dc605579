//! The main loop of the boards on a simulated chip: the same loop as on the images, here
//! with every edge, transaction and sleep under control.

use shaftbook_core::board::Fitting;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::Event;
use shaftbook_core::ledger::HistoryLine;
use shaftbook_core::medium::Geometry;
use shaftbook_core::settings::NeedleSource;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_mainloop::hardware::SLEEP_MAX_US;
use shaftbook_mainloop::showing::REFRESH_US;
use shaftbook_mainloop::stop::{Stop, StopKind};
use shaftbook_panel::button::Button;
use shaftbook_panel::frame::Frame;
use shaftbook_panel::screen::{Screen, Top};
use shaftbook_tools::picture::frame_of;
use shaftbook_tools::sew::run::run;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::firmware::{Firmware, VERSION};
use shaftbook_world::bench::{Bench, Meant};
use shaftbook_world::bus::{Bus, DisplayFailure, Part, Tear, Timing};
use shaftbook_world::fitting::fit;
use shaftbook_world::fitting::plain_fitting;
use shaftbook_world::profile::Profile;
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::{Sewing, SewingEvent, Timed};

const ID: BoardId = BoardId(0x5EED_0000_0000_0001);
/// Ten minutes, densely sewn, with a warning at the end: that of the image tests.
const SCENARIO: &str =
    concat!(env!("CARGO_MANIFEST_DIR"), "/../host-sim/scenarios/ten-minute-head.toml");

fn scenario() -> Scenario {
    Scenario::load(SCENARIO.as_ref()).unwrap()
}

fn bus_fitted(fitting: &Fitting) -> Bus {
    let image = fit(ID, fitting, None).unwrap();
    let part = Part::from_image(image, Geometry::REFERENCE).unwrap();
    Bus::new(part, Timing::FAST_MODE, 3)
}

/// The signals of the scenario's one power-up, by the time since then, and its end, µs.
fn session(scenario: &Scenario) -> (Vec<(u64, Input)>, u64) {
    let mut events = Sewing::new(scenario, scenario.seed);
    let first = events.next().unwrap();
    assert_eq!(first.event, SewingEvent::PowerUp);
    let mut incoming = Vec::new();
    for Timed { at_us, event } in events {
        let at_us = at_us - first.at_us;
        match event {
            SewingEvent::Input(input) => incoming.push((at_us, input)),
            SewingEvent::Cut => return (incoming, at_us),
            SewingEvent::PowerUp => break,
        }
    }
    panic!("the session ends with a cut");
}

/// The firmware, just powered on `bus`, and what will come in.
fn running(bus: Bus, incoming: impl IntoIterator<Item = (u64, Input)>) -> Bench<Firmware> {
    after_stop(bus, incoming, None)
}

fn after_stop(
    bus: Bus,
    incoming: impl IntoIterator<Item = (u64, Input)>,
    last_stop: Option<Stop>,
) -> Bench<Firmware> {
    let device = Firmware::after_stop(ID, WiredPart::REFERENCE, last_stop);
    let mut bench = Bench::started(bus, device);
    for (at_us, input) in incoming {
        bench.feed(Instant::from_us(at_us), input, Meant::Nothing);
    }
    bench
}

fn run_until(bench: &mut Bench<Firmware>, at_us: u64) {
    bench.pass_to(at_us, &mut |_| {});
}

/// Types a line at the port and runs for a while; what was said since.
fn ask(bench: &mut Bench<Firmware>, line: &str) -> String {
    bench.device.pins.said.clear();
    bench.device.pins.typed.extend(line.bytes().chain([b'\n']));
    run_until(bench, bench.now_us + 2_000_000);
    bench.device.pins.said.clone()
}

/// What a new board finds on the part.
fn found(bus: &Bus) -> Counters {
    let mut bench: Bench<Core> = Bench::on(bus.clone(), ID);
    assert!(bench.rest(&mut |_| {}));
    *bench.board().past().unwrap()
}

fn same_counts(a: &Counters, b: &Counters) {
    assert_eq!(a.needle_stitches, b.needle_stitches);
    assert_eq!(a.unattributed_stitches, b.unattributed_stitches);
    assert_eq!((a.trims, a.jumps, a.breaks()), (b.trims, b.jumps, b.breaks()));
    assert_eq!(a.needle_breaks, b.needle_breaks);
}

/// Sews the session to its cut on a bus.
fn sew(bus: Bus) -> Bench<Firmware> {
    let (incoming, cut_us) = session(&scenario());
    let mut bench = running(bus, incoming);
    run_until(&mut bench, cut_us);
    bench
}

#[test]
fn the_loop_counts_what_the_simulator_counts_and_what_truly_happened() {
    let scenario = scenario();
    let outcome = run(&scenario, scenario.seed, &mut (), |_| {}).unwrap();
    assert!(outcome.broken.is_empty(), "{:?}", outcome.broken);
    for with_display in [false, true] {
        let mut bus = bus_fitted(&plain_fitting(scenario.settings()));
        if with_display {
            bus = bus.with_display(5);
        }
        let mut bench = sew(bus);
        bench.bus.power_cycle(Tear::Old);
        let counted = found(&bench.bus);
        assert!(counted.stitches() > 3_000, "{}", counted.stitches());
        same_counts(&counted, &outcome.counted);
        same_counts(&counted, &outcome.truth.counters());
        assert_eq!(counted.missed_edges, 0);
        assert!(bench.device.pins.longest_unfed_us < u64::from(2 * SLEEP_MAX_US));
    }
}

#[test]
fn a_warning_is_answered_and_lamp_and_buzzer_spared() {
    let scenario = scenario();
    let (mut incoming, cut_us) = session(&scenario);
    incoming.retain(|(_, input)| !matches!(input, Input::PowerFail(_)));
    let at_us = cut_us - 2_000_000;
    incoming.retain(|(input_us, _)| *input_us < at_us);
    incoming.push((at_us, Input::PowerFail(Level::Active)));
    let bus = bus_fitted(&plain_fitting(scenario.settings())).with_display(5);
    let mut bench = running(bus, incoming);
    // A press just before: the buzzer sounds when the warning comes.
    for (before_us, level) in [(150_000, Level::Active), (30_000, Level::Inactive)] {
        bench.device.button(Instant::from_us(at_us - before_us), Button::Next, level);
    }
    run_until(&mut bench, at_us - 5_000);
    assert!(bench.device.pins.lamp && bench.device.pins.buzzer);
    let before = bench.board().saved().powered_ms;
    run_until(&mut bench, at_us);
    let answered = |bench: &Bench<Firmware>| bench.board().saved().powered_ms > before;
    while !answered(&bench) && bench.now_us < at_us + 20_000 {
        bench.turn(at_us + 20_000, &mut |_| {});
        let is_dark = !bench.device.pins.lamp && !bench.device.pins.buzzer;
        assert!(is_dark || answered(&bench), "spared from the first turn on");
    }
    run_until(&mut bench, at_us + 20_000);
    let now = Instant::from_us(at_us);
    let saved = *bench.board().saved();
    assert!(saved.powered_ms > before);
    let session = bench.board().session(now);
    assert_eq!(saved.stitches(), session.stitches(), "20 ms are enough");
    assert_eq!(saved.trims, session.trims);
}

/// A burst of noise fills the queue while the loop is held up; its last edge is the warning.
#[test]
fn a_warning_that_found_the_queue_full_is_answered() {
    let shaft = |n: u64| Input::Shaft(Level::from_bool(n.is_multiple_of(2)));
    let burst = (0..400).map(|n| (3_000_000 + n, shaft(n)));
    let warning = [(3_000_400, Input::PowerFail(Level::Active))];
    let bus = bus_fitted(&plain_fitting(scenario().settings()));
    let mut bench = running(bus, burst.chain(warning));
    run_until(&mut bench, 2_999_900);
    bench.now_us = 3_000_500;
    let before = bench.board().saved().powered_ms;
    run_until(&mut bench, 3_020_500);
    assert!(bench.board().faults().contains(Fault::EdgesMissed), "edges were lost");
    let saved_ms = bench.board().saved().powered_ms - before;
    assert!(saved_ms >= 2_000, "the warning was answered: {saved_ms} ms more are durable");
}

/// A spike of one µs less than the debounce time, whose end comes while the loop looks at
/// the timer; the warning beside it makes the board look at everything at once.
#[test]
fn a_spike_that_ends_while_the_loop_looks_at_the_timer_is_no_pulse() {
    let settings = scenario().settings();
    let length_us = u64::from(settings.shaft_debounce_us) - 1;
    let spike = [
        (3_000_000, Input::Shaft(Level::Active)),
        (3_000_010, Input::PowerFail(Level::Active)),
        (3_000_000 + length_us, Input::Shaft(Level::Inactive)),
    ];
    let mut bench = running(bus_fitted(&plain_fitting(settings)), spike);
    run_until(&mut bench, 2_999_000);
    bench.device.pins.look_us = 5;
    bench.now_us = 3_000_000 + length_us - 1;
    bench.turn(3_100_000, &mut |_| {});
    run_until(&mut bench, 3_100_000);
    assert_eq!(bench.board().session(bench.now()).stitches(), 0);
    assert_eq!(bench.board().session(bench.now()).jumps, 0);
}

#[test]
fn the_display_shows_the_panels_screen_and_is_woken_anew() {
    let profile = Profile::builtin(6);
    let fitting = Fitting {
        components: profile.components(false),
        ..plain_fitting(profile.settings(scenario().settings()))
    };
    let mut bench = running(bus_fitted(&fitting).with_display(9), []);
    run_until(&mut bench, 3_000_000);
    let display = bench.bus.display().unwrap();
    assert!(display.is_on(), "no button was needed");
    assert_eq!(display.unknown_commands(), &[] as &[u8]);
    let shown = Frame::from_bytes(*display.ram());
    assert!(shown != Frame::new(), "something stands there");
    // It comes back by itself, also when it was away.
    bench.bus.display_mut().unwrap().fail_after(0, DisplayFailure::Dies);
    run_until(&mut bench, REFRESH_US + 5_000_000);
    bench.bus = bench.bus.clone().with_display(77);
    assert!(!bench.bus.display().unwrap().is_on());
    run_until(&mut bench, REFRESH_US + 10_000_000);
    let display = bench.bus.display().unwrap();
    assert!(display.is_on());
    let shown = Frame::from_bytes(*display.ram());
    assert_eq!(shown, frame_of(&bench.device.view(bench.now())));
}

#[test]
fn a_button_leads_to_the_next_screen() {
    let bus = bus_fitted(&plain_fitting(scenario().settings())).with_display(9);
    let mut bench = running(bus, []);
    for (at_us, level) in [(2_000_000, Level::Active), (2_100_000, Level::Inactive)] {
        bench.device.button(Instant::from_us(at_us), Button::Next, level);
    }
    let screen = |bench: &Bench<Firmware>| *bench.device.main_loop().console().panel().screen();
    run_until(&mut bench, 1_900_000);
    assert_eq!(screen(&bench), Screen::Top(Top::Home));
    run_until(&mut bench, 2_300_000);
    assert_ne!(screen(&bench), Screen::Top(Top::Home));
}

#[test]
fn the_port_tells_the_state_and_takes_nonsense() {
    let mut bench = sew(bus_fitted(&plain_fitting(scenario().settings())));
    let said = ask(&mut bench, "state");
    let now = bench.now();
    let lifetime = bench.board().lifetime(now).unwrap();
    for line in [
        format!("version {VERSION}"),
        format!("stitches {}", lifetime.stitches()),
        format!("trims {}", lifetime.trims),
        format!("needle 2 {}", lifetime.needle_stitches[1]),
        format!("breaks 5 {}", lifetime.needle_breaks[4]),
        "needle 16 0".to_owned(),
    ] {
        assert!(said.lines().any(|l| l == line), "{line} in:\n{said}");
    }
    assert_eq!(said.lines().last(), Some("end"));
    assert_eq!(ask(&mut bench, "what is this"), "? help\n");
    assert_eq!(ask(&mut bench, &"x".repeat(500)), "", "overlong");
    assert_eq!(ask(&mut bench, "st\u{0}\u{7f}ate\r"), "? help\n", "noise on the line");
    assert_eq!(ask(&mut bench, "watch\r"), "watching\n");
    bench.device.pins.said.clear();
    let until_us = bench.now_us + 70_000_000;
    run_until(&mut bench, until_us);
    let saved = bench.board().saved();
    let durable = format!("durable {} {} ", saved.stitches(), saved.trims);
    let said = &bench.device.pins.said;
    assert!(said.contains(&durable), "{said}");
}

#[test]
fn a_stop_before_the_reset_is_told_and_in_the_journal() {
    let stop = Stop { kind: StopKind::Panic, place: 99 };
    let bus = bus_fitted(&plain_fitting(scenario().settings()));
    let mut bench = after_stop(bus, [], Some(stop));
    assert!(
        ask(&mut bench, "state").contains(&format!("fault {}\n", Fault::FirmwareStopped.number()))
    );
    let ledger = bench.board().ledger();
    let seen = |line: &HistoryLine| {
        line.event == Event::FaultSeen && line.subject == Fault::FirmwareStopped.number()
    };
    assert_eq!(ledger.history.iter().filter(|line| seen(line)).count(), 1);
}

#[test]
fn an_empty_clock_socket_is_no_fault() {
    let mut bench = running(bus_fitted(&plain_fitting(scenario().settings())), []);
    run_until(&mut bench, 10_000_000);
    assert!(bench.board().is_ready());
    assert!(bench.board().faults().is_empty());
}

#[test]
fn the_needle_voltage_is_read_where_the_settings_say_so() {
    let mut settings = scenario().settings();
    settings.needle_source = NeedleSource::Level;
    for (n, level) in settings.needle_level_mv.iter_mut().enumerate() {
        *level = 500 + 500 * n as u16;
    }
    let pulses = (0..200_u64).flat_map(|n| {
        [(0, Level::Active), (20_000, Level::Inactive)].map(|(after_us, level)| {
            let at_us = 1_000_000 + n * 60_000 + after_us;
            (at_us, Input::Shaft(level))
        })
    });
    let mut bench = running(bus_fitted(&plain_fitting(settings)), pulses);
    bench.device.pins.level_mv = Some(1_520);
    run_until(&mut bench, 14_000_000);
    let session = bench.board().session(bench.now());
    assert_eq!(session.needle_stitches[2], 200);
}
