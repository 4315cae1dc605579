//! `shaftbook campaign`, `merge` and `prove --replay FILE`, as a person runs them.

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

const FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/campaigns/quick.toml");

fn shaftbook(folder: &TempDir, args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_shaftbook"));
    command.current_dir(folder.path()).args(args).output().expect("the binary runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

/// Every file of a folder, by its name.
fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry")) {
        let (name, path) = (entry.file_name().into_string().expect("text"), entry.path());
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.push((name, fs::read(&path).expect("a file")));
        }
    }
    found.sort();
    found
}

fn refused(folder: &TempDir, args: &[&str]) -> String {
    let output = shaftbook(folder, args);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(output.stdout.is_empty(), "{output:?}");
    let said = text(&output.stderr);
    assert_eq!(said.lines().count(), 1, "{said}");
    said
}

#[test]
fn split_and_merged_it_leaves_the_same_files() {
    let folder = TempDir::new().expect("a folder");
    let campaign = |more: &[&str]| {
        // A broken board: failing runs and their shrunk files are among what is compared.
        let args =
            [&["campaign", FILE, "--runs", "600", "--board", "not-read-back"], more].concat();
        let output = shaftbook(&folder, &args);
        assert_eq!(output.status.code(), Some(1), "{output:?}");
        output
    };
    let whole = campaign(&["--out", "whole"]);
    assert!(text(&whole.stdout).contains("600 of 600 runs"), "{whole:?}");
    campaign(&["--shard", "1/2", "--out", "one", "--threads", "1"]);
    campaign(&["--shard", "2/2", "--out", "two"]);
    let merged =
        shaftbook(&folder, &["merge", "two", "one", "--campaign", FILE, "--out", "merged"]);
    // All but where the shrunk files are.
    let told = |output: &Output, folder: &str| text(&output.stdout).replace(folder, "OUT");
    assert_eq!(told(&merged, "merged/"), told(&whole, "whole/"));
    assert_eq!(merged.status, whole.status);
    assert!(
        folder.path().join("whole/regressions").read_dir().is_ok_and(|mut it| it.next().is_some())
    );
    let (whole, merged) = (folder.path().join("whole"), folder.path().join("merged"));
    assert!(files(&whole) == files(&merged), "a file differs");
    let said = refused(&folder, &["merge", "one", "--out", "again"]);
    assert!(said.contains("part 2/2 is missing"), "{said}");
    assert!(!folder.path().join("again/runs.jsonl").exists());
}

#[test]
fn killed_and_started_again_it_leaves_the_same_files() {
    let folder = TempDir::new().expect("a folder");
    let args = |out| ["campaign", FILE, "--runs", "1500", "--out", out];
    let whole = shaftbook(&folder, &args("whole"));
    let stream = folder.path().join("killed/runs.jsonl");
    let mut child = Command::new(env!("CARGO_BIN_EXE_shaftbook"))
        .current_dir(folder.path())
        .args(args("killed"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the binary runs");
    // Killed as soon as a first chunk is there, not after a time.
    let has_chunk = || fs::read_to_string(&stream).is_ok_and(|text| text.contains("{\"chunk\""));
    while !has_chunk() && child.try_wait().expect("a child").is_none() {
        std::thread::yield_now();
    }
    child.kill().expect("it is killed");
    child.wait().expect("it ends");
    let rows = |text: &str| text.lines().filter(|line| line.starts_with("{\"run\"")).count();
    let left = rows(&fs::read_to_string(&stream).expect("a stream"));
    assert!((256..1500).contains(&left), "it was killed on the way: {left} rows");
    let again = shaftbook(&folder, &args("killed"));
    assert_eq!(text(&again.stdout), text(&whole.stdout));
    assert!(
        files(&folder.path().join("whole")) == files(&folder.path().join("killed")),
        "a file differs"
    );
    let said = text(&again.stderr);
    assert!(!said.contains("1,500 runs"), "it went on where it was: {said}");
    let said = refused(&folder, &["campaign", FILE, "--runs", "9", "--out", "killed"]);
    assert!(said.contains("another campaign") && said.contains("--fresh"), "{said}");
}

#[test]
fn a_budget_stops_it_and_the_same_command_goes_on() {
    let folder = TempDir::new().expect("a folder");
    let args = ["campaign", FILE, "--runs", "700", "--out", "budget"];
    let first = shaftbook(&folder, &[&args[..], &["--cases", "1"]].concat());
    assert_eq!(first.status.code(), Some(0), "{first:?}");
    let shown = text(&first.stdout);
    assert!(shown.contains("256 of 700 runs"), "{shown}");
    assert!(shown.contains("not complete: the same command goes on"), "{shown}");
    let none =
        shaftbook(&folder, &["campaign", FILE, "--runs", "300", "--out", "none", "--minutes", "0"]);
    assert!(text(&none.stdout).contains("256 of 300 runs"), "a chunk at least: {none:?}");
    let long = shaftbook(
        &folder,
        &["campaign", FILE, "--runs", "9", "--out", "long", "--minutes", "1e18"],
    );
    assert!(text(&long.stdout).contains("9 of 9 runs"), "{long:?}");
    let second = shaftbook(&folder, &args);
    assert!(text(&second.stdout).contains("700 of 700 runs"), "{second:?}");
}

#[test]
fn a_failing_run_is_exit_code_1_and_its_file_replays() {
    let folder = TempDir::new().expect("a folder");
    let broken = ["--board", "not-read-back", "--runs", "200"];
    let output = shaftbook(&folder, &[&["campaign", FILE, "--out", "out"][..], &broken].concat());
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let shown = text(&output.stdout);
    let line = shown.lines().find(|line| line.starts_with("shrunk: ")).expect("a file");
    let command: Vec<&str> = line.trim_start_matches("shrunk: shaftbook ").split(' ').collect();
    let replayed = shaftbook(&folder, &command);
    assert_eq!(replayed.status.code(), Some(1), "{replayed:?}");
    assert!(text(&replayed.stdout).contains("FAILED"), "{replayed:?}");
    let again = shown.lines().find_map(|line| line.trim().strip_prefix("again: shaftbook "));
    let again: Vec<&str> = again.expect("a command").split(' ').collect();
    let alone = shaftbook(&folder, &[&again[..], &["--out", "alone"]].concat());
    assert_eq!(alone.status.code(), Some(1), "{alone:?}");

    let file = command.last().expect("a file");
    let text_of = fs::read_to_string(folder.path().join(file)).expect("a file");
    let other = text_of.replace("do = \"", "do = \"x");
    fs::write(folder.path().join("bad.toml"), other).expect("a file");
    let said = refused(&folder, &["prove", "--replay", "bad.toml"]);
    assert!(said.contains("bad.toml:"), "{said}");
    let said = refused(&folder, &["prove", "--replay", "none.toml"]);
    assert!(said.contains("none.toml"), "{said}");
}

#[test]
fn what_is_wrong_is_said_in_a_line() {
    let folder = TempDir::new().expect("a folder");
    let said = refused(&folder, &["campaign", "none.toml"]);
    assert!(said.contains("none.toml"), "{said}");
    let said = refused(&folder, &["campaign", FILE, "--shard", "3/2"]);
    assert!(said.contains("3/2") && said.contains("I/N"), "{said}");
    let said = refused(&folder, &["campaign", FILE, "--board", "none"]);
    assert!(said.contains("sabotage --list"), "{said}");
    let said = refused(&folder, &["campaign", FILE, "--runs", "300", "--shard", "3/3"]);
    assert!(said.contains("no run"), "{said}");
    let text = fs::read_to_string(FILE).expect("the file");
    let text = text.replace("required = [\"all\"]", "required = [\"asleep\"]");
    fs::write(folder.path().join("asleep.toml"), text).expect("a file");
    let said = refused(&folder, &["campaign", "asleep.toml"]);
    assert!(said.contains("asleep.toml:") && said.contains("no state \"asleep\""), "{said}");
}
