//! The tracked text files of the repository, and what must not be in them.

use std::path::Path;
use std::process::Command;

/// A tracked text file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// Path relative to the root.
    pub path: String,
    /// What it says.
    pub text: String,
}

/// Every file that git tracks or would track, if it is text.
///
/// # Panics
/// When git cannot be run.
#[must_use]
pub fn all() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let list = Command::new("git")
        .args(["ls-files", "--cached", "--others", "--exclude-standard"])
        .current_dir(&root)
        .output()
        .expect("git runs");
    assert!(list.status.success(), "git ls-files failed");
    String::from_utf8(list.stdout)
        .expect("paths are text")
        .lines()
        .filter_map(|path| {
            let text = std::fs::read_to_string(root.join(path)).ok()?;
            Some(Source { path: path.into(), text })
        })
        .collect()
}

/// Lines of shipped code: those before the first `#[cfg(test)]`, without comments.
pub fn code_lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let before_tests = text.lines().take_while(|line| line.trim() != "#[cfg(test)]");
    (1..).zip(before_tests).map(|(number, line)| (number, line.split("//").next().unwrap_or("")))
}

/// Whether `word` stands in `line` on its own.
fn has_word(line: &str, word: &str) -> bool {
    line.split(|c: char| !(c.is_alphanumeric() || c == '_')).any(|part| part == word)
}

/// What breaks `no_std`, no allocation, no unsafe code in one firmware source;
/// `is_root` for a crate's `lib.rs`.
#[must_use]
pub fn bare_breaches(source: &Source, is_root: bool) -> Vec<String> {
    let mut found = Vec::new();
    if is_root {
        for attribute in ["#![no_std]", "#![forbid(unsafe_code)]"] {
            if !source.text.lines().any(|line| line.trim() == attribute) {
                found.push(format!("{}: {attribute} is missing", source.path));
            }
        }
    }
    for (number, line) in code_lines(&source.text) {
        for word in ["unsafe", "std", "alloc"] {
            if has_word(line, word) {
                found.push(format!("{}:{number}: `{word}`", source.path));
            }
        }
    }
    found
}

/// The rules that boards keep.
pub const SOUND_RULES: [&str; 5] = [
    "impl Rules for Sound {}",
    "impl CareRules for Sound {}",
    "impl ReadRules for Sound {}",
    "impl PanelRules for Sound {}",
    "impl LoopRules for Sound {}",
];
/// Names of the host's crates, and of the simulator's broken boards.
const HOST_NAMES: [&str; 6] = [
    "Sabotaged",
    "UnderTest",
    "host_sim",
    "shaftbook_world",
    "shaftbook_evidence",
    "shaftbook_tools",
];

/// Places where a firmware source has rules other than the sound ones: an implementation of
/// `Rules`, or of the rules of another layer, for anything but `Sound`, or a name of the simulator's broken boards.
#[must_use]
pub fn broken_rules(source: &Source) -> Vec<String> {
    let mut found = Vec::new();
    for (number, line) in code_lines(&source.text) {
        let implements = has_word(line, "impl") && line.contains("Rules for ");
        let sound = SOUND_RULES.contains(&line.trim());
        let named = HOST_NAMES.iter().find(|name| has_word(line, name));
        if (implements && !sound) || named.is_some() {
            found.push(format!("{}:{number}: {}", source.path, line.trim()));
        }
    }
    found
}

/// Beginnings of paths that belong to one machine.
const MACHINE_PATHS: [&str; 4] = ["/home/", "/root/", "/Users/", "C:\\Users"];

/// Lines that name a path of somebody's machine.
#[must_use]
pub fn machine_paths(source: &Source) -> Vec<String> {
    (1..)
        .zip(source.text.lines())
        .filter(|(_, line)| MACHINE_PATHS.iter().any(|path| line.contains(path)))
        .map(|(number, line)| format!("{}:{number}: {}", source.path, line.trim()))
        .collect()
}
