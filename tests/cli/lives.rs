//! Campaigns of whole lives, as a person runs them: the same bytes on any number of threads, split
//! or interrupted; broken boards that only a life shows are found, and replay.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use tempfile::TempDir;

const FOLDER: &str = env!("CARGO_MANIFEST_DIR");

fn shaftbook(folder: &TempDir, args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_shaftbook"));
    command.current_dir(folder.path()).args(args).output().expect("the binary runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

/// A folder with the shipped plan, whose lives last so many years.
fn with_plan(years: &str) -> TempDir {
    let folder = TempDir::new().expect("a folder");
    let plan = fs::read_to_string(format!("{FOLDER}/campaigns/lives.toml")).expect("the plan");
    let plan = plan
        .replace("years = 20", &format!("years = {years}"))
        .replace("../scenarios", &format!("{FOLDER}/scenarios"));
    fs::write(folder.path().join("lives.toml"), plan).expect("a file");
    folder
}

fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry")) {
        let (name, path) = (entry.file_name().into_string().expect("text"), entry.path());
        if path.is_file() {
            found.push((name, fs::read(&path).expect("a file")));
        }
    }
    found.sort();
    found
}

#[test]
fn lives_leave_the_same_bytes_on_any_threads_split_and_interrupted() {
    let folder = with_plan("0.02");
    let campaign = |more: &[&str]| {
        let args = [&["campaign", "lives.toml", "--runs", "3"], more].concat();
        let output = shaftbook(&folder, &args);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        text(&output.stdout)
    };
    let said = campaign(&["--out", "whole", "--threads", "2"]);
    assert!(said.contains("3 of 3 runs") && said.contains("revolutions of the shaft"), "{said}");
    campaign(&["--out", "one", "--threads", "1"]);
    let of = |name: &str| files(&folder.path().join(name));
    let whole = of("whole");
    assert!(whole == of("one"), "one thread");
    // Interrupted in the middle of what the last life leaves.
    let stream = fs::read(folder.path().join("one/runs.jsonl")).expect("a stream");
    let cut = stream.len() - 700;
    fs::write(folder.path().join("one/runs.jsonl"), &stream[..cut]).expect("a file");
    campaign(&["--out", "one", "--threads", "1"]);
    assert!(whole == of("one"), "interrupted");
    campaign(&["--out", "a", "--shard", "1/2"]);
    campaign(&["--out", "b", "--shard", "2/2"]);
    let merged =
        shaftbook(&folder, &["merge", "b", "a", "--campaign", "lives.toml", "--out", "merged"]);
    assert_eq!(merged.status.code(), Some(0), "{merged:?}");
    assert!(whole == of("merged"), "merged");
}

#[test]
fn boards_that_no_short_run_shows_are_found_and_replay() {
    let folder = with_plan("0.06");
    for name in ["run-ends-late", "refit-by-kind", "timer-of-32-bits"] {
        let args = ["campaign", "lives.toml", "--runs", "2", "--fresh", "--board", name];
        let output = shaftbook(&folder, &[&args[..], &["--out", name]].concat());
        assert_eq!(output.status.code(), Some(1), "{name}: {output:?}");
        let said = text(&output.stdout);
        let seen = said.lines().find(|line| line.contains("[day ")).expect("the day is said");
        let line = said.lines().find(|line| line.starts_with("shrunk: ")).expect("a file");
        let command: Vec<&str> = line.trim_start_matches("shrunk: shaftbook ").split(' ').collect();
        let replayed = shaftbook(&folder, &command);
        assert_eq!(replayed.status.code(), Some(1), "{replayed:?}");
        // It fails in the same way, up to its figures.
        let way = seen.split(": ").nth(1).expect("what was seen");
        let way = way.split(" [day").next().expect("what was seen");
        assert!(text(&replayed.stdout).contains(way), "{seen}: {replayed:?}");
        let again = shaftbook(&folder, &command);
        assert_eq!(again.stdout, replayed.stdout);
        // The sound board holds in the same life.
        let path = folder.path().join(command.last().expect("a file"));
        let life = fs::read_to_string(&path).expect("a file");
        fs::write(&path, life.replace(&format!("\"{name}\""), "\"shaftbook\"")).expect("a file");
        let sound = shaftbook(&folder, &command);
        assert_eq!(sound.status.code(), Some(0), "{sound:?}");
    }
}

#[test]
fn what_is_wrong_with_a_plan_of_lives_is_said_in_a_line() {
    let folder = with_plan("90");
    let output = shaftbook(&folder, &["campaign", "lives.toml"]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(text(&output.stderr).contains("lives.years: 90 is not"), "{output:?}");
}
