//! Programs and images that must be there: if one is missing, a line says what to do.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Root of the repository.
const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// The repository's file `path`.
#[must_use]
pub fn repository(path: &str) -> PathBuf {
    Path::new(ROOT).join(path)
}

/// Checks that `program` is there.
///
/// # Panics
/// When it is not: `remedy` says what to install.
pub fn need(program: &str, remedy: &str) {
    let found = Command::new(program).arg("--version").stdout(Stdio::null()).status();
    assert!(found.is_ok_and(|status| status.success()), "{program} is missing: {remedy}");
}

/// The release image `name`.
///
/// # Panics
/// When it is not built.
#[must_use]
pub fn image(name: &str) -> PathBuf {
    let path = repository("firmware/boards/target/thumbv6m-none-eabi/release").join(name);
    assert!(path.is_file(), "{} is missing: run `firmware/boards/build` ({name})", path.display());
    path
}

/// The program `shaftbook` of the same build as this test.
///
/// # Panics
/// When it is not built.
#[must_use]
pub fn shaftbook() -> PathBuf {
    let test = std::env::current_exe().expect("a test has a path");
    let path = test.ancestors().nth(2).expect("it lies in target/…/deps").join("shaftbook");
    assert!(
        path.is_file(),
        "{} is missing: run `cargo build --locked -p host-sim --bin shaftbook`",
        path.display()
    );
    path
}

/// What `defmt-print` makes of the bytes that `image` has logged; one entry a line.
///
/// # Panics
/// When `defmt-print` fails.
#[must_use]
pub fn decoded(image: &Path, log: &Path) -> Vec<String> {
    let bytes = std::fs::File::open(log).expect("the log was written");
    let output = Command::new("defmt-print")
        .arg("-e")
        .arg(image)
        .stdin(bytes)
        .output()
        .expect("defmt-print runs");
    assert!(output.status.success(), "defmt-print: {}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8_lossy(&output.stdout);
    text.lines().map(|line| line.trim().into()).filter(|line: &String| !line.is_empty()).collect()
}

/// Lines of a log that a sound board which only sews does not write: all but one boot and
/// one "ready".
#[must_use]
pub fn unexpected(log: &[String], version: &str) -> Vec<String> {
    let expected = [format!("INFO  boot {version}"), "INFO  ready".into()];
    let mut found: Vec<String> =
        log.iter().filter(|line| !expected.contains(line)).cloned().collect();
    for line in expected {
        let count = log.iter().filter(|l| **l == line).count();
        if count != 1 {
            found.push(format!("\"{line}\" stands there {count} times"));
        }
    }
    found
}
