//! Any bytes in the memory part: the board boots, names what is wrong, and counts.

use proptest::prelude::*;
use proptest::test_runner::{Config, RngSeed};
use shaftbook_core::fault::Fault;
use shaftbook_world::any_image::run;

/// The same cases in every run. A failure prints its bytes; replay the same cases by
/// running this test again with the same `PROPTEST_RNG_SEED` and `PROPTEST_CASES`.
fn fixed_cases() -> Config {
    let mut config = Config { failure_persistence: None, ..Config::default() };
    // One case takes about half a millisecond.
    config.cases = config.cases.max(4_096);
    if config.rng_seed == RngSeed::Random {
        config.rng_seed = RngSeed::Fixed(7);
    }
    config
}

proptest! {
    #![proptest_config(fixed_cases())]

    #[test]
    fn any_image_boots(bytes in prop::collection::vec(any::<u8>(), 0..1_500)) {
        let _ = run(&bytes);
    }
}

#[test]
fn a_used_part_is_recovered_and_an_empty_one_is_named() {
    let used = run(&[0, 0, 0, 0]);
    assert!(used.knows_lifetime, "{used:?}");
    assert!(used.faults.is_empty(), "{used:?}");
    let blank = run(&[0, 1, 0, 0]);
    assert!(!blank.knows_lifetime, "{blank:?}");
    assert!(blank.faults.contains(Fault::NotFitted), "{blank:?}");
}

#[test]
fn a_part_too_small_is_named() {
    // The first record on it, of its fitting, shows that it repeats itself.
    let outcome = run(&[5, 1, 0, 0, 8, 0, 100]);
    assert!(outcome.faults.contains(Fault::MemoryShape), "{outcome:?}");
}

#[test]
fn a_step_can_fit_an_empty_part() {
    let outcome = run(&[0, 1, 0, 0, 8, 0, 100]);
    assert!(outcome.knows_lifetime, "{outcome:?}");
    assert!(outcome.faults.is_empty(), "{outcome:?}");
}

#[test]
fn a_missing_part_a_held_bus_and_a_stranger_are_named() {
    for (wiring, fault) in
        [(0xEE, Fault::MemoryNoAnswer), (0xED, Fault::BusStuck), (0xEC, Fault::MemoryUnreadable)]
    {
        let outcome = run(&[0, 0, 0, wiring]);
        assert!(outcome.faults.contains(fault), "{wiring:X} {outcome:?}");
        assert!(!outcome.knows_lifetime, "{outcome:?}");
    }
}
