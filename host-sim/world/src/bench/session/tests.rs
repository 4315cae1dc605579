//! A board on the bench, event by event.

use shaftbook_core::board::Effect;
use shaftbook_core::counters::Counters;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::settings::{NeedleSource, Settings};

use super::super::core::Core;
use super::Session;
use crate::bus::Tear;
use crate::fitting::{BOARD, bus_of, plain_fitting};
use crate::scenario::ScenarioPart;

const PERIOD_US: u64 = 50_000;

fn settings() -> Settings {
    Settings { needle_source: NeedleSource::NotWired, ..Settings::default() }
}

fn fitted() -> (Session, Counters) {
    let bus = bus_of(&ScenarioPart::default(), 3).unwrap();
    Session::fitted(bus, BOARD, plain_fitting(settings()), None).unwrap()
}

/// Sews `stitches` from `at_us` on; gives the time after them.
fn sew(bench: &mut Session, at_us: u64, stitches: u64, mut seen: impl FnMut(Effect)) -> u64 {
    for n in 0..stitches {
        let pulse_us = at_us + n * PERIOD_US;
        bench.input(pulse_us, Input::Shaft(Level::Active), &mut seen);
        bench.input(pulse_us + 10_000, Input::Shaft(Level::Inactive), &mut seen);
    }
    at_us + stitches * PERIOD_US
}

fn past_after(bench: &mut Session, at_us: u64) -> Counters {
    let mut past = None;
    bench.power_up(at_us);
    bench.run_until(at_us + 1_000_000, |effect| {
        if let Effect::LifetimeKnown(counters) = effect {
            past = Some(counters);
        }
    });
    past.expect("the board knows its past within a second")
}

#[test]
fn a_fitted_board_counts_from_its_fitting() {
    let (mut bench, base) = fitted();
    bench.power_up(0);
    let end_us = sew(&mut bench, 1_000_000, 100, |_| {});
    let counted = bench.lifetime(end_us).unwrap().since(&base);
    assert_eq!((counted.stitches(), counted.running_ms), (100, 99 * 50));
    assert_eq!((counted.power_ups, counted.powered_ms), (1, end_us / 1_000));
}

#[test]
fn stitches_of_the_first_milliseconds_are_counted() {
    let (mut bench, base) = fitted();
    bench.power_up(0);
    // Before the board can have read its part.
    bench.input(100, Input::Shaft(Level::Active), |_| {});
    bench.input(400, Input::Shaft(Level::Inactive), |_| {});
    assert_eq!(bench.lifetime(500), None, "the past is not known yet");
    bench.run_until(1_000_000, |_| {});
    assert_eq!(bench.lifetime(1_000_000).unwrap().since(&base).stitches(), 1);
}

#[test]
fn a_cut_loses_at_most_what_was_not_durable() {
    let (mut bench, base) = fitted();
    bench.power_up(0);
    let end_us = sew(&mut bench, 1_000_000, 1_000, |_| {});
    let ended = bench.cut(end_us, Tear::Old, |_| {});
    assert!(bench.board().is_none() && bench.lifetime(end_us).is_none());
    let counted = ended.lifetime.unwrap();
    assert_eq!(counted.since(&base).stitches(), 1_000);
    let past = past_after(&mut bench, end_us + 1_000_000);
    assert!(ended.saved.at_most(&past) && past.at_most(&counted));
    // 50 s of sewing: four checkpoints of 10 s at least, and less than 10 s lost.
    let lost = counted.since(&past);
    assert!(past.since(&base).stitches() >= 800 && lost.running_ms < 10_000, "{lost:?}");
}

#[test]
fn a_cut_in_the_middle_of_a_program_cycle_is_before_or_after() {
    let (mut bench, _) = fitted();
    bench.power_up(0);
    // 9.75 s of running time: the 10 s of the interval are near.
    let end_us = sew(&mut bench, 1_000_000, 196, |_| {});
    // Find the next program cycle, 3 ms at least, on copies of the bench.
    let busy_us = (0..1_000).map(|ms| end_us + ms * 1_000).find(|at_us| {
        let mut copy = bench.clone();
        copy.run_until(*at_us, |_| {});
        copy.bus().page_under_way().is_some()
    });
    let busy_us = busy_us.expect("a checkpoint within 1 s");
    for tear in [Tear::Old, Tear::New, Tear::Erased, Tear::Prefix(30), Tear::Garbage(4)] {
        let mut copy = bench.clone();
        let ended = copy.cut(busy_us, tear, |_| {});
        let past = past_after(&mut copy, busy_us + 2_000_000);
        assert!(ended.saved.at_most(&past), "{tear:?}: below what was durable");
        assert!(past.at_most(&ended.lifetime.unwrap()), "{tear:?}: above what was counted");
    }
}

#[test]
fn an_idle_board_leaves_the_bus_alone_between_checkpoints() {
    let (mut bench, _) = fitted();
    bench.power_up(0);
    bench.run_until(5_000_000, |_| {});
    let transactions = bench.bus().tally().transactions;
    bench.run_until(50_000_000, |_| {});
    assert_eq!(bench.bus().tally().transactions, transactions);
    bench.run_until(61_000_000, |_| {});
    assert!(bench.bus().tally().transactions > transactions, "the 60 s checkpoint");
}

#[test]
fn nothing_happens_without_power() {
    let (mut bench, base) = fitted();
    let bytes = bench.bus().part().cells().to_vec();
    let end_us = sew(&mut bench, 1_000_000, 10, |effect| panic!("{effect:?}"));
    bench.run_until(end_us, |effect| panic!("{effect:?}"));
    assert_eq!(bench.bus().part().cells(), bytes);
    assert_eq!(past_after(&mut bench, end_us).stitches(), base.stitches());
}

/// A blank part is read to its end before the board can be fitted: 1.6 s for 1,024 slots.
#[test]
fn a_board_is_fitted_on_the_largest_part_too() {
    for size_bytes in [8_192, 32_768, 41_344, 41_472, 41_984, 65_536] {
        let part = ScenarioPart { size_bytes, ..ScenarioPart::default() };
        let bus = bus_of(&part, 3).unwrap();
        let fitted = Session::<Core>::fitted(bus, BOARD, plain_fitting(settings()), None);
        assert!(fitted.is_ok(), "{size_bytes} bytes");
    }
}
