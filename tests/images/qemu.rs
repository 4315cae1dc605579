//! The image for QEMU's machine `mps2-an385`, as built for release. What is tried: the scenario
//! that the host simulator sews too, SIGKILL at random instants, a panic and a hard fault, its
//! log and its stack.
//!
//! The memory part is QEMU's own model in a file: it does not tear and is never busy. Tears and
//! busy times are tried on the simulator (`shaftbook prove`) and on the other image.
//!
//! Run: `.ci/run images`.

mod bench;
mod kills;
mod stops;

use std::fs;
use std::process::Command;
use std::sync::OnceLock;

use shaftbook_core::counters::Counters;
use shaftbook_tools::sew::run::run;
use system_tests::images::part::{Found, differences, printed_differences, read};
use system_tests::images::probe;
use system_tests::images::script::Script;
use system_tests::images::tools::{decoded, image, need, repository, shaftbook, unexpected};

use bench::{Folder, IMAGE, scenario};

const VERSION: &str = env!("CARGO_PKG_VERSION");
/// RAM of the image: `firmware/boards/mps2/memory.x`.
const RAM: u32 = 0x2000_0000;
const RAM_BYTES: u32 = 64 * 1_024;

/// What the scenario left, sewn to the end by the image.
struct Sewn {
    image: Vec<u8>,
    found: Found,
    /// What `shaftbook inspect` printed, and whether it said that all is well.
    inspected: (bool, serde_json::Value),
    log: Vec<String>,
    stack_bytes: u32,
}

/// Sews the scenario from its power-up to the end of its hold-up.
fn sew(name: &str) -> Sewn {
    need("defmt-print", "cargo install --locked defmt-print --version 1.2.0");
    let folder = Folder::new(name);
    let scenario = scenario();
    folder.fit(scenario.settings());
    let script = Script::of(&scenario, scenario.seed);
    let mut board = folder.power_up(&probe::arguments(&folder.0));
    board.feed(script.bytes(0..script.len()));
    board.wait_taken(script.len());
    let ram = probe::memory(&folder.0, RAM, RAM_BYTES);
    let ended = board.kill();
    let symbols = probe::symbols(&image(IMAGE));
    let stack = (symbols["_stack_end"], symbols["_stack_start"]);
    let output = Command::new(shaftbook())
        .arg("inspect")
        .arg(folder.part())
        .args(["--format", "json"])
        .output()
        .unwrap();
    Sewn {
        image: fs::read(folder.part()).unwrap(),
        found: read(&folder.part()).unwrap(),
        inspected: (
            output.status.success(),
            serde_json::from_slice(&output.stdout).unwrap_or_default(),
        ),
        log: decoded(&image(IMAGE), &ended.log),
        stack_bytes: probe::deepest(&ram, RAM, stack.0, stack.1),
    }
}

/// The scenario sewn once, for the tests that look at what it left.
fn sewn() -> &'static Sewn {
    static SEWN: OnceLock<Sewn> = OnceLock::new();
    SEWN.get_or_init(|| sew("once"))
}

#[test]
fn the_image_counts_what_the_simulator_counts_to_the_last_stitch() {
    let scenario = scenario();
    let outcome = run(&scenario, scenario.seed, &mut (), |_| {}).unwrap();
    assert!(outcome.broken.is_empty(), "{:?}", outcome.broken);
    let counted = &sewn().found.counters;
    println!(
        "counted by the image: {} stitches, {} trims, {} jumps, {} breaks",
        counted.stitches(),
        counted.trims,
        counted.jumps,
        counted.breaks()
    );
    assert_eq!(differences(counted, &outcome.counted), Vec::<String>::new(), "the simulator's");
    let truth = outcome.truth.counters();
    assert_eq!(differences(counted, &truth), Vec::<String>::new(), "what happened");
    assert_eq!(counted.running_ms, outcome.counted.running_ms);
    assert_eq!(counted.missed_edges, 0);
    let printed = &sewn().found.report;
    assert_eq!(printed_differences(printed, counted), Vec::<String>::new());
    assert!(sewn().inspected.0, "`shaftbook inspect` ends with 0");
    let of_program = &sewn().inspected.1["lifetime"];
    assert_eq!(*of_program, serde_json::to_value(&printed.lifetime).unwrap());
    // Enough of everything that the comparison means something.
    assert!(counted.stitches() > 5_000 && counted.trims > 40 && counted.jumps > 20);
    assert!(
        counted.breaks() > 10 && counted.needle_stitches.iter().filter(|n| **n > 0).count() > 6
    );
}

#[test]
fn one_stitch_more_or_on_another_needle_is_found() {
    let counted = sewn().found.counters;
    let mut more = counted;
    more.needle_stitches[2] += 1;
    assert_eq!(differences(&counted, &more).len(), 1);
    assert_eq!(printed_differences(&sewn().found.report, &more).len(), 1);
    let mut moved = more;
    moved.needle_stitches[4] -= 1;
    assert_eq!(differences(&counted, &moved).len(), 2, "the sum is the same");
    for change in [
        Counters { trims: counted.trims + 1, ..counted },
        Counters { jumps: counted.jumps - 1, ..counted },
        Counters { unattributed_breaks: 1, ..counted },
    ] {
        assert_eq!(differences(&counted, &change).len(), 1);
    }
}

#[test]
fn the_same_script_leaves_the_same_bytes() {
    let again = sew("again");
    assert!(again.image == sewn().image, "the parts differ");
}

#[test]
fn the_log_says_that_it_boots_and_nothing_while_it_sews() {
    let log = &sewn().log;
    println!("log: {log:?}");
    assert_eq!(unexpected(log, VERSION), Vec::<String>::new());
    // What would be found.
    let mut chatty = log.clone();
    chatty.push("DEBUG CheckpointDurable".into());
    assert_eq!(unexpected(&chatty, VERSION).len(), 1);
    assert_eq!(unexpected(&[], VERSION).len(), 2, "no boot line");
}

#[test]
fn the_stack_stays_within_its_budget() {
    let text = fs::read_to_string(repository(".ci/budgets.toml")).unwrap();
    let budgets: toml::Table = toml::from_str(&text).unwrap();
    let limit = budgets["mps2"]["stack"].as_integer().unwrap();
    let deepest = sewn().stack_bytes;
    println!("deepest stack: {deepest} bytes of {limit}");
    assert!(i64::from(deepest) <= limit, "{deepest} bytes of stack, over {limit}");
    // A measurement that finds next to nothing has looked at the wrong place.
    assert!(deepest > 1_000);
    let ram = [[0xCC; 32].as_slice(), &[1; 32]].concat();
    assert_eq!(probe::deepest(&ram, 0x100, 0x100, 0x140), 32);
}
