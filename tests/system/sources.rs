//! Rules on the text of the sources: no `std`, no allocation and no unsafe code in the layers,
//! no other rules than the sound ones in the firmware, no path of one machine anywhere.

use system_tests::graph::LAYERS;
use system_tests::sources::{SOUND_RULES, Source, all, bare_breaches, broken_rules, machine_paths};

fn source(text: &str) -> Source {
    Source { path: "x.rs".into(), text: text.into() }
}

fn is_bare(path: &str) -> bool {
    LAYERS.iter().any(|(name, ..)| {
        let folder = name.trim_start_matches("shaftbook-");
        path.starts_with(&format!("firmware/{folder}/src/"))
    })
}

/// A `tests.rs` whose module is declared for tests only.
fn is_test_only(path: &str, sources: &[Source]) -> bool {
    let Some(folder) = path.strip_suffix("/tests.rs") else { return false };
    let parents = [".rs", "/mod.rs", "/lib.rs"].map(|end| format!("{folder}{end}"));
    sources.iter().any(|s| parents.contains(&s.path) && s.text.contains("#[cfg(test)]\nmod tests;"))
}

#[test]
fn the_layers_are_no_std_without_unsafe_or_allocation() {
    let sources: Vec<_> = all().into_iter().filter(|s| is_bare(&s.path)).collect();
    let roots = sources.iter().filter(|s| s.path.ends_with("/src/lib.rs")).count();
    assert_eq!(roots, LAYERS.len(), "one of each layer");
    let shipped = sources.iter().filter(|s| !is_test_only(&s.path, &sources));
    let found: Vec<_> =
        shipped.flat_map(|s| bare_breaches(s, s.path.ends_with("/src/lib.rs"))).collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn each_breach_in_a_bare_source_is_found() {
    let root = "#![no_std]\n#![forbid(unsafe_code)]\n";
    assert!(bare_breaches(&source(root), true).is_empty());
    assert_eq!(bare_breaches(&source("#![no_std]"), true).len(), 1);
    assert_eq!(bare_breaches(&source("#![forbid(unsafe_code)]"), true).len(), 1);
    for line in ["unsafe { x() }", "extern crate alloc;", "use std::vec::Vec;"] {
        assert_eq!(bare_breaches(&source(line), false).len(), 1, "{line}");
    }
    for line in ["// unsafe", "let unsafe_page = 1;", "#[cfg(test)]\nmod t { use std::vec; }"] {
        assert!(bare_breaches(&source(line), false).is_empty(), "{line}");
    }
}

#[test]
fn no_firmware_source_has_other_rules_than_the_sound_ones() {
    let sources: Vec<_> =
        all().into_iter().filter(|s| s.path.starts_with("firmware/") && is_rust(&s.path)).collect();
    let layers = LAYERS.map(|(name, ..)| format!("{}/src/", name.trim_start_matches("shaftbook-")));
    let boards = ["boards/rp2040/src/", "boards/mps2/src/"].map(str::to_owned);
    for folder in layers.into_iter().chain(boards) {
        let folder = format!("firmware/{folder}");
        assert!(sources.iter().any(|s| s.path.starts_with(&folder)), "{folder} is not read");
    }
    for rules in SOUND_RULES {
        let line = format!("\n{rules}");
        let sound = sources.iter().filter(|s| s.text.contains(&line)).count();
        assert_eq!(sound, 1, "{rules}: the sound rules change nothing, in one place");
    }
    let found: Vec<_> = sources.iter().flat_map(broken_rules).collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn other_rules_in_a_firmware_source_are_found() {
    assert!(broken_rules(&source("impl Rules for Sound {}\nuse a::Rules;")).is_empty());
    assert!(broken_rules(&source("#[cfg(test)]\nimpl Rules for Broken {}")).is_empty());
    for line in [
        "impl Rules for Sound { fn retire() -> bool { false } }",
        "impl Rules for Quick {",
        "impl LoopRules for Quick {}",
        "impl CareRules for Sound { fn surest_first() -> bool { false } }",
        "impl ReadRules for Quick {}",
        "impl PanelRules for Quick {}",
        "impl LoopRules for Sound { fn missed_told() -> bool { false } }",
        "impl<const N: u8> shaftbook_core::rules::Rules for Quick<N> {}",
        "use shaftbook_evidence::prove::sabotage;",
        "type Board = shaftbook_core::board::Board<Sabotaged>;",
    ] {
        assert_eq!(broken_rules(&source(line)).len(), 1, "{line}");
    }
}

#[test]
fn no_file_names_a_path_of_one_machine() {
    let sources = all();
    assert!(sources.iter().any(|s| s.path == "Cargo.toml"), "the whole repository is read");
    let found: Vec<_> = sources
        .iter()
        // The two files that hold the patterns.
        .filter(|s| !["tests/system/sources.rs", "tests/src/sources.rs"].contains(&s.path.as_str()))
        .flat_map(machine_paths)
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn a_path_of_one_machine_is_found() {
    assert_eq!(machine_paths(&source("see /home/someone/x")), ["x.rs:1: see /home/someone/x"]);
    assert!(machine_paths(&source("see docs/DESIGN.md")).is_empty());
}

fn is_rust(path: &str) -> bool {
    std::path::Path::new(path).extension().is_some_and(|ending| ending == "rs")
}
