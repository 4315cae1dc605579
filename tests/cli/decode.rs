//! System tests of `shaftbook decode`: only what a person at a terminal sees.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::{Value, json};

/// The worked example of `docs/FORMAT.md`, section 11.
const CODE: &str = "97SFW HWJJZ 94215 MZPCD SDDCF DDWJM";

fn shaftbook(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook")).args(args).output().expect("it starts")
}

fn decoded(args: &[&str]) -> String {
    let output = shaftbook(&[&["decode"], args].concat());
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(output.stderr.is_empty(), "{output:?}");
    let text = String::from_utf8(output.stdout).expect("text");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    text
}

/// Exit 2, nothing on standard output, one line on standard error: this one's text.
fn refused(args: &[&str]) -> String {
    let output = shaftbook(&[&["decode"], args].concat());
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(output.stdout.is_empty(), "{output:?}");
    let text = String::from_utf8(output.stderr).expect("text");
    assert_eq!(text.lines().count(), 1, "{text}");
    text
}

#[test]
fn the_state_is_told_in_words_of_the_trade() {
    let text = decoded(&[CODE]);
    for line in [
        "all symbols heard rightly",
        "service: not due; 399 h of running time since the last one",
        "components: 1 due, 2 at notice",
        "most pressing: needle 3, at 104 to 107 % of its limit",
        "11 shaft pulses are rejected as glitches",
        "strong: needle 3 breaks more thread than the others",
        "look first at: the thread path of needle 3",
        "2,345 h",
        "41,100,000 to 41,249,999",
        "120,000 to 123,999",
        "an earlier past was STATED",
    ] {
        assert!(text.contains(line), "{line} is not in {text}");
    }
}

#[test]
fn groups_case_dashes_and_confusions_do_not_matter() {
    let text = decoded(&[CODE]);
    let groups: Vec<_> = CODE.split(' ').collect();
    assert_eq!(decoded(&groups), text);
    for code in [
        CODE.replace(' ', ""),
        CODE.replace(' ', "-").to_lowercase(),
        CODE.replace('1', "l"),
        CODE.replace('1', "I"),
    ] {
        assert_eq!(decoded(&[&code]), text, "{code}");
    }
}

#[test]
fn each_symbol_that_was_mended_is_told() {
    let text = decoded(&["97SFX", "HWJJZ", "9421?", "MZP?D", "SDDCF", "DDWJM"]);
    for line in [
        "corrected: group 1, place 5: heard X, meant W",
        "filled in: group 3, place 5: not heard, meant 5",
        "filled in: group 4, place 4: not heard, meant C",
    ] {
        assert!(text.contains(line), "{line} is not in {text}");
    }
    assert!(text.starts_with(&format!("code {CODE}\n")), "{text}");
}

#[test]
fn the_spelling_alphabet_is_for_reading_back() {
    assert!(!decoded(&[CODE]).contains("Sierra"));
    let text = decoded(&["--spell", CODE]);
    assert!(text.contains("group 1: niner seven Sierra Foxtrot Whiskey\n"), "{text}");
    assert!(text.contains("group 6: Delta Delta Whiskey Juliett Mike\n"), "{text}");
}

#[test]
fn programs_get_the_same() {
    let text = decoded(&["--format", "json", &CODE.replacen('W', "?", 1)]);
    let value: Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(value["code"], CODE);
    assert_eq!(value["mended"], json!([{"group": 1, "place": 5, "heard": null, "meant": "W"}]));
    assert_eq!(value["stitches"], json!({"least": 41_100_000, "most": 41_249_999}));
    assert_eq!(value["powered_h"], json!({"least": 2_345, "most": 2_345}));
    assert_eq!(value["most_pressing"]["kind"], 3);
    assert_eq!(value["faults"][0]["name"], "ShaftGlitches");
    assert_eq!(value["hint"]["certainty"], "strong");
}

#[test]
fn what_cannot_be_corrected_is_refused_in_one_line() {
    for (code, line) in [
        ("87SFW 8WJJZ 84215 MZPCD SDDCF DDWJM", "three or more symbols are wrong"),
        ("????? HWJJZ 94215 MZPCD SDDCF DDWJM", "5 symbols were not heard, at most 4"),
        ("???FW HWJJZ 94215 MZPCD SDDCF DDWJN", "3 not heard and one or more wrong"),
        ("97SFW HWJJZ 9421 MZPCD SDDCF DDWJM", "29 symbols, a code has 30: group 3 is short"),
        ("97SFW HWJJZ 94215 MZPCD SDDCFF DDWJM", "31 symbols, a code has 30: group 5 is long"),
        ("97SFW HWJJZ 94215 MZPCD SDDCF", "only 5 groups of 6"),
        ("97SFW HUJJZ 94215 MZPCD SDDCF DDWJM", "`U` at symbol 7 (group 2, place 2)"),
        ("97SFW HWJJZ 94215 MZPCD SDDCF DDWJ.", "`.` at symbol 30 (group 6, place 5)"),
        ("97SFW HWJJ 942155 MZPDC SDDFC DDWJM", "(group 2 is short: 4 instead of 5)"),
        ("", "0 symbols"),
    ] {
        let text = refused(&[code]);
        assert!(text.contains(line), "{line} is not in {text}");
    }
    assert!(refused(&[CODE, "--tag", "0000-0000"]).contains("check symbol"));
}

#[test]
fn a_code_of_another_board_is_said_so() {
    // Boards 5AFEB00C00000001 and 5EED.
    assert!(decoded(&[CODE, "--tag", "zg6b-3245"]).contains("can be of board ZG6B-3245"));
    let output = shaftbook(&["decode", CODE, "--tag", "899B-6TVX"]);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(String::from_utf8_lossy(&output.stdout).contains("NOT OF board 899B-6TVX"));
}

#[test]
fn the_figures_are_the_same_every_time() {
    let figures = || decoded_figures(&["--figures", "--cases", "10000", "--seed", "3"]);
    let text = figures();
    assert!(text.contains("| 2 wrong | 10,000 | 10,000 | 0 | 0 | 0 | always right |"), "{text}");
    assert!(text.contains("\n48 of 48 bounds held, 480,000 codes\n"), "{text}");
    assert_eq!(figures(), text);
    assert_eq!(shaftbook(&["decode", "--figures", "--cases", "1"]).status.code(), Some(2));
}

fn decoded_figures(args: &[&str]) -> String {
    let output = shaftbook(&[&["decode"], args].concat());
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    String::from_utf8(output.stdout).expect("text")
}

#[test]
fn the_code_of_a_dead_board_s_part_says_what_the_part_holds() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("a workspace");
    let scenario = root.join("host-sim/scenarios/six-needle-shop.toml").display().to_string();
    let image = Path::new(env!("CARGO_TARGET_TMPDIR")).join("decode.bin").display().to_string();
    let sewn = shaftbook(&["sew", &scenario, "--days", "1", "--image", &image]);
    assert_eq!(sewn.status.code(), Some(0), "{sewn:?}");
    let inspected = shaftbook(&["inspect", &image, "--format", "json"]);
    let part: Value = serde_json::from_slice(&inspected.stdout).expect("JSON");
    let code = part["read_out_code"].as_str().expect("a code");
    let said: Value = serde_json::from_str(&decoded(&["--format", "json", code])).expect("JSON");
    let hours = part["lifetime"]["powered_ms"].as_u64().expect("a time") / 3_600_000;
    assert!(hours > 0);
    assert_eq!(said["powered_h"]["least"], hours);
    let stitches = part["lifetime"]["stitches"].as_u64().expect("a count");
    assert_eq!(said["stitches"]["least"], stitches / 150_000 * 150_000);
    let tag = part["board"]["tag"].as_str().expect("a tag");
    assert_eq!(Some(&tag[..4]), said["tag_begins"].as_str());
    assert!(decoded(&[code, "--tag", tag]).contains(&format!("can be of board {tag}")));
}
