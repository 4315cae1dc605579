//! System tests of `shaftbook number` and `shaftbook uf2`: only what a person at a
//! terminal sees, and what another decoder reads from the files.

use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};

use serde_json::Value;

/// The RP2040's family in the UF2 specification's list.
const RP2040: u32 = 0xE48B_FF56;

fn shaftbook(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook")).args(args).output().expect("it starts")
}

/// The path of a file that is not there.
fn absent(name: &str) -> String {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("flash");
    fs::create_dir_all(&folder).expect("a folder");
    let path = folder.join(name);
    let _ = fs::remove_file(&path);
    path.display().to_string()
}

/// Exit 2, one line on standard error: this one's text; and `out` was not written.
fn refused(args: &[&str], out: &str) -> String {
    let output = shaftbook(args);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(output.stdout.is_empty(), "{output:?}");
    assert!(fs::metadata(out).is_err(), "{out} was written");
    let text = String::from_utf8(output.stderr).expect("text");
    assert_eq!(text.lines().count(), 1, "{text}");
    text
}

#[test]
fn a_board_gets_its_number_in_the_last_sector() {
    let out = absent("number.uf2");
    let output = shaftbook(&["number", "--board-id", "a11ce", "--out", &out, "--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let report: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(report["board"], "00000000000A11CE");
    assert_eq!(report["address"], "0x101FF000");
    let file = fs::read(&out).expect("the file");
    assert_eq!(report["bytes"], file.len());
    let (bytes, families) = uf2_decode::convert_from_uf2(&file).expect("it decodes");
    assert_eq!(families.into_iter().collect::<Vec<_>>(), [(RP2040, 0x101F_F000)]);
    assert_eq!(bytes[..16], *b"SHAFTBK1\xCE\x11\x0A\0\0\0\0\0");
}

#[test]
fn what_is_no_number_of_a_board_is_refused() {
    let out = absent("none.uf2");
    for id in ["", "xyz", "11112222333344445", "FFFFFFFFFFFFFFFF"] {
        let text = refused(&["number", "--board-id", id, "--out", &out], &out);
        assert!(text.contains("--board-id"), "{text}");
    }
}

#[test]
fn what_is_no_program_is_refused() {
    let out = absent("program.uf2");
    let text = absent("text.elf");
    fs::write(&text, "no program").expect("a file");
    assert!(refused(&["uf2", &text, "--out", &out], &out).contains("not an ELF file"));
    let missing = absent("missing.elf");
    assert!(refused(&["uf2", &missing, "--out", &out], &out).contains("missing.elf"));
    // A program for the computer that runs this test.
    let host = env!("CARGO_BIN_EXE_shaftbook");
    assert!(refused(&["uf2", host, "--out", &out], &out).contains("ELF"));
}
