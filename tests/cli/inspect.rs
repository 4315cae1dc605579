//! System tests of `shaftbook inspect`: only what a person at a terminal sees.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

fn shaftbook(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook")).args(args).output().expect("it starts")
}

/// A file of one test, with these bytes if any.
fn file(name: &str, bytes: Option<&[u8]>) -> String {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("inspect");
    fs::create_dir_all(&folder).expect("a folder");
    let path = folder.join(name);
    let _ = fs::remove_file(&path);
    if let Some(bytes) = bytes {
        fs::write(&path, bytes).expect("a file");
    }
    path.display().to_string()
}

/// The image that a day of sewing leaves, and what `sew` says the board counted.
fn sewn(name: &str) -> (String, Value) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("a workspace");
    let scenario = root.join("host-sim/scenarios/six-needle-shop.toml").display().to_string();
    let image = file(name, None);
    let output =
        shaftbook(&["sew", &scenario, "--days", "1", "--image", &image, "--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    (image, serde_json::from_slice(&output.stdout).expect("JSON"))
}

fn inspected(image: &str) -> (Option<i32>, Value) {
    let output = shaftbook(&["inspect", image, "--format", "json"]);
    (output.status.code(), serde_json::from_slice(&output.stdout).expect("JSON"))
}

fn text(image: &str, more: &[&str]) -> (Option<i32>, String) {
    let output = shaftbook(&[&["inspect", image], more].concat());
    (output.status.code(), String::from_utf8(output.stdout).expect("text"))
}

/// Exit 2, nothing on standard output, one line on standard error: this one's text.
fn refused(image: &str) -> String {
    let output = shaftbook(&["inspect", image]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(output.stdout.is_empty(), "{output:?}");
    let text = String::from_utf8(output.stderr).expect("text");
    assert_eq!(text.lines().count(), 1, "{text}");
    text
}

#[test]
fn what_was_sewn_is_on_the_part() {
    let (image, sewn) = sewn("sewn.bin");
    let (code, report) = inspected(&image);
    assert_eq!(code, Some(0));
    assert_eq!(report["differences"], Value::Array(vec![]));
    assert_eq!(report["fault"], Value::Null);
    for key in ["stitches", "jumps", "trims", "breaks", "running_ms"] {
        assert_eq!(report["lifetime"][key], sewn["counted"][key], "{key}");
    }
    assert!(report["lifetime"]["stitches"].as_u64() > Some(10_000));
    let (code, text) = text(&image, &[]);
    assert_eq!(code, Some(0));
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    for heading in ["LIFETIME", "CARRIED IN", "SERVICE INTERVAL", "WEAR", "DAMAGE\n  none"] {
        assert!(text.contains(heading), "{heading}: {text}");
    }
}

#[test]
fn damage_is_shown_and_the_counters_come_all_the_same() {
    let (image, _) = sewn("whole.bin");
    let (_, whole) = inspected(&image);
    let slot = whole["rests_on"]["snapshot_slot"].as_u64().expect("a slot") as usize;
    let mut bytes = fs::read(&image).expect("the image");
    bytes[slot * 64 + 7] ^= 0x10;
    let (code, report) = inspected(&file("damaged.bin", Some(&bytes)));
    assert_eq!(code, Some(0));
    assert_eq!(report["lifetime"], whole["lifetime"]);
    assert_eq!(report["damage"]["needed_slots"], serde_json::json!([slot]));
    assert_eq!(report["damage"]["snapshot"]["missing"], serde_json::json!([0]));
}

#[test]
fn nothing_of_the_board_is_exit_1_with_the_fault_named() {
    let blank = file("blank.bin", Some(&vec![0xFF; 32_768]));
    let (code, said) = text(&blank, &[]);
    assert_eq!(code, Some(1));
    assert!(said.contains("NOTHING RECOVERED: fault 4 NotFitted"), "{said}");
    let cleared = file("cleared.bin", Some(&vec![0; 32_768]));
    assert!(text(&cleared, &[]).1.contains("fault 6 MemoryUnreadable"));
    let (image, _) = sewn("foreign.bin");
    let (code, said) = text(&image, &["--board", "0xABCD"]);
    assert_eq!(code, Some(1));
    assert!(said.contains("fault 5 ForeignMemory"), "{said}");
}

#[test]
fn bad_input_is_one_line_and_exit_2() {
    let short = file("short.bin", Some(&[0xFF; 8_000]));
    let line = refused(&short);
    assert!(line.contains("short.bin: 8000 bytes") && line.contains("8,192 to 65,536"), "{line}");
    let long = file("long.bin", Some(&vec![0xFF; 70_000]));
    assert!(refused(&long).contains("long.bin: more than 65,536 bytes"));
    let missing = file("missing.bin", None);
    assert!(refused(&missing).contains("missing.bin: "));
    for wrong in [["--page-bytes", "48"], ["--board", "xyz"], ["--board", "+12"]] {
        let output = shaftbook(&[&["inspect", &short][..], &wrong].concat());
        assert_eq!(output.status.code(), Some(2), "{wrong:?}");
    }
}

#[test]
fn a_wrong_page_length_is_noticed() {
    let (image, _) = sewn("pages.bin");
    let (_, text) = text(&image, &["--page-bytes", "128"]);
    assert!(text.contains("512 records fit with --page-bytes 64"), "{text}");
}
