//! Completions and manual pages, as a shell and a reader of manual pages see them.
//!
//! Only bash is asked here, because bash is everywhere. zsh, fish and a reader of manual pages
//! are asked in `.ci/nightly` (step `install`).

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn shaftbook(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook")).args(args).output().expect("it starts")
}

fn printed(args: &[&str]) -> String {
    let output = shaftbook(args);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(output.stderr.is_empty(), "{output:?}");
    String::from_utf8(output.stdout).expect("text")
}

/// The sub-commands that `--help` lists.
fn sub_commands() -> BTreeSet<String> {
    let help = printed(&["--help"]);
    let (_, list) = help.split_once("Commands:\n").expect("a list");
    let lines = list.lines().take_while(|line| line.starts_with("  "));
    let names = lines.filter(|line| !line.starts_with("   "));
    let names = names.filter_map(|line| line.split_whitespace().next());
    names.filter(|name| *name != "help").map(str::to_owned).collect()
}

/// An empty directory for one test.
fn directory(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).expect("a directory");
    path
}

/// What bash offers when Tab is pressed after the last of `words`.
fn offered(words: &[&str]) -> BTreeSet<String> {
    let script = directory(&format!("bash_{}", words.len())).join("completions.bash");
    fs::write(&script, printed(&["completions", "bash"])).expect("a script");
    // As bash's own machinery calls it: the command, the word at the cursor, the one before.
    let drive = r#"
        set -e
        source "$1"
        shift
        [[ $(complete -p shaftbook) =~ -F\ ([^ ]+) ]]
        COMP_WORDS=("$@") COMP_CWORD=$(($# - 1)) COMPREPLY=()
        "${BASH_REMATCH[1]}" shaftbook "${@: -1}" "${@: -2:1}"
        printf '%s\n' "${COMPREPLY[@]}"
    "#;
    let output = Command::new("bash")
        .args(["-c", drive, "bash"])
        .arg(&script)
        .args(words)
        .output()
        .expect("bash starts");
    assert!(output.status.success() && output.stderr.is_empty(), "{output:?}");
    let text = String::from_utf8(output.stdout).expect("text");
    text.lines().map(str::to_owned).collect()
}

fn set(words: &[&str]) -> BTreeSet<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

#[test]
fn every_shell_is_told_every_sub_command() {
    let names = sub_commands();
    assert!(names.contains("prove") && names.contains("manual"), "{names:?}");
    for shell in ["bash", "zsh", "fish"] {
        let script = printed(&["completions", shell]);
        for name in &names {
            let form = match shell {
                "bash" => format!("shaftbook,{name})"),
                "zsh" => format!("\n'{name}:"),
                _ => format!(" -a \"{name}\" "),
            };
            assert!(script.contains(&form), "{shell}: {name}");
        }
    }
    let wrong = shaftbook(&["completions", "csh"]);
    assert_eq!(wrong.status.code(), Some(2), "{wrong:?}");
    assert!(wrong.stdout.is_empty(), "{wrong:?}");
}

#[test]
fn bash_completes_sub_commands_options_and_values() {
    assert_eq!(offered(&["shaftbook", "pro"]), set(&["prove"]));
    assert_eq!(offered(&["shaftbook", "prove", "--q"]), set(&["--quick"]));
    assert_eq!(offered(&["shaftbook", "prove", "--only", "one"]), set(&["one-bad-page"]));
    let shells = offered(&["shaftbook", "completions", "-", "bash", ""]);
    assert!(shells.is_superset(&set(&["bash", "zsh", "fish"])), "{shells:?}");
    let all = offered(&["shaftbook", "", "", "", "", ""]);
    assert!(all.is_superset(&sub_commands()), "{all:?}");
}

#[test]
fn there_is_a_page_for_the_program_and_one_for_each_sub_command() {
    let directory = directory("manual").join("man1");
    let dir = directory.display().to_string();
    assert_eq!(printed(&["manual", "--dir", &dir]), "");
    let mut expected = set(&["shaftbook.1", "shaftbook-key-new.1"]);
    expected.extend(sub_commands().iter().map(|name| format!("shaftbook-{name}.1")));
    let found = fs::read_dir(&directory).expect("a folder");
    let found = found.map(|entry| entry.expect("it").file_name().display().to_string());
    assert_eq!(found.collect::<BTreeSet<_>>(), expected);
    let main = fs::read_to_string(directory.join("shaftbook.1")).expect("a page");
    assert_eq!(printed(&["manual"]), main);
    for name in sub_commands() {
        assert!(main.contains(&format!("shaftbook\\-{}(1)", name.replace('-', "\\-"))), "{name}");
    }
}

#[test]
fn the_examples_of_a_page_are_lines_of_their_own() {
    let directory = directory("examples");
    let dir = directory.display().to_string();
    printed(&["manual", "--dir", &dir]);
    let page = fs::read_to_string(directory.join("shaftbook-prove.1")).expect("a page");
    let (_, examples) = page.split_once(".SH EXAMPLES\n.nf\n").expect("examples");
    let (examples, rest) = examples.split_once("\n.fi\n").expect("their end");
    assert!(examples.starts_with("shaftbook prove\nshaftbook prove \\-\\-seed 7 "), "{examples}");
    assert!(rest.starts_with(".SH NOTES\n"), "{rest}");
    assert!(rest.contains(".SH \"EXIT STATUS\"\n"), "{rest}");
    // A line that goes on ends with a backslash, which a formatter must not take away.
    let page = fs::read_to_string(directory.join("shaftbook-fit.1")).expect("a page");
    assert!(page.contains("six\\-needle.toml \\\\\n    \\-\\-board\\-id"), "{page}");
}

#[test]
fn a_folder_that_cannot_be_is_exit_2() {
    let file = directory("no_folder").join("file");
    fs::write(&file, "").expect("a file");
    let output = shaftbook(&["manual", "--dir", &file.display().to_string()]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert_eq!(String::from_utf8_lossy(&output.stderr).lines().count(), 1, "{output:?}");
}
