//! The meter by itself, edge by edge: the dates of pulses that bounce, and the order in which
//! shaft and contacts are taken in, and that it does not matter when the board looks.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use shaftbook_core::counters::Counters;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::meter::Meter;
use shaftbook_core::rules::Sound;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;

/// A meter that has seen `edges`, each at its µs, and has been looked at one second later.
fn after(edges: &[(u64, Input)]) -> Meter {
    let mut meter = Meter::new(Settings::default());
    for (at_us, input) in edges {
        meter.input::<Sound>(Instant::from_us(*at_us), *input);
    }
    let last_us = edges.last().map_or(0, |(at_us, _)| *at_us);
    meter.debounce::<Sound>(Instant::from_us(last_us + 1_000_000));
    meter
}

/// A pulse at `at_us` whose rise bounces as `bounce_us` says: away and back, µs after it.
fn pulse(at_us: u64, bounce_us: &[u64]) -> Vec<(u64, Input)> {
    let mut edges = vec![(at_us, Input::Shaft(Level::Active))];
    for (n, us) in bounce_us.iter().enumerate() {
        edges.push((at_us + us, Input::Shaft(Level::from_bool(n % 2 == 1))));
    }
    edges.push((at_us + 10_000, Input::Shaft(Level::Inactive)));
    edges
}

#[test]
fn running_time_is_exact_without_bounce_and_never_above_the_truth_with_it() {
    let run = |first: &[u64], middle: &[u64], last: &[u64]| {
        let edges = [pulse(1_000_000, first), pulse(1_100_000, middle), pulse(1_200_000, last)];
        after(&edges.concat()).running_us()
    };
    assert_eq!(run(&[], &[], &[]), 200_000);
    assert_eq!(run(&[], &[], &[20, 40, 45, 49]), 200_000, "the last pulse is its first edge");
    assert_eq!(run(&[20, 45], &[], &[]), 200_000 - 45, "the first pulse is its last edge");
    assert_eq!(run(&[], &[30, 48], &[]), 200_000, "bounce within a run costs nothing");
    assert_eq!(run(&[5, 25], &[30, 48], &[10, 30]), 200_000 - 25);
}

#[test]
fn a_gap_that_may_have_been_longer_than_the_run_gap_is_a_standstill() {
    let gap = |first: &[u64], gap_us: u64, last: &[u64]| {
        let edges = [pulse(1_000_000, first), pulse(1_000_000 + gap_us, last)];
        after(&edges.concat()).running_us()
    };
    assert_eq!(gap(&[], 2_000_000, &[]), 2_000_000);
    assert_eq!(gap(&[], 2_000_001, &[]), 0);
    assert_eq!(gap(&[20, 40], 2_000_010, &[]), 0, "1,999,970 µs between the edges that hold");
    assert_eq!(gap(&[], 1_999_990, &[5, 20]), 0, "2,000,010 µs at most");
}

#[test]
fn a_spike_before_a_pulse_is_no_part_of_it() {
    let at_us = 1_100_000;
    let spike = [(at_us - 5_000, Level::Active), (at_us - 4_980, Level::Inactive)]
        .map(|(us, level)| (us, Input::Shaft(level)));
    let edges = [pulse(1_000_000, &[]), spike.to_vec(), pulse(at_us, &[])];
    let meter = after(&edges.concat());
    assert_eq!(meter.running_us(), 100_000);
    assert_eq!(meter.counted().glitches, 1);
}

/// A trim makes the meter look at its contacts. A pulse before the jump contact closed is a
/// stitch, although it is debounced later than the jump.
#[test]
fn a_pulse_before_a_jump_is_a_stitch_whatever_is_looked_at_first() {
    let shaft = |us, level| (us, Input::Shaft(level));
    for other in [Input::Trim(Level::Active), Input::ThreadBreak(Level::Active)] {
        let meter = after(&[
            shaft(1_000_000, Level::Active),
            (1_000_030, Input::Jump(Level::Active)),
            (1_006_100, other),
            shaft(1_010_000, Level::Inactive),
        ]);
        assert_eq!((meter.counted().stitches(), meter.counted().jumps), (1, 0), "{other:?}");
    }
}

#[test]
fn pulses_that_come_too_soon_are_a_fault_when_there_are_many_and_not_when_there_are_few() {
    let sewn = |stitches: u64, too_soon: u64| {
        let mut edges = Vec::new();
        for n in 0..stitches {
            edges.extend(pulse(1_000_000 + n * 60_000, &[]));
            if n < too_soon {
                // Long enough to be a pulse, 12 ms after the one before.
                edges.push((1_012_000 + n * 60_000, Input::Shaft(Level::Active)));
                edges.push((1_013_000 + n * 60_000, Input::Shaft(Level::Inactive)));
            }
        }
        let meter = after(&edges);
        assert_eq!(meter.counted().stitches(), stitches);
        assert_eq!(u64::from(meter.counted().glitches), too_soon);
        meter.is_shaft_faulty()
    };
    assert!(sewn(17, 17));
    assert!(!sewn(2_000, 15));
    assert!(!sewn(2_000, 17), "long ago");
    // Bounce that is shorter than the debounce time is none of it.
    let bounce: Vec<_> =
        (0..500).flat_map(|n| pulse(1_000_000 + n * 60_000, &[10, 20, 30, 49])).collect();
    assert!(!after(&bounce).is_shaft_faulty());
}

/// What is counted of `edges`, each so many µs after the one before, when the board looks as often
/// as `looks` says between them (0: only at the end).
fn counted(settings: Settings, edges: &[(u64, Input)], looks: u64) -> (Counters, u64) {
    let mut meter = Meter::new(settings);
    let mut now_us = 1_000_000;
    for (gap_us, input) in edges.iter().chain([&(1_000_000, Input::NeedleCode(0))]) {
        for look in 1..=looks {
            meter.debounce::<Sound>(Instant::from_us(now_us + gap_us * look / (looks + 1)));
        }
        now_us += gap_us;
        meter.input::<Sound>(Instant::from_us(now_us), *input);
    }
    meter.debounce::<Sound>(Instant::from_us(now_us));
    (*meter.counted(), meter.running_us())
}

/// A time between two edges: often near one of the debounce times.
fn gap_us() -> impl Strategy<Value = u64> {
    prop_oneof![3 => 0..130_u64, 3 => 5_900..6_150_u64, 1 => 19_900..20_100_u64, 1 => 0..40_000_u64]
}

/// An input and whether it goes to its other level; for the needle, a code.
fn toggled() -> impl Strategy<Value = (u64, u8)> {
    (gap_us(), prop_oneof![4 => Just(0_u8), 2 => Just(1), 1 => Just(2), 1 => Just(3), 2 => 4..8_u8])
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 3_000,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(0x5EED_0003),
        ..ProptestConfig::default()
    })]

    /// What is counted depends on the signals alone, not on when the board looks at them.
    #[test]
    fn it_does_not_matter_when_the_board_looks(
        toggles in prop::collection::vec(toggled(), 1..40),
        looks in 1..200_u64,
        long_shaft in any::<bool>(),
    ) {
        // Unusual, but nothing forbids it: a shaft that is debounced for longer than a contact.
        let settings = if long_shaft {
            Settings { shaft_debounce_us: 6_000, contact_debounce_us: 50, ..Settings::default() }
        } else {
            Settings::default()
        };
        let mut levels = [false; 4];
        let edges: Vec<(u64, Input)> = toggles
            .into_iter()
            .map(|(gap_us, what)| {
                let input = match levels.get_mut(usize::from(what)) {
                    None => Input::NeedleCode(what - 4),
                    Some(level) => {
                        *level = !*level;
                        let level = Level::from_bool(*level);
                        match what {
                            0 => Input::Shaft(level),
                            1 => Input::Jump(level),
                            2 => Input::Trim(level),
                            _ => Input::ThreadBreak(level),
                        }
                    }
                };
                (gap_us, input)
            })
            .collect();
        let seldom = counted(settings, &edges, 0);
        let often = counted(settings, &edges, looks);
        prop_assert_eq!(seldom, often);
    }
}
