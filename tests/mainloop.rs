//! The main loop of the boards on a simulated chip: the same loop as on the images, here
//! with every edge, transaction and sleep under control.

use shaftbook_core::board::Fitting;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::Event as JournalEvent;
use shaftbook_core::ledger::HistoryLine;
use shaftbook_core::medium::Geometry;
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_core::time::Instant;
use shaftbook_mainloop::hardware::SLEEP_MAX_US;
use shaftbook_mainloop::showing::REFRESH_US;
use shaftbook_mainloop::stop::{Stop, StopKind};
use shaftbook_panel::button::Button;
use shaftbook_panel::frame::Frame;
use shaftbook_panel::screen::{Screen, Top};
use shaftbook_tools::picture::frame_of;
use shaftbook_tools::sew::run::run;
use shaftbook_world::bus::{Bus, DisplayFailure, Part, Tear, Timing};
use shaftbook_world::fitting::fit;
use shaftbook_world::fitting::plain_fitting;
use shaftbook_world::profile::Profile;
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::{Event, Sewing, Timed};
use system_tests::chip::{Incoming, Queues, Running};

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

/// The events of the scenario's one power-up, on the chip's time.
fn session(scenario: &Scenario) -> (Vec<Incoming>, u64) {
    let mut events = Sewing::new(scenario, scenario.seed);
    let first = events.next().unwrap();
    assert_eq!(first.event, Event::PowerUp);
    let mut incoming = Vec::new();
    for timed in events {
        let at_us = timed.at_us - first.at_us;
        if timed.event == Event::Cut {
            return (incoming, at_us);
        }
        incoming.push(Incoming::Machine(Timed { at_us, event: timed.event }));
    }
    panic!("the session ends with a cut");
}

/// What a new board finds on the part.
fn found(bus: &Bus) -> Counters {
    let mut board: shaftbook_world::bench_board::Bench =
        shaftbook_world::bench_board::Bench::new(bus.clone(), ID, Settings::default()).unwrap();
    board.power_up(1_000_000_000);
    board.run_until(1_002_000_000, |_| {});
    *board.board().unwrap().past().unwrap()
}

fn same_counts(a: &Counters, b: &Counters) {
    assert_eq!(a.needle_stitches, b.needle_stitches);
    assert_eq!(a.unattributed_stitches, b.unattributed_stitches);
    assert_eq!((a.trims, a.jumps, a.breaks()), (b.trims, b.jumps, b.breaks()));
    assert_eq!(a.needle_breaks, b.needle_breaks);
}

/// Sews the session to its cut on a bus; the running loop, stopped at the cut.
fn sew(queues: &mut Queues, bus: Bus) -> Running<'_> {
    let (incoming, cut_us) = session(&scenario());
    let mut running = Running::power_up(queues, bus, ID, incoming, None);
    running.run_until(cut_us);
    running
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
        let mut queues = Queues::default();
        let mut running = sew(&mut queues, bus);
        running.chip.bus.power_cycle(Tear::Old);
        let counted = found(&running.chip.bus);
        assert!(counted.stitches() > 3_000, "{}", counted.stitches());
        same_counts(&counted, &outcome.counted);
        same_counts(&counted, &outcome.truth.counters());
        assert_eq!(counted.missed_edges, 0);
        assert!(running.chip.longest_unfed_us < u64::from(2 * SLEEP_MAX_US));
    }
}

#[test]
fn a_warning_is_answered_and_lamp_and_buzzer_spared() {
    let scenario = scenario();
    let (mut incoming, cut_us) = session(&scenario);
    incoming.retain(|i| {
        !matches!(i, Incoming::Machine(Timed { event: Event::Input(Input::PowerFail(_)), .. }))
    });
    // A press just before: the buzzer sounds when the warning comes.
    let at_us = cut_us - 2_000_000;
    incoming.retain(|i| match i {
        Incoming::Machine(timed) => timed.at_us < at_us,
        Incoming::Button(..) => true,
    });
    for (before_us, level) in [(150_000, Level::Active), (30_000, Level::Inactive)] {
        incoming.push(Incoming::Button(at_us - before_us, Button::Next, level));
    }
    incoming.sort_by_key(|i| match i {
        Incoming::Machine(timed) => timed.at_us,
        Incoming::Button(at_us, ..) => *at_us,
    });
    let warning = Input::PowerFail(Level::Active);
    incoming.push(Incoming::Machine(Timed::input(at_us, warning)));
    let bus = bus_fitted(&plain_fitting(scenario.settings())).with_display(5);
    let mut queues = Queues::default();
    let mut running = Running::power_up(&mut queues, bus, ID, incoming, None);
    running.run_until(at_us - 5_000);
    assert!(running.chip.lamp && running.chip.buzzer);
    let before = running.unit.board().saved().powered_ms;
    running.run_until(at_us);
    let answered = |running: &Running<'_>| running.unit.board().saved().powered_ms > before;
    while !answered(&running) && running.chip.now_us() < at_us + 20_000 {
        running.turn();
        let is_dark = !running.chip.lamp && !running.chip.buzzer;
        assert!(is_dark || answered(&running), "spared from the first turn on");
    }
    running.run_until(at_us + 20_000);
    let now = Instant::from_us(at_us);
    let saved = *running.unit.board().saved();
    assert!(saved.powered_ms > before);
    let session = running.unit.board().session(now);
    assert_eq!(saved.stitches(), session.stitches(), "20 ms are enough");
    assert_eq!(saved.trims, session.trims);
}

/// A burst of noise fills the queue while the loop is held up; its last edge is the warning.
#[test]
fn a_warning_that_found_the_queue_full_is_answered() {
    let shaft = |n: u64| Input::Shaft(Level::from_bool(n.is_multiple_of(2)));
    let burst = (0..400).map(|n| (3_000_000 + n, shaft(n)));
    let warning = [(3_000_400, Input::PowerFail(Level::Active))];
    let incoming =
        burst.chain(warning).map(|(at_us, input)| Incoming::Machine(Timed::input(at_us, input)));
    let mut queues = Queues::default();
    let bus = bus_fitted(&plain_fitting(scenario().settings()));
    let mut running = Running::power_up(&mut queues, bus, ID, incoming, None);
    running.run_until(2_999_900);
    running.chip.advance_to(3_000_500);
    let before = running.unit.board().saved().powered_ms;
    running.run_until(3_020_500);
    assert!(running.unit.board().faults().contains(Fault::EdgesMissed), "edges were lost");
    let saved_ms = running.unit.board().saved().powered_ms - before;
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
    ]
    .map(|(at_us, input)| Incoming::Machine(Timed::input(at_us, input)));
    let mut queues = Queues::default();
    let bus = bus_fitted(&plain_fitting(settings));
    let mut running = Running::power_up(&mut queues, bus, ID, spike, None);
    running.run_until(2_999_000);
    running.chip.look_us = 5;
    running.chip.advance_to(3_000_000 + length_us - 1);
    running.turn();
    running.run_until(3_100_000);
    assert_eq!(running.unit.board().session(running.now()).stitches(), 0);
    assert_eq!(running.unit.board().session(running.now()).jumps, 0);
}

#[test]
fn the_display_shows_the_panels_screen_and_is_woken_anew() {
    let profile = Profile::builtin(6);
    let fitting = Fitting {
        components: profile.components(false),
        ..plain_fitting(profile.settings(scenario().settings()))
    };
    let mut queues = Queues::default();
    let bus = bus_fitted(&fitting).with_display(9);
    let mut running = Running::power_up(&mut queues, bus, ID, [], None);
    running.run_until(3_000_000);
    let display = running.chip.bus.display().unwrap();
    assert!(display.is_on(), "no button was needed");
    assert_eq!(display.unknown_commands(), &[] as &[u8]);
    let shown = Frame::from_bytes(*display.ram());
    assert!(shown != Frame::new(), "something stands there");
    // It comes back by itself, also when it was away.
    running.chip.bus.display_mut().unwrap().fail_after(0, DisplayFailure::Dies);
    running.run_until(REFRESH_US + 5_000_000);
    let bus = core::mem::replace(&mut running.chip.bus, bus_fitted(&fitting));
    running.chip.bus = bus.with_display(77);
    assert!(!running.chip.bus.display().unwrap().is_on());
    running.run_until(REFRESH_US + 10_000_000);
    let display = running.chip.bus.display().unwrap();
    assert!(display.is_on());
    assert_eq!(Frame::from_bytes(*display.ram()), expected(&running));
}

/// The picture of the screen that the panel stands at, redrawn whole.
fn expected(running: &Running<'_>) -> Frame {
    frame_of(&running.unit.view(running.now()))
}

#[test]
fn a_button_leads_to_the_next_screen() {
    let mut queues = Queues::default();
    let press = [(2_000_000, Level::Active), (2_100_000, Level::Inactive)]
        .map(|(at_us, level)| Incoming::Button(at_us, Button::Next, level));
    let bus = bus_fitted(&plain_fitting(scenario().settings())).with_display(9);
    let mut running = Running::power_up(&mut queues, bus, ID, press, None);
    running.run_until(1_900_000);
    assert_eq!(*running.unit.console().panel().screen(), Screen::Top(Top::Home));
    running.run_until(2_300_000);
    assert_ne!(*running.unit.console().panel().screen(), Screen::Top(Top::Home));
}

#[test]
fn the_port_tells_the_state_and_takes_nonsense() {
    let mut queues = Queues::default();
    let mut running = sew(&mut queues, bus_fitted(&plain_fitting(scenario().settings())));
    let said = running.ask("state");
    let now = running.now();
    let lifetime = running.unit.board().lifetime(now).unwrap();
    for line in [
        "version 1.2.3-test".to_owned(),
        format!("stitches {}", lifetime.stitches()),
        format!("trims {}", lifetime.trims),
        format!("needle 2 {}", lifetime.needle_stitches[1]),
        format!("breaks 5 {}", lifetime.needle_breaks[4]),
        "needle 16 0".to_owned(),
    ] {
        assert!(said.lines().any(|l| l == line), "{line} in:\n{said}");
    }
    assert_eq!(said.lines().last(), Some("end"));
    assert_eq!(running.ask("what is this"), "? help\n");
    assert_eq!(running.ask(&"x".repeat(500)), "", "overlong");
    assert_eq!(running.ask("st\u{0}\u{7f}ate\r"), "? help\n", "noise on the line");
    assert_eq!(running.ask("watch\r"), "watching\n");
    running.chip.said.clear();
    let until_us = running.chip.now_us() + 70_000_000;
    running.run_until(until_us);
    let saved = running.unit.board().saved();
    let durable = format!("durable {} {} ", saved.stitches(), saved.trims);
    assert!(running.chip.said.contains(&durable), "{}", running.chip.said);
}

#[test]
fn a_stop_before_the_reset_is_told_and_in_the_journal() {
    let stop = Stop { kind: StopKind::Panic, place: 99 };
    let mut queues = Queues::default();
    let bus = bus_fitted(&plain_fitting(scenario().settings()));
    let mut running = Running::power_up(&mut queues, bus, ID, [], Some(stop));
    assert!(running.ask("state").contains(&format!("fault {}\n", Fault::FirmwareStopped.number())));
    let ledger = running.unit.board().ledger();
    let seen = |line: &HistoryLine| {
        line.event == JournalEvent::FaultSeen && line.subject == Fault::FirmwareStopped.number()
    };
    assert_eq!(ledger.history.iter().filter(|line| seen(line)).count(), 1);
}

#[test]
fn an_empty_clock_socket_is_no_fault() {
    let mut queues = Queues::default();
    let bus = bus_fitted(&plain_fitting(scenario().settings()));
    let mut running = Running::power_up(&mut queues, bus, ID, [], None);
    running.run_until(10_000_000);
    assert!(running.unit.board().is_ready());
    assert!(running.unit.board().faults().is_empty());
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
            Incoming::Machine(Timed::input(at_us, Input::Shaft(level)))
        })
    });
    let mut queues = Queues::default();
    let bus = bus_fitted(&plain_fitting(settings));
    let mut running = Running::power_up(&mut queues, bus, ID, pulses, None);
    running.chip.level_mv = Some(1_520);
    running.run_until(14_000_000);
    let session = running.unit.board().session(running.now());
    assert_eq!(session.needle_stitches[2], 200);
}
