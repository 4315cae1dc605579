//! The judge finds nothing on a sound board, and finds each of these broken ones.

use shaftbook_core::board::Board;
use shaftbook_core::counters::Counters;
use shaftbook_core::rules::{Rules, Sound};
use shaftbook_core::time::Instant;

use super::{SewOutcome, run_with_rules};
use shaftbook_care::rules::CareRules;
use shaftbook_mainloop::rules::LoopRules;
use shaftbook_panel::rules::PanelRules;
use shaftbook_readout::rules::ReadRules;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::scenario::Scenario;

const SHOP: &str = r#"
name = "Judge's bench"
seed = 2
[board]
checkpoint_powered_s = 20
[hours]
working_days = 1
shifts = [{ start = "08:00", end = "08:40" }]
[machine]
needles = 8
needle_signal = "level"
[power]
off_while_sewing = true
extra_offs_per_shift = 12.0
off_for_s = 5
WARNING
[faults]
contact_bounce_us = 3000
FAILURES
[[designs]]
name = "Square"
blocks = [
    { needle = 2, stitches = 400, jumps = 9, trims = 3 },
    { needle = 7, stitches = 250, jumps = 2 },
]
"#;

fn sewn<R: UnderTest>(warning: &str, failures: &str) -> SewOutcome {
    let text = SHOP.replace("WARNING", warning).replace("FAILURES", failures);
    let scenario = Scenario::parse("shop", &text).unwrap();
    run_with_rules::<R>(&scenario, 2, &mut (), |_| {}).unwrap()
}

const WARNED: &str = "warning = true\nhold_up_ms = 60";
const NEEDLE_DIES: &str = "failures = [{ sensor = \"needle\", kind = \"dead\", from_h = 8.3 }]";

#[test]
fn a_sound_board_holds_through_all_of_it() {
    for (warning, failures) in [("", ""), (WARNED, ""), ("", NEEDLE_DIES), (WARNED, NEEDLE_DIES)] {
        let outcome = sewn::<Sound>(warning, failures);
        assert!(outcome.broken.is_empty(), "{:?}", outcome.broken);
        assert!(outcome.cuts > 5 && outcome.counted.stitches() > 5_000, "{outcome:?}");
    }
}

/// With 40 ms of hold-up nothing is lost on pages of any length; a part that is slower than any of
/// the promise needs more, and is not held to it.
#[test]
fn short_pages_answer_within_the_hold_up_and_slow_parts_are_not_held_to_it() {
    let sewn_on = |page_bytes: u16, program_us: u32| {
        let part = format!("[part]\npage_bytes = {page_bytes}\nprogram_us = {program_us}\n[power]");
        let text = SHOP
            .replace("[power]", &part)
            .replace("WARNING", "warning = true\nhold_up_ms = 40")
            .replace("FAILURES", "");
        let scenario = Scenario::parse("shop", &text).unwrap();
        run_with_rules::<Sound>(&scenario, 2, &mut (), |_| {}).unwrap()
    };
    for page_bytes in [16, 32, 128] {
        let outcome = sewn_on(page_bytes, 5_000);
        assert!(outcome.broken.is_empty(), "pages of {page_bytes}: {:?}", outcome.broken);
    }
    let slow = sewn_on(16, 20_000);
    assert!(slow.broken.is_empty(), "{:?}", slow.broken);
    assert!(slow.worst_loss.stitches() > 0, "it needs longer, so something is lost");
}

#[test]
fn a_clean_board_with_a_warning_counts_exactly_the_truth() {
    let outcome = sewn::<Sound>(WARNED, "");
    let truth = outcome.truth.counters();
    assert_eq!(outcome.counted.needle_stitches, truth.needle_stitches);
    assert_eq!(outcome.counted.unattributed_stitches, 0);
    assert_eq!((outcome.counted.jumps, outcome.counted.trims), (truth.jumps, truth.trims));
    assert_eq!(outcome.counted.power_ups, truth.power_ups);
    // Running time: less than 1 ms a spell of power is rounded off.
    let off_ms = truth.running_ms - outcome.counted.running_ms;
    assert!(off_ms <= u64::from(outcome.cuts), "{off_ms} ms");
}

#[test]
fn spikes_and_bounce_shorter_than_the_debounce_time_alter_no_count() {
    let text = SHOP
        .replace("WARNING", WARNED)
        .replace("FAILURES", "glitch_probability = 0.3\nglitch_us = 40\nshaft_bounce_us = 40")
        .replace("needles = 8", "needles = 8\npulses_per_revolution = 8\nstitches_per_min = 1800");
    let scenario = Scenario::parse("shop", &text).unwrap();
    for seed in 0..4 {
        let outcome = run_with_rules::<Sound>(&scenario, seed, &mut (), |_| {}).unwrap();
        assert!(outcome.broken.is_empty(), "{:?}", outcome.broken);
        assert!(outcome.tally.glitches > 10_000, "{:?}", outcome.tally);
        let truth = outcome.truth.counters();
        assert_eq!(outcome.counted.needle_stitches, truth.needle_stitches, "seed {seed}");
        assert_eq!(outcome.counted.jumps, truth.jumps, "seed {seed}");
    }
}

/// Counts the session twice into the lifetime.
#[derive(Clone, Copy, Debug)]
struct SessionTwice;
impl Rules for SessionTwice {
    fn lifetime(past: &Counters, session: &Counters) -> Counters {
        past.plus(session).plus(session)
    }
}
impl CareRules for SessionTwice {}
impl ReadRules for SessionTwice {}
impl PanelRules for SessionTwice {}
impl LoopRules for SessionTwice {}
impl UnderTest for SessionTwice {}

/// Does nothing when the supply is failing.
#[derive(Clone, Copy, Debug)]
struct DeafToWarning;
impl Rules for DeafToWarning {
    fn answer_power_fail() -> bool {
        false
    }
}
impl CareRules for DeafToWarning {}
impl ReadRules for DeafToWarning {}
impl PanelRules for DeafToWarning {}
impl LoopRules for DeafToWarning {}
impl UnderTest for DeafToWarning {}

/// Takes the last needle when it does not know.
#[derive(Clone, Copy, Debug)]
struct GuessesNeedle;
impl Rules for GuessesNeedle {
    fn unattributed_when_unsure() -> bool {
        false
    }
}
impl CareRules for GuessesNeedle {}
impl ReadRules for GuessesNeedle {}
impl PanelRules for GuessesNeedle {}
impl LoopRules for GuessesNeedle {}
impl UnderTest for GuessesNeedle {}

#[test]
fn a_board_that_counts_double_is_found() {
    let broken = sewn::<SessionTwice>("", "").broken;
    assert!(broken.iter().any(|b| b.contains("above the truth")), "{broken:?}");
}

#[test]
fn a_board_that_ignores_the_warning_is_found() {
    let broken = sewn::<DeafToWarning>(WARNED, "").broken;
    assert!(broken.iter().any(|b| b.contains("in spite of its warning")), "{broken:?}");
}

#[test]
fn a_board_that_guesses_the_needle_is_found() {
    let broken = sewn::<GuessesNeedle>("", NEEDLE_DIES).broken;
    assert!(broken.iter().any(|b| b.contains("stitches on needle")), "{broken:?}");
}

/// Is turned after every input, whether there is something to do or not.
#[derive(Clone, Copy, Debug)]
struct AlwaysTurned;

impl Rules for AlwaysTurned {}
impl CareRules for AlwaysTurned {}
impl ReadRules for AlwaysTurned {}
impl PanelRules for AlwaysTurned {}
impl LoopRules for AlwaysTurned {}
impl UnderTest for AlwaysTurned {
    fn is_idle(_: &Board<Self>, _: Instant) -> bool {
        false
    }
}

#[test]
fn a_turn_that_is_left_out_would_have_changed_nothing() {
    let bounce = "shaft_bounce_us = 30\nglitch_probability = 0.01\n";
    for (warning, failures) in [("", ""), (WARNED, ""), ("", NEEDLE_DIES), (WARNED, NEEDLE_DIES)] {
        let failures = format!("{bounce}{failures}");
        let outcome = sewn::<Sound>(warning, &failures);
        let turned = sewn::<AlwaysTurned>(warning, &failures);
        assert!(outcome.checkpoints > 50 && outcome.tally.bounce_edges > 10_000);
        assert_eq!(format!("{outcome:?}"), format!("{turned:?}"));
    }
}
