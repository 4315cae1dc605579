//! `shaftbook prove`, as a person runs it.

use std::process::{Command, Output};

use serde_json::Value;

fn prove(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook"))
        .arg("prove")
        .args(args)
        .output()
        .expect("the binary runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

#[test]
fn help_has_examples() {
    let help = prove(&["--help"]);
    assert_eq!(help.status.code(), Some(0));
    assert!(text(&help.stdout).contains("Examples:\n  shaftbook prove\n"));
}

#[test]
fn a_proof_that_holds_is_a_row_and_exit_code_0() {
    let output = prove(&["--only", "roll-over", "--only", "needles-add-up"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let shown = text(&output.stdout);
    assert!(shown.contains("roll-over        held"), "{shown}");
    assert!(shown.contains("needles-add-up   held"), "{shown}");
    assert!(shown.contains("2 of 2 proofs held"), "{shown}");
    assert!(output.stderr.is_empty(), "no bar when it is not a terminal: {output:?}");
}

#[test]
fn the_same_seed_gives_the_same_rows_and_another_seed_others() {
    let rows = |seed: &str| -> Vec<Value> {
        let only = ["--quick", "--only", "loss-bound", "--format", "json", "--seed", seed];
        serde_json::from_slice(&prove(&only).stdout).expect("JSON")
    };
    let first = rows("5");
    assert_eq!(first, rows("5"));
    assert_ne!(first[0]["worst"], rows("6")[0]["worst"]);
    assert_eq!(first[0]["held"], Value::Bool(true));
    assert_eq!(first[0]["proof"], "loss-bound");
}

#[test]
fn one_case_is_replayed_by_its_id() {
    let output = prove(&["--quick", "--replay", "garbage-boots:1:3:5", "--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let rows: Vec<Value> = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(rows.len(), 1);
    assert_eq!(rows[0]["cases"], 1);
}

#[test]
fn wrong_names_and_ids_say_what_there_is_and_exit_2() {
    let output = prove(&["--only", "everything"]);
    assert_eq!(output.status.code(), Some(2));
    let said = text(&output.stderr);
    assert!(said.contains("never-backwards") && said.contains("no-free-reset"), "{said}");
    let output = prove(&["--replay", "roll-over:1"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("NAME:SEED:RUN:CASE"), "{output:?}");
    for id in ["roll-over:1:999999:0", "roll-over:1:0:999999"] {
        let output = prove(&["--replay", id]);
        assert_eq!(output.status.code(), Some(2), "there is no such case: {output:?}");
        assert!(output.stdout.is_empty() && text(&output.stderr).contains(id), "{output:?}");
    }
}
