//! `shaftbook hints` and `shaftbook sew --profile`, as a person runs them.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

fn shaftbook(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook"))
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(".."))
        .args(args)
        .output()
        .expect("the binary runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

const SHOP: &str = "host-sim/scenarios/six-needle-shop.toml";

#[test]
fn the_same_seed_gives_the_same_hints_and_another_seed_others() {
    let rows = |seed: &str| -> Value {
        let output = shaftbook(&["hints", "--runs", "6", "--seed", seed, "--format", "json"]);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        assert!(output.stderr.is_empty(), "no bar when it is not a terminal: {output:?}");
        serde_json::from_slice(&output.stdout).expect("JSON")
    };
    let first = rows("3");
    assert_eq!(first, rows("3"));
    assert_ne!(first["rows"], rows("4")["rows"]);
    assert_eq!((&first["held"], &first["runs"]), (&Value::Bool(true), &Value::from(6)));
}

#[test]
fn hints_print_a_table_and_refuse_no_runs() {
    let output = shaftbook(&["hints", "--runs", "3"]);
    let shown = text(&output.stdout);
    assert!(shown.starts_with("3 machines a row, seed 1; rates with their 95 % limits\n"));
    assert!(shown.contains("| nothing | no sign | – | – | – | "), "{shown}");
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(shaftbook(&["hints", "--runs", "0"]).status.code(), Some(2));
}

#[test]
fn a_profile_adds_a_care_section_and_nothing_else() {
    let plain = shaftbook(&["sew", SHOP, "--days", "2"]);
    let profile = "host-sim/profiles/six-needle.toml";
    let cared = shaftbook(&["sew", SHOP, "--days", "2", "--profile", profile]);
    assert_eq!((plain.status.code(), cared.status.code()), (Some(0), Some(0)), "{cared:?}");
    let (plain, cared) = (text(&plain.stdout), text(&cared.stdout));
    assert!(!plain.contains("care by"));
    // Two days of 8 h, less what two cuts cost: the drop of oil is due after 8 h of
    // powered time, nothing else.
    assert!(
        cared.contains("\ncare by the profile \"Six needles\" (no clock fitted):\n"),
        "{cared}"
    );
    assert!(
        cared.contains("due     hook lubrication            15.9 h of 8.0 h powered\n"),
        "{cared}"
    );
    assert!(cared.ends_with("fine    13 of 14 components\n"), "{cared}");
    let output = shaftbook(&["sew", SHOP, "--days", "2", "--profile", profile, "--format", "json"]);
    let report: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(report["care"]["components"], 14);
    assert_eq!(report["care"]["pressing"][0]["standing"], "due");
    assert_eq!(report["care"]["pressing"][0]["due"], 28_800);
}

#[test]
fn a_profile_that_cannot_be_used_is_one_line_and_exit_code_2() {
    for (profile, says) in [
        ("host-sim/profiles/ten-needle.toml", "is for 10 needles, the machine has 6"),
        ("host-sim/profiles/none.toml", "No such file"),
        (SHOP, "six-needle-shop.toml:4:1: unknown field `description`"),
    ] {
        let output = shaftbook(&["sew", SHOP, "--profile", profile]);
        let error = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{error}");
        assert_eq!(error.lines().count(), 1, "{error}");
        assert!(error.contains(says), "{error}");
        assert!(output.stdout.is_empty());
    }
}
