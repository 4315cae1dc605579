//! `shaftbook sabotage`, as a person runs it.

use std::process::{Command, Output};

use serde_json::Value;

fn shaftbook(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook")).args(args).output().expect("the binary runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

const THREE: [&str; 7] =
    ["sabotage", "--only", "session-twice", "--only", "no-authority", "--only", "both-edges"];

#[test]
fn help_has_examples_and_the_list_names_all_without_running_any() {
    let help = shaftbook(&["sabotage", "--help"]);
    assert_eq!(help.status.code(), Some(0));
    assert!(text(&help.stdout).contains("Examples:\n  shaftbook sabotage --list"));
    let list = shaftbook(&["sabotage", "--list"]);
    assert_eq!(list.status.code(), Some(0));
    let shown = text(&list.stdout);
    assert!(shown.lines().any(|l| l.starts_with("not-read-back ")), "{shown}");
    let boards = shown.lines().count() - 1;
    assert!(boards >= 30 && shown.ends_with(&format!("{boards} broken boards\n")), "{shown}");
    let json: Vec<Value> =
        serde_json::from_slice(&shaftbook(&["sabotage", "--list", "--format", "json"]).stdout)
            .expect("JSON");
    assert_eq!(json.len(), boards);
    assert!(json.iter().all(|row| row["mistake"].is_string() && row["tried_first"].is_string()));
}

#[test]
fn a_caught_board_is_a_row_whose_replay_line_works_as_it_is_printed() {
    let output = shaftbook(&THREE);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let shown = text(&output.stdout);
    assert!(shown.contains("session-twice            caught by never-backwards, after"), "{shown}");
    assert!(shown.ends_with("3 of 3 caught in the quick search; missed: none\n"), "{shown}");
    assert!(output.stderr.is_empty(), "no bar when it is not a terminal: {output:?}");
    let replays: Vec<&str> =
        shown.lines().filter_map(|l| l.trim().strip_prefix("replay: shaftbook ")).collect();
    assert_eq!(replays.len(), 3);
    for line in replays {
        let args: Vec<&str> = line.split(' ').collect();
        let again = shaftbook(&args);
        assert_eq!(again.status.code(), Some(1), "{line}: {again:?}");
        let again = text(&again.stdout);
        assert!(again.contains(" FAILED            1 cases"), "{line}: {again}");
        assert!(again.contains(&format!("  replay: shaftbook {line}\n")), "{again}");
        // The sound board passes the same case.
        let sound: Vec<&str> = args
            .iter()
            .enumerate()
            .filter(|(n, a)| **a != "--board" && (*n == 0 || args[n - 1] != "--board"))
            .map(|(_, a)| *a)
            .collect();
        assert_eq!(shaftbook(&sound).status.code(), Some(0), "{sound:?}");
    }
}

#[test]
fn rows_are_the_same_on_one_core_and_on_four() {
    let rows = |threads: &str| {
        let output = Command::new(env!("CARGO_BIN_EXE_shaftbook"))
            .args(THREE)
            .args(["--only", "end-of-warning-unseen", "--format", "json"])
            .env("RAYON_NUM_THREADS", threads)
            .output()
            .expect("the binary runs");
        text(&output.stdout)
    };
    let one = rows("1");
    assert_eq!(one, rows("4"));
    let json: Vec<Value> = serde_json::from_str(&one).expect("JSON");
    assert_eq!(json.len(), 4);
    assert!(json.iter().all(|row| row["caught"] == true && row["cases"].as_u64() > Some(0)));
}

/// A wait of no length hides from the proof of even wear.
#[test]
fn all_proofs_are_run_if_asked() {
    let args = ["sabotage", "--only", "no-authority", "--all-proofs", "--format", "markdown"];
    let output = shaftbook(&args);
    let shown = text(&output.stdout);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(shown.contains("| `no-authority` | authority |"), "{shown}");
    assert!(shown.contains("| no-free-reset"), "{shown}");
}

#[test]
fn a_wrong_name_says_how_to_list_them_and_exits_2() {
    for args in [["sabotage", "--only", "everything"], ["prove", "--board", "everything"]] {
        let output = shaftbook(&args);
        assert_eq!(output.status.code(), Some(2));
        let said = text(&output.stderr);
        assert!(said.contains("everything") && said.contains("sabotage --list"), "{said}");
    }
}
