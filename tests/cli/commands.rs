//! System tests of the `shaftbook` command: only what a person at a terminal sees.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

const SHIPPED: [&str; 5] = [
    "six-needle-shop",
    "ten-needle-two-shifts",
    "fifteen-needle-contract",
    "hobby-machine",
    "failing-sensor",
];

fn shaftbook(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook")).args(args).output().expect("it starts")
}

fn repository(path: &str) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("a workspace");
    root.join(path).display().to_string()
}

fn scenario(name: &str) -> String {
    repository(&format!("host-sim/scenarios/{name}.toml"))
}

/// An empty directory for one test.
fn directory(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).expect("a directory");
    path
}

fn in_directory(directory: &Path, name: &str) -> String {
    directory.join(name).display().to_string()
}

fn json(output: &Output) -> Value {
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// Exit 2, nothing on standard output, one line on standard error: this one's text.
fn refused(args: &[&str]) -> String {
    let output = shaftbook(args);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(output.stdout.is_empty(), "{output:?}");
    let text = String::from_utf8(output.stderr).expect("text");
    assert_eq!(text.lines().count(), 1, "{text}");
    text.trim_end().to_owned()
}

#[test]
fn help_has_examples_and_usage_errors_exit_2() {
    for command in ["prove", "sew", "replay", "inspect", "key", "fit", "authorise", "hints"] {
        let help = shaftbook(&[command, "--help"]);
        assert_eq!(help.status.code(), Some(0));
        let text = String::from_utf8(help.stdout).expect("text");
        let (_, examples) = text.split_once("Examples:\n").expect("examples");
        assert!(examples.contains(&format!("  shaftbook {command} ")), "{text}");
    }
    assert_eq!(shaftbook(&[]).status.code(), Some(2));
    assert_eq!(shaftbook(&["sow"]).status.code(), Some(2));
    assert_eq!(shaftbook(&["replay", "x.vcd"]).status.code(), Some(2), "no shaft");
}

#[test]
fn every_shipped_scenario_is_counted_right() {
    for name in SHIPPED {
        let output = shaftbook(&["sew", &scenario(name), "--days", "2", "--format", "json"]);
        let report = json(&output);
        assert_eq!(report["held"], Value::Bool(true), "{name}: {}", report["broken"]);
        let stitches = |of: &str| report[of]["stitches"].as_u64().expect("a number");
        assert!(stitches("truth") > 30_000, "{name}");
        assert!(stitches("counted") <= stitches("truth"), "{name}");
        for row in report["rows"].as_array().expect("rows") {
            let differs = !row["truth"].is_null() && row["truth"] != row["counted"];
            let causes = row["causes"].as_array().expect("causes");
            assert_eq!(differs, !causes.is_empty(), "{name}: {row}");
        }
    }
}

#[test]
fn a_clean_machine_with_a_long_hold_up_loses_nothing() {
    let output =
        shaftbook(&["sew", &scenario("ten-needle-two-shifts"), "--days", "2", "--format", "json"]);
    let report = json(&output);
    assert!(report["cuts"].as_u64() > Some(1));
    for figure in ["stitches", "needle_stitches", "jumps", "trims", "breaks"] {
        assert_eq!(report["counted"][figure], report["truth"][figure], "{figure}");
    }
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let directory = directory("same_seed");
    let run = |image: &str, seed: &str| {
        let image = in_directory(&directory, image);
        let sew = shaftbook(&[
            "sew",
            &scenario("hobby-machine"),
            "--days",
            "1",
            "--seed",
            seed,
            "--image",
            &image,
        ]);
        assert_eq!(sew.status.code(), Some(0), "{sew:?}");
        (sew.stdout, fs::read(image).expect("an image"))
    };
    let (first, second, other) = (run("a", "9"), run("b", "9"), run("c", "10"));
    assert_eq!(first.1.len(), 32_768);
    assert!(first == second);
    assert!(first.0 != other.0 && first.1 != other.1);
}

#[test]
fn a_simulated_capture_replayed_gives_the_same_counts() {
    let directory = directory("replayed");
    let capture = in_directory(&directory, "day.vcd");
    let bench = in_directory(&directory, "bench.toml");
    // Every kind of signal fault, cuts at any moment, and a warning.
    let text = r#"
        name = "Round trip"
        seed = 21
        [hours]
        working_days = 1
        shifts = [{ start = "08:00", end = "09:30" }]
        [machine]
        needles = 6
        pulses_per_revolution = 2
        breaks_per_100k = 300.0
        [power]
        warning = true
        hold_up_ms = 3
        off_while_sewing = true
        extra_offs_per_shift = 6.0
        [faults]
        contact_bounce_us = 4000
        shaft_bounce_us = 40
        missed_pulse_probability = 0.002
        glitch_probability = 0.005
        extra_pulse_probability = 0.002
        needle_skew_us = 900
        [[designs]]
        name = "Square"
        blocks = [
            { needle = 2, stitches = 700, jumps = 9, trims = 3 },
            { needle = 6, stitches = 250, jumps = 2 },
        ]
    "#;
    fs::write(&bench, text).expect("a scenario");
    let sewn = shaftbook(&["sew", &bench, "--vcd", &capture, "--format", "json"]);
    let sewn: Value = serde_json::from_slice(&sewn.stdout).expect("JSON");
    let replayed = json(&shaftbook(&[
        "replay",
        &capture,
        "--shaft",
        "shaft",
        "--trim",
        "trim",
        "--needle",
        "needle0,needle1,needle2,needle3",
        "--break",
        "thread_break",
        "--jump",
        "jump",
        "--power-fail",
        "power_fail",
        "--power",
        "power",
        "--needles",
        "6",
        "--pulses-per-revolution",
        "2",
        "--seed",
        "21",
        "--format",
        "json",
    ]));
    assert_eq!(replayed["counted"], sewn["counted"]);
    assert_eq!(replayed["cuts"], sewn["cuts"]);
    assert!(sewn["cuts"].as_u64() >= Some(4), "{}", sewn["cuts"]);
    assert!(sewn["counted"]["stitches"].as_u64() > Some(5_000));
    assert!(sewn["counted"]["breaks"].as_u64() > Some(10));
}

#[test]
fn captures_of_sigrok_are_counted_as_counted_by_hand() {
    // The figures are those of tests/data/sigrok/README.md.
    for (file, shaft, trim, stitches, trims, running_ms) in [
        ("incremental.vcd", "D4", "D7", 312, 39, 19_904),
        ("graycode.vcd", "D2", "libsigrok.D6", 375, 24, 29_920),
    ] {
        let path = repository(&format!("tests/data/sigrok/{file}"));
        let args = ["replay", &path, "--shaft", shaft, "--trim", trim, "--format", "json"];
        let report = json(&shaftbook(&args));
        let counted = &report["counted"];
        assert_eq!(counted["stitches"], stitches, "{file}");
        assert_eq!(counted["unattributed_stitches"], stitches, "{file}");
        assert_eq!(counted["trims"], trims, "{file}");
        assert_eq!(counted["running_ms"], running_ms, "{file}");
        assert_eq!(report["faults"], Value::Array(Vec::new()), "{file}");
    }
}

/// What the script that made the capture says is in it.
fn stated(name: &str) -> u64 {
    let text = fs::read_to_string(repository("tests/data/pyvcd/six_needle_session.counts"));
    let text = text.expect("the counts");
    let mut pairs = text.lines().filter_map(|line| line.split_once(' '));
    pairs.find(|(key, _)| *key == name).expect(name).1.parse().expect("a number")
}

#[test]
fn the_capture_of_pyvcd_is_counted_as_its_script_says() {
    let directory = directory("pyvcd");
    let settings = in_directory(&directory, "board.toml");
    fs::write(&settings, "needles = 6\nneedle_level_mv = [500, 750, 1000, 1250, 1500, 1750]\n")
        .expect("settings");
    let capture = repository("tests/data/pyvcd/six_needle_session.vcd");
    let by_code = ["--needle", "code0,code1,code2,code3"];
    let by_level = ["--needle-level", "needle_v", "--volts"];
    for needle in [&by_code[..], &by_level[..]] {
        let mut args = vec!["replay", &capture, "--shaft", "shaft_n", "--trim", "trim_n"];
        args.extend(["--active-low", "shaft_n,trim_n", "--break", "break", "--jump", "jump"]);
        args.extend(["--settings", &settings, "--format", "json"]);
        args.extend(needle);
        let report = json(&shaftbook(&args));
        let counted = &report["counted"];
        for figure in ["stitches", "jumps", "trims", "running_ms"] {
            assert_eq!(counted[figure], stated(figure), "{figure} {needle:?}");
        }
        for number in 1..=6 {
            let index = number - 1;
            assert_eq!(counted["needle_stitches"][index], stated(&format!("needle{number}")));
            assert_eq!(counted["needle_breaks"][index], stated(&format!("breaks{number}")));
        }
        assert_eq!(counted["unattributed_stitches"], 0);
        let unknown = u64::from(needle == by_code);
        assert_eq!(report["unknown_values"], unknown);
    }
}

#[test]
fn a_board_above_the_truth_is_exit_1() {
    let directory = directory("exit_1");
    let path = in_directory(&directory, "wrong.toml");
    let text = fs::read_to_string(scenario("hobby-machine")).expect("a scenario");
    // The machine gives two pulses a revolution, the board is told that it is one.
    let text = text.replace(
        "[machine]",
        "[board]\npulses_per_revolution = 1\n[machine]\npulses_per_revolution = 2",
    );
    fs::write(&path, text).expect("a scenario");
    let output = shaftbook(&["sew", &path, "--days", "1"]);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let text = String::from_utf8(output.stdout).expect("text");
    assert!(text.contains("NOT HELD:\n- at ") && text.contains("above the truth"), "{text}");
}

#[test]
fn a_bad_scenario_is_one_line_and_nothing_is_written() {
    let directory = directory("bad_scenario");
    let path = in_directory(&directory, "bad.toml");
    let good = fs::read_to_string(scenario("six-needle-shop")).expect("a scenario");
    fs::write(&path, good.replace("needle = 5", "needle = 7")).expect("a scenario");
    let capture = in_directory(&directory, "out.vcd");
    let image = in_directory(&directory, "out.bin");
    let line = refused(&["sew", &path, "--vcd", &capture, "--image", &image]);
    assert!(
        line.ends_with("bad.toml:47:16: designs[1].blocks[1].needle: 7 is not 1 to 6"),
        "{line}"
    );
    assert_eq!(fs::read_dir(&directory).expect("it").count(), 1, "only the scenario");
    let line = refused(&["sew", &in_directory(&directory, "none.toml")]);
    assert!(line.contains("none.toml: "), "{line}");
    let line = refused(&["sew", &scenario("hobby-machine"), "--days", "1", "--vcd", "/no/x.vcd"]);
    assert!(line.contains("/no/x.vcd: "), "{line}");
}

#[test]
fn a_bad_capture_or_name_is_one_line() {
    let directory = directory("bad_capture");
    let good = repository("tests/data/sigrok/incremental.vcd");
    let line = refused(&["replay", &good, "--shaft", "D9"]);
    assert!(
        line.ends_with("no signal \"D9\"; there are: D0, D1, D2, D3, D4, D5, D6, D7"),
        "{line}"
    );
    let bytes = fs::read(&good).expect("a capture");
    let cut = in_directory(&directory, "cut.vcd");
    let place = bytes.iter().rposition(|b| *b == b'!').expect("a change");
    fs::write(&cut, &bytes[..place]).expect("a capture");
    let line = refused(&["replay", &cut, "--shaft", "D4"]);
    assert!(line.contains("cut.vcd:") && line.contains("ends in the middle"), "{line}");
    let line = refused(&["replay", &scenario("hobby-machine"), "--shaft", "D4"]);
    assert!(line.contains("hobby-machine.toml:1: not a value change dump"), "{line}");
    let line = refused(&["replay", &good, "--shaft", "D4", "--pulses-per-revolution", "64"]);
    assert!(line.contains("the timescale of"), "{line}");
    let line = refused(&["replay", &good, "--shaft", "D4", "--pulses-per-revolution", "65"]);
    assert!(line.contains("pulses_per_revolution must be 1 to 64"), "{line}");
}
