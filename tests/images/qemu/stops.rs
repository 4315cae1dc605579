//! A hard fault and a panic, forced from outside, because the image has no hook for them.
//!
//! The debug stub sets the program counter: for a hard fault, to an undefined instruction,
//! written to RAM that nothing uses; for a panic, to the routine that a failed bounds check
//! calls.

use std::path::Path;

use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_mainloop::stop::StopKind;
use system_tests::images::part::{Found, differences, read};
use system_tests::images::probe;
use system_tests::images::script::{Script, pulses};
use system_tests::images::tools::{decoded, image};

use super::bench::{Folder, IMAGE, scenario};

/// Records of the scenario that are sewn before the stop: some two minutes.
const BEFORE: usize = 4_000;
/// Stitches after it.
const AFTER: u64 = 100;
/// RAM in the middle of the stack's room, far below its deepest use.
const UNUSED: u32 = 0x2000_8000;
/// `udf #254`: permanently undefined (Armv6-M Architecture Reference Manual, A6.7.76).
const UNDEFINED: [u8; 2] = [0xFE, 0xDE];

/// What a stop left.
struct Stopped {
    /// What the board said to `state` after it had started again.
    said: Vec<String>,
    log: Vec<String>,
    before: Counters,
    found: Found,
}

/// Sews, stands, is stopped by `stop`, starts by itself, and sews [`AFTER`] stitches.
/// `starts`: how often the firmware starts in all.
fn stopped_by(name: &str, starts: u32, stop: impl Fn(&Path)) -> Stopped {
    let folder = Folder::new(name);
    let mut scenario = scenario();
    scenario.faults.shaft_bounce_us = 0;
    folder.fit(scenario.settings());
    let script = Script::of(&scenario, scenario.seed);
    let mut board = folder.power_up(&probe::arguments(&folder.0));
    board.feed(script.bytes(0..BEFORE));
    board.wait_taken(BEFORE);
    // It stands after a calm minute, in which the last checkpoint was written.
    let mut stand = Script::new();
    stand.stand_at(65_000_000);
    board.feed(stand.bytes(0..1));
    board.wait_taken(BEFORE + 1);
    let before = read(&folder.part()).unwrap().counters;
    stop(&folder.0);
    // It may sleep: a byte at the port wakes it, into the stop. Then it starts, at 0.
    board.say("");
    board.wait_started(starts);
    let mut after = Script::new();
    after.stand_at(1_000_000);
    board.feed(after.bytes(0..1));
    board.wait_taken(BEFORE + 2);
    let said = board.ask("state", "end");
    let sewn = pulses(AFTER);
    board.feed(sewn.bytes(0..sewn.len()));
    board.wait_taken(BEFORE + 2 + sewn.len());
    let ended = board.kill();
    Stopped {
        said,
        log: decoded(&image(IMAGE), &ended.log),
        before,
        found: read(&folder.part()).unwrap(),
    }
}

/// The stop is told, logged and in the journal, and the board went on counting.
fn check(stopped: &Stopped, kind: StopKind) {
    let number = Fault::FirmwareStopped.number();
    let Stopped { said, log, before, found } = stopped;
    assert!(said.contains(&format!("fault {number}")), "{said:?}");
    assert!(said.contains(&format!("stitches {}", before.stitches())), "{said:?}");
    let journal: Vec<_> = found.report.journal.iter().filter(|l| l.subject == number).collect();
    assert_eq!(journal.len(), 1, "{:?}", found.report.journal);
    assert!(journal[0].text.contains("firmware"), "{:?}", journal[0]);
    let boots = log.iter().filter(|line| line.contains("boot")).count();
    assert_eq!(boots, 2, "{log:?}");
    let logged = format!("{kind:?}");
    assert!(log.iter().any(|l| l.starts_with("WARN") && l.contains(&logged)), "{log:?}");
    let gained = found.counters.since(before);
    assert!(before.stitches() > 1_000, "it had sewn: {}", before.stitches());
    assert_eq!(gained.stitches(), AFTER, "and sews on");
    assert_eq!(gained.power_ups, 1);
    // What was durable before is there, needle by needle.
    let mut kept = found.counters;
    kept.unattributed_stitches -= AFTER;
    assert_eq!(differences(&kept, before), Vec::<String>::new());
}

#[test]
fn a_hard_fault_is_in_the_journal_and_the_board_goes_on_counting() {
    let stopped = stopped_by("fault", 2, |folder| {
        probe::jump(folder, UNUSED, &UNDEFINED, &[(15, UNUSED)]);
    });
    check(&stopped, StopKind::HardFault);
    assert!(stopped.log.iter().any(|line| line.contains(&UNUSED.to_string())));
}

#[test]
fn a_panic_is_in_the_journal_and_the_board_goes_on_counting() {
    let symbols = probe::symbols(&image(IMAGE));
    let routine = symbols.iter().find(|(name, _)| name.contains("panic_bounds_check"));
    let (_, address) = routine.expect("some bounds check is left in the image");
    // Its arguments: an index, a length, and where its place is written: any flash will do.
    let registers = [(0, 7), (1, 5), (2, 0x40), (15, address & !1)];
    check(
        &stopped_by("panic", 2, |folder| probe::jump(folder, UNUSED, &UNDEFINED, &registers)),
        StopKind::Panic,
    );
}

#[test]
fn without_a_stop_the_check_fails() {
    let stopped = stopped_by("no-stop", 1, |_| {});
    let number = Fault::FirmwareStopped.number();
    assert!(!stopped.said.contains(&format!("fault {number}")));
    assert!(stopped.found.report.journal.iter().all(|line| line.subject != number));
    assert_eq!(stopped.log.iter().filter(|line| line.contains("boot")).count(), 1);
}
