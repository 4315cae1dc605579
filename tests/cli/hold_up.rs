//! System tests of `shaftbook hold-up`: only what a person at a terminal sees.

use std::process::{Command, Output};

use serde_json::Value;

/// 470 µF from 5 V to 2.7 V at 10 mA: 108.1 ms by the charge balance.
const WORKED: &[&str] = &["--warning-v", "5", "--lowest-v", "2.7", "--load-ma", "10"];

fn hold_up(args: &[&[&str]]) -> Output {
    let args = args.concat();
    let mut command = Command::new(env!("CARGO_BIN_EXE_shaftbook"));
    command.arg("hold-up").args(args).output().expect("it starts")
}

fn text(output: &Output, code: i32) -> String {
    assert_eq!(output.status.code(), Some(code), "{output:?}");
    assert!(output.stderr.is_empty(), "{output:?}");
    let text = String::from_utf8(output.stdout.clone()).expect("text");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    text
}

fn json(args: &[&[&str]], code: i32) -> Value {
    let output = hold_up(&[&args.concat(), &["--format", "json"]]);
    serde_json::from_str(&text(&output, code)).expect("JSON")
}

/// Exit 2, nothing on standard output, one line on standard error: this one's text.
fn refused(args: &[&[&str]]) -> String {
    let output = hold_up(args);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(output.stdout.is_empty(), "{output:?}");
    let text = String::from_utf8(output.stderr).expect("text");
    assert_eq!(text.lines().count(), 1, "{text}");
    text
}

#[test]
fn a_given_capacitor_that_lasts() {
    let text = text(&hold_up(&[WORKED, &["--capacitor-uf", "470"]]), 0);
    for line in [
        "t = C·(V1 − V2′)/I",
        "needed time             40.0 ms: 2 times the reaction",
        // 40 ms · 10 mA / 2.3 V / 0.576
        "needed capacitance      302.0 µF, as marked",
        "next value of E6        330 µF (IEC 60063)",
        "hold-up with 470 µF",
        "new, as marked               108.1 ms",
        "new, least of tolerance       86.4 ms",
        "end of life, cold             62.2 ms",
        "enough: 55.6 % above the needed time",
    ] {
        assert!(text.contains(line), "{line} is not in {text}");
    }
}

/// Below 64 bytes a record is several program cycles, and the answer takes longer.
#[test]
fn shorter_pages_need_more() {
    for (page_bytes, reaction_ms) in [("16", 36.5), ("32", 25.5), ("64", 20.0), ("128", 20.0)] {
        let of = json(&[WORKED, &["--page-bytes", page_bytes]], 0);
        assert_eq!(of["reaction_ms"], reaction_ms, "{of}");
        let is_short = reaction_ms > 20.0;
        assert_eq!(of["reaction_source"], if is_short { "short_pages" } else { "budget" });
    }
    json(&[WORKED, &["--page-bytes", "16", "--capacitor-uf", "330"]], 1);
    refused(&[WORKED, &["--page-bytes", "16", "--reaction-ms", "20"]]);
}

#[test]
fn a_given_capacitor_that_does_not_last_is_exit_code_1() {
    let text = text(&hold_up(&[WORKED, &["--capacitor-uf", "220"]]), 1);
    assert!(text.contains("NOT ENOUGH: 27.2 % below the needed time"), "{text}");
    assert!(text.contains("next value of E6        330 µF"), "what would do is said: {text}");
}

#[test]
fn without_one_the_next_value_is_proposed_and_it_lasts() {
    let proposed = json(&[WORKED], 0);
    assert_eq!(proposed["proposed_uf"], 330.0);
    assert_eq!(proposed["capacitor"]["marked_uf"], 330.0);
    assert_eq!(proposed["capacitor"]["is_given"], false);
    assert_eq!(proposed["suffices"], true);
    json(&[WORKED, &["--capacitor-uf", "330"]], 0);
    json(&[WORKED, &["--capacitor-uf", "220"]], 1);
}

#[test]
fn worked_values_of_both_loads() {
    let ideal: &[&str] =
        &["--tolerance-percent", "0", "--ageing-percent", "0", "--temperature-percent", "0"];
    let ms = |args: &[&[&str]]| {
        let found = json(&[&args.concat(), ideal], 0);
        let capacitor = &found["capacitor"];
        assert_eq!(capacitor["new_ms"], capacitor["end_of_life_ms"]);
        capacitor["new_ms"].as_f64().expect("a number")
    };
    // 1000e-6 · 2.5 / 0.015 s
    let current = ["--warning-v", "5", "--lowest-v", "2.5", "--load-ma", "15"];
    assert!((ms(&[&current, &["--capacitor-uf", "1000"]]) - 166.667).abs() < 1e-3);
    // 100e-6 · (20² − 10²) · 0.8 / (2 · 0.1) s
    let power = ["--warning-v", "20", "--lowest-v", "10", "--load-mw", "100"];
    assert!((ms(&[&power, &["--capacitor-uf", "100"]]) - 120.0).abs() < 1e-6);
    let better = ["--efficiency-percent", "100", "--capacitor-uf", "100"];
    assert!((ms(&[&power, &better]) - 150.0).abs() < 1e-6);
}

#[test]
fn each_share_of_the_sizing_counts() {
    let needed = |args: &[&str]| json(&[WORKED, args], 0)["needed_uf"].as_f64().expect("a number");
    let base = needed(&[]);
    for (args, times) in [
        (["--tolerance-percent", "60"], 2.0),
        (["--ageing-percent", "60"], 2.0),
        (["--temperature-percent", "55"], 2.0),
        (["--safety-factor", "4"], 2.0),
        (["--reaction-ms", "40"], 2.0),
        (["--esr-mohm", "115000"], 2.0),
    ] {
        assert!((needed(&args) / base - times).abs() < 1e-9, "{args:?}");
    }
}

#[test]
fn the_source_of_the_reaction_is_said() {
    let own = json(&[WORKED], 0);
    assert_eq!(own["reaction_source"], "budget");
    assert_eq!(json(&[WORKED, &["--reaction-ms", "7"]], 0)["reaction_source"], "given");
}

#[test]
fn when_no_capacitor_lasts_it_says_what_would_help() {
    let args =
        ["--warning-v", "3.21", "--lowest-v", "3.2", "--load-ma", "9000", "--reaction-ms", "60000"];
    let text = text(&hold_up(&[&args]), 1);
    assert!(text.contains("NOT ENOUGH: no capacitor up to 1 F lasts"), "{text}");
    assert_eq!(json(&[&args], 1)["proposed_uf"], Value::Null);
}

#[test]
fn mistakes_are_named_in_one_line() {
    for (args, named) in [
        (&["--warning-v", "5", "--lowest-v", "2.7"][..], "--load-ma"),
        (&["--lowest-v", "2.7", "--load-ma", "10"], "--warning-v"),
        (&["--warning-v", "5", "--lowest-v", "5", "--load-ma", "10"], "above --lowest-v"),
        (&["--warning-v", "five", "--lowest-v", "2", "--load-ma", "10"], "--warning-v"),
        (&["--warning-v", "nan", "--lowest-v", "2", "--load-ma", "10"], "--warning-v"),
        (&["--warning-v", "230", "--lowest-v", "2", "--load-ma", "10"], "0.1 to 60 V"),
        (&["--warning-v", "5", "--lowest-v", "2", "--load-ma", "-1"], "--load-ma"),
    ] {
        let line = refused(&[args]);
        assert!(line.contains(named), "{named} is not in {line}");
    }
    for (args, named) in [
        (&["--load-mw", "10"][..], "--load-mw"),
        (&["--efficiency-percent", "90"], "--efficiency-percent"),
        (&["--capacitor-uf", "0"], "--capacitor-uf"),
        (&["--esr-mohm", "1000000"], "make it smaller"),
        (&["--tolerance-percent", "100"], "--tolerance-percent"),
        (&["--safety-factor", "0.5"], "--safety-factor"),
    ] {
        let line = refused(&[WORKED, args]);
        assert!(line.contains(named), "{named} is not in {line}");
    }
}

#[test]
fn the_help_has_examples() {
    let output = hold_up(&[&["--help"]]);
    let help = String::from_utf8(output.stdout).expect("text");
    assert!(help.contains("Examples:") && help.contains("docs/WIRING.md"), "{help}");
}
