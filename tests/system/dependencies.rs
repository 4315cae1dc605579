//! The direction of dependencies is a check that fails, not advice.

use system_tests::graph::{Graph, Package, breaches, workspace};

fn package(folder: &str, needs: &[(&str, &[&str])]) -> Package {
    let needs = needs
        .iter()
        .map(|(name, features)| {
            ((*name).into(), features.iter().map(|f| String::from(*f)).collect())
        })
        .collect();
    Package { folder: folder.into(), needs, ..Package::default() }
}

fn sound() -> Graph {
    Graph::from([
        ("shaftbook-core".into(), package("firmware/core", &[("crc", &["default"])])),
        (
            "shaftbook-drivers".into(),
            package("firmware/drivers", &[("shaftbook-core", &[]), ("embedded-hal", &[])]),
        ),
        ("shaftbook-care".into(), package("firmware/care", &[("shaftbook-core", &[])])),
        ("shaftbook-readout".into(), package("firmware/readout", &[("shaftbook-care", &[])])),
        ("shaftbook-panel".into(), package("firmware/panel", &[("shaftbook-readout", &[])])),
        (
            "shaftbook-mainloop".into(),
            package("firmware/mainloop", &[("shaftbook-panel", &[]), ("shaftbook-drivers", &[])]),
        ),
        (
            "shaftbook-world".into(),
            package("host-sim/world", &[("shaftbook-mainloop", &[]), ("serde", &["std"])]),
        ),
        ("shaftbook-evidence".into(), package("host-sim/evidence", &[("shaftbook-world", &[])])),
        ("shaftbook-tools".into(), package("host-sim/tools", &[("shaftbook-world", &[])])),
        ("host-sim".into(), package("host-sim", &[("shaftbook-tools", &[]), ("clap", &["std"])])),
        (
            "board-x".into(),
            package("firmware/board-x", &[("shaftbook-drivers", &[]), ("cortex-m", &[])]),
        ),
        ("size-probe".into(), package("firmware/size-probe", &[("shaftbook-core", &[])])),
        ("system-tests".into(), package("tests", &[("host-sim", &[])])),
        // Holds a sabotaged capture: no image may have it.
        (
            "shaftbook-race".into(),
            package("firmware/boards/race", &[("shaftbook-drivers", &[]), ("cortex-m", &[])]),
        ),
    ])
}

/// The sound graph with one more dependency.
fn with(name: &str, needed: &str, features: &[&str]) -> Graph {
    let mut graph = sound();
    let features = features.iter().map(|f| String::from(*f)).collect();
    graph.get_mut(name).unwrap().needs.insert(needed.into(), features);
    graph
}

#[test]
fn the_workspace_keeps_to_the_direction_of_dependencies() {
    let found = breaches(&workspace());
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn the_graph_that_is_checked_is_the_workspace() {
    let graph = workspace();
    assert_eq!(graph["shaftbook-core"].folder, "firmware/core");
    assert_eq!(graph["shaftbook-rp2040"].folder, "firmware/boards/rp2040");
    assert!(graph["shaftbook-mps2"].needs.contains_key("shaftbook-mainloop"));
    assert_eq!(graph["shaftbook-race"].folder, "firmware/boards/race", "the sabotaged capture");
    assert!(graph["shaftbook-drivers"].needs.contains_key("shaftbook-core"));
    assert!(graph["shaftbook-drivers"].by_path.contains("shaftbook-core"));
    assert!(!graph["shaftbook-drivers"].by_path.contains("embedded-hal"));
    assert_eq!(graph["size-probe"].folder, "firmware/size-probe");
    assert!(graph["host-sim"].needs.contains_key("shaftbook-core"));
    assert!(!graph["shaftbook-core"].needs.contains_key("proptest"), "only for its tests");
}

#[test]
fn each_breach_is_found() {
    assert_eq!(breaches(&sound()), Vec::<String>::new());
    for (name, needed) in [
        ("shaftbook-core", "shaftbook-drivers"),
        ("shaftbook-core", "host-sim"),
        ("shaftbook-core", "embedded-hal"),
        ("shaftbook-core", "rand"),
        ("shaftbook-core", "shaftbook-care"),
        ("shaftbook-care", "shaftbook-readout"),
        ("shaftbook-readout", "shaftbook-panel"),
        ("shaftbook-panel", "shaftbook-drivers"),
        ("shaftbook-panel", "embedded-hal"),
        ("shaftbook-drivers", "shaftbook-panel"),
        ("shaftbook-drivers", "shaftbook-mainloop"),
        ("shaftbook-panel", "shaftbook-mainloop"),
        ("shaftbook-mainloop", "board-x"),
        ("shaftbook-mainloop", "cortex-m"),
        ("shaftbook-drivers", "host-sim"),
        ("shaftbook-drivers", "board-x"),
        ("shaftbook-drivers", "rp2040-hal"),
        ("board-x", "host-sim"),
        ("board-x", "system-tests"),
        ("size-probe", "host-sim"),
        ("size-probe", "system-tests"),
        ("shaftbook-race", "host-sim"),
        ("shaftbook-core", "system-tests"),
        ("board-x", "shaftbook-race"),
        ("shaftbook-mainloop", "shaftbook-race"),
        ("host-sim", "shaftbook-race"),
        ("host-sim", "board-x"),
        ("shaftbook-world", "shaftbook-evidence"),
        ("shaftbook-world", "host-sim"),
        ("shaftbook-tools", "shaftbook-evidence"),
        ("shaftbook-evidence", "host-sim"),
        ("shaftbook-mainloop", "shaftbook-world"),
        ("board-x", "shaftbook-world"),
    ] {
        let expected = format!("{name} must not depend on {needed}");
        assert_eq!(breaches(&with(name, needed, &[])), [expected]);
    }
}

/// A package that no workspace lists could bring the broken boards in by a path.
#[test]
fn a_board_must_not_depend_on_a_path_that_no_workspace_lists() {
    let mut graph = with("board-x", "somewhere-else", &[]);
    assert!(breaches(&graph).is_empty(), "from a registry it may");
    graph.get_mut("board-x").unwrap().by_path.insert("somewhere-else".into());
    assert_eq!(breaches(&graph), ["board-x must not depend on somewhere-else"]);
}

#[test]
fn a_feature_that_ends_no_std_is_found_in_firmware_only() {
    assert_eq!(
        breaches(&with("shaftbook-core", "heapless", &["std"])),
        ["shaftbook-core asks heapless for `std`"]
    );
    assert_eq!(breaches(&with("board-x", "defmt", &["alloc"])), ["board-x asks defmt for `alloc`"]);
    assert!(breaches(&with("host-sim", "defmt", &["alloc", "std"])).is_empty());
}

#[test]
fn a_workspace_without_its_core_is_found() {
    let mut graph = sound();
    graph.remove("shaftbook-core");
    assert!(breaches(&graph).contains(&"shaftbook-core is not in the workspace".into()));
}
