//! The image that is flashed on the RP2040 board, from its UF2 file, on an emulator of the chip
//! with models of memory part and display (`tests/rp2040`). What is tried: the scenario that
//! the host simulator sews too, the fastest signals, power cuts, what goes wrong on the bus, a
//! panic, a hang, and the figures of `.ci/budgets.toml`.
//!
//! Cycles are the emulator's, which does not model cache misses of the flash
//! (`tests/rp2040/README.md`).
//!
//! Run: `.ci/run images`.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use serde_json::{Value, json};
use shaftbook_core::board::Fitting;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Input;
use shaftbook_core::medium::Geometry;
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_panel::frame::Frame;
use shaftbook_tools::flash::elf::flash_of;
use shaftbook_tools::flash::number::sector;
use shaftbook_tools::flash::uf2::encode;
use shaftbook_tools::picture::text_of;
use shaftbook_tools::sew::run::run;
use shaftbook_world::bench::Bench;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bus::{Bus, Part, Timing};
use shaftbook_world::fitting::fit;
use shaftbook_world::fitting::plain_fitting;
use shaftbook_world::profile::Profile;
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::random::Random;
use system_tests::images::part::differences;
use system_tests::images::rp2040::{
    CYCLES_PER_US, Script, bench, durable, folder, said, state, turn_shaft,
};
use system_tests::images::tools::repository;

/// A board whose number was never written.
const ID: BoardId = BoardId(u64::MAX);
const SCENARIO: &str = "host-sim/scenarios/ten-minute-head.toml";

fn scenario() -> Scenario {
    Scenario::load(&repository(SCENARIO)).unwrap()
}

/// Writes a newly fitted part.
fn fitted(folder: &Path, settings: Settings) -> PathBuf {
    let path = folder.join("part.bin");
    fs::write(&path, fit(ID, &plain_fitting(settings), None).unwrap()).unwrap();
    path
}

fn written(folder: &Path, name: &str, script: &Script) -> PathBuf {
    let path = folder.join(name);
    script.write(&path);
    path
}

/// The counters that a part holds.
fn on_part(path: &Path) -> Counters {
    system_tests::images::part::read_of(path, ID).unwrap().counters
}

/// A figure of the budget of this image.
fn budget(key: &str) -> f64 {
    let text = fs::read_to_string(repository(".ci/budgets.toml")).unwrap();
    let budgets: toml::Table = toml::from_str(&text).unwrap();
    let figure = &budgets["rp2040"][key];
    figure.as_integer().unwrap_or_else(|| panic!("[rp2040] {key} is a whole number")) as f64
}

/// The scenario, sewn to the end of its hold-up.
struct Sewn {
    result: Value,
    counted: Counters,
}

fn sewn() -> &'static Sewn {
    static SEWN: OnceLock<Sewn> = OnceLock::new();
    SEWN.get_or_init(|| {
        let folder = folder("scenario");
        let scenario = scenario();
        let script = Script::of(&scenario, scenario.seed);
        let out = folder.join("out.bin");
        let result = bench(
            &folder,
            json!({
                "script": written(&folder, "script.txt", &script),
                "part": fitted(&folder, scenario.settings()),
                "part_out": out,
                "until_us": script.end_us,
                "measure": true,
            }),
        );
        Sewn { result, counted: on_part(&out) }
    })
}

#[test]
fn the_image_counts_what_the_simulator_counts_to_the_last_stitch() {
    let scenario = scenario();
    let outcome = run(&scenario, scenario.seed, &mut (), |_| {}).unwrap();
    assert!(outcome.broken.is_empty(), "{:?}", outcome.broken);
    let counted = &sewn().counted;
    println!(
        "counted by the image: {} stitches, {} trims, {} jumps, {} breaks",
        counted.stitches(),
        counted.trims,
        counted.jumps,
        counted.breaks()
    );
    let none: Vec<String> = Vec::new();
    assert_eq!(differences(counted, &outcome.counted), none, "the simulator's");
    assert_eq!(differences(counted, &outcome.truth.counters()), none, "what happened");
    println!(
        "running time: {} ms, the simulator's {} ms",
        counted.running_ms, outcome.counted.running_ms
    );
    assert!(counted.running_ms.abs_diff(outcome.counted.running_ms) <= 1);
    assert_eq!(counted.missed_edges, 0);
    assert!(counted.stitches() > 5_000 && counted.trims > 40 && counted.jumps > 20);
    let mut more = *counted;
    more.needle_stitches[2] += 1;
    assert_eq!(differences(counted, &more).len(), 1, "one stitch more would be found");
}

/// Top speed: 2,000 rev/min with 64 pulses, every edge bouncing, for ten seconds.
#[test]
fn no_pulse_is_lost_or_invented_at_top_speed_with_contact_bounce() {
    const REVOLUTIONS: u64 = 340;
    let folder = folder("top-speed");
    let settings = Settings {
        pulses_per_revolution: 64,
        top_speed_rpm: 2_000,
        shaft_debounce_us: 50,
        ..Settings::default()
    };
    let mut script = Script::default();
    script.input(500_000, Input::NeedleCode(4));
    turn_shaft(&mut script, 1_000_000, (2_000, 64, REVOLUTIONS), (2, 30));
    script.line(script.end_us + 50_000, "say state");
    let result = bench(
        &folder,
        json!({
            "script": written(&folder, "script.txt", &script),
            "part": fitted(&folder, settings),
            "until_us": script.end_us + 400_000,
            "measure": true,
        }),
    );
    let counted = state(&said(&result)).expect("the board answers");
    println!("{} stitches, {} pulses rejected", counted.stitches(), counted.glitches);
    assert_eq!(counted.needle_stitches[4], REVOLUTIONS);
    assert_eq!(counted.stitches(), REVOLUTIONS);
    assert_eq!(counted.missed_edges, 0);
    // Whatever it has to count, it finds time for the hash of its own bytes.
    let program = repository("firmware/boards/target/images/shaftbook-rp2040.elf");
    let flash = flash_of(&fs::read(program).expect("the image")).expect("a program");
    let hash = format!("hash {:08x}", flash.hash());
    assert!(said(&result).iter().any(|(_, line)| *line == hash), "{hash}: {:?}", said(&result));
    held("at top speed", &result);
}

/// The figures that the emulator measured in a run, against the budget.
fn held(name: &str, result: &Value) {
    let measure = &result["measure"];
    let interrupts = measure["interrupts"].as_array().unwrap();
    let longest =
        interrupts.iter().filter_map(|i| i["longest_cycles"].as_f64()).fold(0.0, f64::max);
    let figures = [
        ("interrupt_cycles", longest),
        ("masked_cycles", measure["longest_masked_cycles"].as_f64().unwrap()),
        ("stack", measure["stack"]["deepest_bytes"].as_f64().unwrap()),
    ];
    for (key, figure) in figures {
        println!("{name}: {key} {figure} of {}", budget(key));
        assert!(figure > 0.0, "{key} was measured");
        assert!(figure <= budget(key), "{key}: {figure}, over {}", budget(key));
    }
}

#[test]
fn interrupts_masked_stretches_and_stack_stay_within_their_budgets() {
    held("the scenario", &sewn().result);
}

/// Cuts at random moments, beside one in each program cycle; each with a random tear.
const CUTS: usize = 180;
/// Warnings, each with a cut after the hold-up.
const WARNINGS: u64 = 100;
/// What the hold-up must last: the bound of `docs/DESIGN.md`, and one tile.
const HOLD_UP_US: u64 = 20_000;
const SEED: u64 = 20_261_125;

fn seed() -> u64 {
    let given = std::env::var("SHAFTBOOK_CUT_SEED").ok().and_then(|seed| seed.parse().ok());
    given.unwrap_or(SEED)
}

fn replay(test: &str) -> String {
    format!(
        "replay: SHAFTBOOK_CUT_SEED={} cargo test --release -p system-tests --features images \
         --test images {test} -- --nocapture",
        seed()
    )
}

/// Sews with cuts to try at `cycles`; what each left, as the board says after its next boot.
fn cut(name: &str, script: &Script, settings: Settings, cycles: &[u64]) -> (Value, Vec<Counters>) {
    let folder = folder(name);
    let mut after = Script::default();
    after.line(600_000, "say state");
    after.line(900_000, "needle_mv 0");
    let result = bench(
        &folder,
        json!({
            "script": written(&folder, "script.txt", script),
            "after": written(&folder, "after.txt", &after),
            "part": fitted(&folder, settings),
            "until_us": script.end_us,
            "seed": seed(),
            "cut_at_cycles": cycles,
        }),
    );
    let booted = |tried: &Value| {
        state(&said(&tried["after"])).unwrap_or_else(|| panic!("no answer after {}", tried["cut"]))
    };
    let tried: Vec<_> = result["tried"].as_array().unwrap().iter().map(booted).collect();
    (result, tried)
}

fn watching(script: &mut Script) {
    script.insert(vec![(400_000, "say watch".into())]);
}

/// When the `n`th cut was tried, µs.
#[allow(clippy::cast_sign_loss)] // Times are positive.
fn cut_us(result: &Value, n: usize) -> u64 {
    result["tried"][n]["cut"]["at_us"].as_f64().unwrap() as u64
}

#[test]
fn a_cut_at_any_cycle_loses_nothing_durable_and_no_more_than_promised() {
    let mut scenario = scenario();
    scenario.power.warning = false;
    let mut settings = scenario.settings();
    (settings.checkpoint_running_s, settings.checkpoint_trims) = (3, 2);
    let mut script = Script::of(&scenario, scenario.seed);
    watching(&mut script);
    let mut random = Random::new(seed(), 1);
    // Four of five within 100 s of sewing; the rest while it starts.
    let mut cycles: Vec<u64> = (0..CUTS)
        .map(|n| {
            let us = if n % 5 == 0 { 400_000 } else { 100_000_000 };
            u64::from(random.below(us)) * CYCLES_PER_US + u64::from(random.below(125))
        })
        .collect();
    // And in every program cycle of these 100 s, as a first run of the same tells.
    script.end_us = 100_000_000;
    let (first, _) = cut("cuts-first", &script, settings, &[]);
    let programs = first["program_cycles"]["log"].as_array().unwrap();
    cycles.extend(programs.iter().map(|program| {
        let begin = program[1].as_u64().unwrap();
        let end = program[2].as_u64().unwrap();
        begin + u64::from(random.below((end - begin) as u32))
    }));
    cycles.sort_unstable();
    let (result, tried) = cut("cuts", &script, settings, &cycles);
    let lines = said(&result);
    let mut objections = Vec::new();
    let mut worst = Counters::default();
    for (n, after) in tried.iter().enumerate() {
        let at_us = cut_us(&result, n);
        let truth = script.truth(at_us);
        let said = durable(&lines, at_us as f64);
        let kept = [after.stitches(), after.trims, after.running_ms, after.powered_ms];
        if said.iter().zip(kept).any(|(said, kept)| *said > kept) {
            objections.push(format!("cut {n}: {said:?} was durable, {kept:?} is left"));
        }
        let most = Counters { glitches: u32::MAX, powered_ms: u64::MAX, power_ups: 9, ..truth };
        if !after.at_most(&most) {
            objections.push(format!("cut {n}: above the truth by {:?}", after.since(&most)));
        }
        let lost = truth.since(after);
        worst = worst.most(&lost);
        // One pulse, trim or jump of the truth may be ahead.
        if lost.running_ms > 3_100 || lost.trims > 3 {
            objections.push(format!("cut {n}: lost {lost:?}"));
        }
    }
    let programming = phases(&result, "program");
    println!(
        "{} cuts, {programming} in a program cycle; worst loss {} ms running, {} stitches, {} trims",
        tried.len(),
        worst.running_ms,
        worst.stitches(),
        worst.trims
    );
    assert!(objections.is_empty(), "{}\n{}", objections.join("\n"), replay("a_cut_at_any"));
    assert!(tried.len() > CUTS && programming >= CUTS / 8, "{programming}");
}

fn phases(result: &Value, phase: &str) -> usize {
    let tried = result["tried"].as_array().unwrap();
    tried.iter().filter(|t| t["cut"]["phase"] == phase).count()
}

/// Warnings at random moments of dense sewing, the panel painting; each is followed by a
/// cut at the end of the hold-up, whose power-up then says what was kept.
#[test]
fn a_warned_cut_loses_nothing_and_the_reaction_is_within_its_budget() {
    let mut scenario = scenario();
    scenario.power.warning = false;
    // Without noise the truth is exact to the event.
    let faults = &mut scenario.faults;
    (faults.contact_bounce_us, faults.shaft_bounce_us, faults.needle_skew_us) = (0, 0, 0);
    let mut script = Script::of(&scenario, scenario.seed);
    watching(&mut script);
    let mut random = Random::new(seed(), 2);
    let mut lines = Vec::new();
    let mut cycles = Vec::new();
    for n in 0..WARNINGS {
        let at_us = 2_000_000 + n * 1_600_000 + u64::from(random.below(500_000));
        // Buttons make the panel draw, so that warnings fall into its steps.
        let press_us = at_us - u64::from(random.below(60_000)) - 150_000;
        lines.push((press_us, "button_next 1".to_owned()));
        lines.push((press_us + 100_000, "button_next 0".to_owned()));
        lines.push((at_us, "power_fail 1".to_owned()));
        lines.push((at_us + HOLD_UP_US + 30_000, "power_fail 0".to_owned()));
        cycles.push((at_us + HOLD_UP_US) * CYCLES_PER_US);
    }
    script.insert(lines);
    script.end_us = 2_000_000 + WARNINGS * 1_600_000;
    let (result, tried) = cut("warned", &script, scenario.settings(), &cycles);
    let mut objections = Vec::new();
    for (n, after) in tried.iter().enumerate() {
        // What had happened at the warning, but for a pulse that was not debounced yet.
        let warned_us = cut_us(&result, n) - HOLD_UP_US;
        let (least, most) = (script.truth(warned_us - 100), script.truth(warned_us));
        let at_warning = Counters { powered_ms: 0, power_ups: 0, ..least };
        if !at_warning.at_most(after) {
            let lost = at_warning.since(after);
            objections.push(format!("warning {n}: lost {lost:?} of {}", most.stitches()));
        }
    }
    // Lamp and buzzer are spared: off within the longest turn of the loop, and the bus
    // transaction that was under way.
    let offs: Vec<f64> = switched_off(&result["lamp"]);
    let turn_us = budget("turn_cycles") / CYCLES_PER_US as f64;
    for (warned, _) in (0..WARNINGS).zip(&tried) {
        let at_us = cut_us(&result, warned as usize) as f64 - HOLD_UP_US as f64;
        let is_off = |off: &f64| (at_us..at_us + turn_us + 1_000.0).contains(off);
        if !offs.iter().any(is_off) {
            objections.push(format!("warning {warned}: the lamp is not off in time"));
        }
    }
    let reactions = result["power_fail"].as_array().unwrap();
    let took: Vec<f64> = reactions.iter().filter_map(|r| r["durable_us"].as_f64()).collect();
    assert_eq!(reactions.len() as u64, WARNINGS);
    assert_eq!(took.len() as u64, WARNINGS, "every warning was answered");
    let worst_us = took.iter().copied().fold(0.0, f64::max);
    let mean_us = took.iter().sum::<f64>() / took.len() as f64;
    println!(
        "{} warned cuts: warning to durable at most {worst_us:.0} µs ({:.0} cycles), on average \
         {mean_us:.0} µs; budget {} µs",
        tried.len(),
        worst_us * CYCLES_PER_US as f64,
        budget("reaction_us")
    );
    assert!(objections.is_empty(), "{}\n{}", objections.join("\n"), replay("a_warned_cut"));
    assert!(worst_us <= budget("reaction_us"));
}

/// When an output went off, µs.
fn switched_off(changes: &Value) -> Vec<f64> {
    let changes = changes.as_array().unwrap().iter();
    changes.filter(|c| c["on"] == false).filter_map(|c| c["at_us"].as_f64()).collect()
}

/// What the display's memory holds is what the same loop shows on the simulated chip.
#[test]
fn the_screen_in_the_displays_memory_is_the_panels() {
    let scenario = scenario();
    let folder = folder("screen");
    let settings = scenario.settings();
    let mut script = Script::default();
    script.line(3_000_000, "needle_mv 0");
    let part = fitted(&folder, settings);
    let result =
        bench(&folder, json!({ "script": written(&folder, "script.txt", &script), "part": part }));
    let image = fs::read(&part).unwrap();
    let part = Part::from_image(image, Geometry::REFERENCE).unwrap();
    let bus = Bus::new(part, Timing::FAST_MODE, 1).with_display(1);
    let mut simulated: Bench<Firmware> = Bench::on(bus, ID);
    simulated.pass_to(3_000_000, &mut |_| {});
    let expected = text_of(&Frame::from_bytes(*simulated.bus.display().unwrap().ram()));
    assert_eq!(result["screen"]["is_on"], true);
    assert_eq!(result["screen"]["unknown_commands"], json!([]));
    let text = result["screen"]["text"].as_str().unwrap();
    println!("{text}");
    assert_eq!(text, expected);
    assert!(text.matches('█').count() > 100, "something stands there");
}

/// Sews fifty revolutions, lets `what` happen, sews fifty more; the result and the counts.
fn through(name: &str, what: &[(u64, &str)]) -> (Value, Counters) {
    let folder = folder(name);
    let mut script = Script::default();
    script.input(500_000, Input::NeedleCode(2));
    turn_shaft(&mut script, 1_000_000, (1_000, 1, 50), (0, 0));
    turn_shaft(&mut script, 20_000_000, (1_000, 1, 50), (0, 0));
    script.line(24_000_000, "say state");
    script.line(25_000_000, "needle_mv 0");
    script.insert(what.iter().map(|(us, what)| (*us, (*what).to_owned())).collect());
    // Counts are durable, and the part is spoken to, every 3 s, standing too.
    let settings = Settings { checkpoint_powered_s: 3, ..scenario().settings() };
    let result = bench(
        &folder,
        json!({
            "script": written(&folder, "script.txt", &script),
            "part": fitted(&folder, settings),
        }),
    );
    let counted = state(&said(&result)).expect("the board answers");
    (result, counted)
}

fn is_faulty(result: &Value, fault: Fault) -> bool {
    let line = format!("fault {}", fault.number());
    said(result).iter().any(|(_, said)| *said == line)
}

#[test]
fn counting_goes_on_while_the_bus_is_held_and_the_board_frees_it() {
    let sound = through("sound", &[]);
    assert_eq!(sound.1.stitches(), 100);
    assert!(!is_faulty(&sound.0, Fault::BusStuck) && !is_faulty(&sound.0, Fault::FirmwareStopped));
    // The clock line held low for three seconds, in the middle of sewing.
    let watch = (300_000, "say watch");
    let (result, counted) =
        through("scl", &[watch, (2_000_000, "fault scl_low 1"), (19_000_000, "fault scl_low 0")]);
    assert_eq!(counted.stitches(), 100);
    assert!(is_faulty(&result, Fault::BusStuck), "it is named");
    assert!(said(&result).iter().any(|(_, l)| *l == format!("over {}", Fault::BusStuck.number())));
    assert_eq!(result["resets"], json!([]), "no watchdog was needed");
    // A part that holds the data line until it has seen nine clocks.
    let (result, counted) = through("sda", &[watch, (2_500_000, "fault sda_low 9")]);
    assert_eq!(counted.stitches(), 100);
    assert!(result["bus_pulses"].as_u64().unwrap() >= 9, "{}", result["bus_pulses"]);
    assert_eq!(result["resets"], json!([]));
    // No part at all.
    let (result, counted) = through("part", &[watch, (2_000_000, "fault part_missing 1")]);
    assert_eq!(counted.stitches(), 100);
    assert!(is_faulty(&result, Fault::MemoryNoAnswer));
}

/// A board that stops while it stands, after its counts became durable, goes on after the
/// watchdog's reset; the stop is named.
fn goes_on_after(name: &str, what: &str) {
    let (result, counted) = through(name, &[(300_000, "say watch"), (17_000_000, what)]);
    assert_eq!(result["resets"].as_array().unwrap().len(), 1, "{}", result["resets"]);
    assert_eq!(counted.stitches(), 100, "{name}");
    assert_eq!(counted.power_ups, 3, "at fitting, at power-up, at the reset");
    assert!(is_faulty(&result, Fault::FirmwareStopped));
    assert_eq!(result["is_locked_up"], false);
}

#[test]
fn a_panic_a_hard_fault_and_a_hang_are_named_and_counting_goes_on() {
    goes_on_after("hard-fault", "fault hardfault");
    goes_on_after("hang", "fault call DefaultHandler_");
    goes_on_after("panic", "fault call core::panicking::panic_bounds_check");
}

/// As a retrofitter does it: a number of its own, a part fitted for that number, the image.
#[test]
fn a_numbered_board_takes_the_part_that_was_fitted_for_it_and_no_other() {
    let folder = folder("numbered");
    let id = BoardId(0x5EED_0000_0000_0A11);
    let number = folder.join("number.uf2");
    fs::write(&number, encode(&sector(id))).unwrap();
    let mut script = Script::default();
    script.line(1_500_000, "say state");
    script.line(2_500_000, "needle_mv 0");
    let script = written(&folder, "script.txt", &script);
    let lines = |fitted_for: BoardId| -> Vec<String> {
        let part = folder.join("part.bin");
        let fitting = plain_fitting(scenario().settings());
        fs::write(&part, fit(fitted_for, &fitting, None).unwrap()).unwrap();
        let result = bench(&folder, json!({ "uf2": number, "script": script, "part": part }));
        said(&result).into_iter().map(|(_, line)| line).collect()
    };
    let own = lines(id);
    assert!(own.iter().any(|line| line.starts_with("board 5EED000000000A11 ")), "{own:?}");
    assert!(own.contains(&"ready 1".to_owned()));
    assert!(!own.iter().any(|line| line.starts_with("fault ")), "{own:?}");
    let foreign = format!("fault {}", Fault::ForeignMemory.number());
    assert!(lines(ID).contains(&foreign), "a part of another board is named");
}

/// Walks through all screens, the QR code among them, and looks how long the board was kept
/// from its next look at the inputs.
#[test]
fn no_turn_of_the_loop_is_longer_than_its_budget() {
    let folder = folder("turns");
    let mut script = Script::default();
    let mut at_us = 2_000_000;
    let mut tap = |button: &str| {
        script.line(at_us, &format!("button_{button} 1"));
        script.line(at_us + 100_000, &format!("button_{button} 0"));
        at_us += 1_000_000;
    };
    for top in 1..=8 {
        for button in ["next", "act", "act", "next", "act", "back", "back", "back"] {
            tap(button);
        }
        (0..top).for_each(|_| tap("next"));
    }
    let profile = Profile::builtin(6);
    let fitting = Fitting {
        components: profile.components(false),
        ..plain_fitting(profile.settings(scenario().settings()))
    };
    let part = folder.join("part.bin");
    fs::write(&part, fit(ID, &fitting, None).unwrap()).unwrap();
    let script = written(&folder, "script.txt", &script);
    let result = bench(&folder, json!({ "script": script, "part": part, "measure": true }));
    let turns = &result["measure"]["turns"];
    println!("turns: {turns}, budget {}", budget("turn_cycles"));
    let longest = turns["longest_cycles"].as_f64().unwrap();
    // The QR code was among them: nothing else takes that long.
    assert!(longest > 400_000.0, "{longest}");
    assert!(longest <= budget("turn_cycles"), "{longest}");
}

#[test]
fn buttons_lamp_buzzer_and_the_needle_voltage_are_wired_to_the_loop() {
    let folder = folder("panel");
    let mut settings = Settings { needle_source: NeedleSource::Level, ..Settings::default() };
    for (n, level) in settings.needle_level_mv.iter_mut().enumerate() {
        *level = 500 + 500 * n as u16;
    }
    let sewn = |name: &str, presses: &[(u64, &str)]| {
        let mut script = Script::default();
        script.line(400_000, "needle_mv 3520");
        turn_shaft(&mut script, 1_000_000, (1_000, 1, 40), (0, 0));
        script.insert(presses.iter().map(|(us, what)| (*us, (*what).to_owned())).collect());
        script.line(4_000_000, "say state");
        let script = written(&folder, name, &script);
        let part = fitted(&folder, settings);
        bench(&folder, json!({ "script": script, "part": part, "until_us": 5_000_000 }))
    };
    let quiet = sewn("quiet.txt", &[]);
    let counted = state(&said(&quiet)).expect("the board answers");
    assert_eq!(counted.needle_stitches[6], 40, "{:?}", counted.needle_stitches);
    assert_eq!(quiet["buzzer"].as_array().unwrap().len(), 0, "{}", quiet["buzzer"]);
    let pressed =
        sewn("pressed.txt", &[(2_000_000, "button_next 1"), (2_100_000, "button_next 0")]);
    assert_ne!(pressed["screen"]["text"], quiet["screen"]["text"], "the next screen");
    assert_eq!(pressed["buzzer"].as_array().unwrap().len(), 2, "one chirp: {}", pressed["buzzer"]);
    assert!(!quiet["lamp"].as_array().unwrap().is_empty(), "it is lit");
}

#[test]
fn the_same_run_gives_the_same_bytes() {
    let twice = [through("one", &[]).0, through("two", &[]).0];
    assert_eq!(twice[0], twice[1]);
}
