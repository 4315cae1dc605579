//! Settings that become known, or change, after counting has begun.

use crate::support::Bench;
use shaftbook_core::counters::Needle;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::meter::Meter;
use shaftbook_core::rules::Sound;
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_core::time::Instant;

fn pulses(meter: &mut Meter, from_us: u64, count: u64) {
    for n in 0..count {
        let at = |us| Instant::from_us(from_us + n * 20_000 + us);
        meter.input::<Sound>(at(0), Input::Shaft(Level::Active));
        meter.input::<Sound>(at(10_000), Input::Shaft(Level::Inactive));
    }
}

#[test]
fn revolutions_counted_with_too_few_pulses_are_not_above_the_truth() {
    let mut meter = Meter::new(Settings::default());
    meter.input::<Sound>(Instant::ZERO, Input::NeedleCode(4));
    pulses(&mut meter, 1_000_000, 43);
    assert_eq!(meter.counted().needle_stitches[4], 43);
    meter.learn::<Sound>(Settings { pulses_per_revolution: 4, ..Settings::default() });
    assert_eq!(meter.counted().needle_stitches[4], 10);
}

#[test]
fn the_needle_outlives_new_settings_that_know_it_and_only_those() {
    let mut meter = Meter::new(Settings::default());
    meter.input::<Sound>(Instant::ZERO, Input::NeedleCode(4));
    let later = Instant::from_us(1_000_000);
    let ten = Settings { needles: 10, ..Settings::default() };
    meter.set::<Sound>(ten);
    assert_eq!(meter.needle().needle(later, &ten), Needle::new(5));
    let four = Settings { needles: 4, ..Settings::default() };
    meter.set::<Sound>(four);
    assert_eq!(meter.needle().needle(later, &four), None);
    meter.set::<Sound>(ten);
    meter.input::<Sound>(later, Input::NeedleCode(2));
    let unwired = Settings { needle_source: NeedleSource::NotWired, ..Settings::default() };
    meter.set::<Sound>(unwired);
    assert_eq!(meter.needle().needle(Instant::from_us(2_000_000), &unwired), None);
}

/// The code lines stay as they are, and settings that know more needles, or that code lines are
/// wired, read them anew. A needle that was read by a voltage is no code.
#[test]
fn settings_that_come_late_read_the_code_lines_anew() {
    let of = |first: Settings, then: Settings| {
        let mut meter = Meter::new(first);
        meter.input::<Sound>(Instant::from_us(1_000_000), Input::NeedleCode(15));
        meter.set::<Sound>(then);
        meter.needle().needle(Instant::from_us(2_000_000), &then).map(Needle::number)
    };
    let sixteen = Settings { needles: 16, ..Settings::default() };
    let unwired = Settings { needle_source: NeedleSource::NotWired, ..sixteen };
    assert_eq!(of(Settings::default(), sixteen), Some(16));
    assert_eq!(of(unwired, sixteen), Some(16));
    assert_eq!(of(sixteen, unwired), None);
    assert_eq!(of(sixteen, Settings::default()), None);

    // A code that changes between needles that are not known yet is not certain at once.
    let mut meter = Meter::new(Settings { needles: 4, ..sixteen });
    meter.input::<Sound>(Instant::from_us(1_000_000), Input::NeedleCode(14));
    meter.input::<Sound>(Instant::from_us(1_990_000), Input::NeedleCode(15));
    meter.set::<Sound>(sixteen);
    assert_eq!(meter.needle().needle(Instant::from_us(2_000_000), &sixteen), None);
    assert_eq!(meter.needle().needle(Instant::from_us(2_010_000), &sixteen), Needle::new(16));
}

#[test]
fn a_pulse_before_a_needle_change_belongs_to_the_needle_before() {
    let mut meter = Meter::new(Settings { needle_debounce_ms: 0, ..Settings::default() });
    let at = Instant::from_us;
    meter.input::<Sound>(at(0), Input::NeedleCode(1));
    meter.input::<Sound>(at(100_000), Input::Shaft(Level::Active));
    meter.input::<Sound>(at(150_000), Input::NeedleCode(2));
    meter.input::<Sound>(at(160_000), Input::Shaft(Level::Inactive));
    meter.debounce::<Sound>(at(300_000));
    assert_eq!(meter.counted().needle_stitches[1], 1, "{:?}", meter.counted());
}

#[test]
fn an_edge_later_than_32_bits_of_microseconds_waits_no_longer_and_is_counted_at_its_time() {
    let mut board = Bench::unpowered();
    let last_us = u64::from(u32::MAX);
    board.input(Instant::from_us(last_us - 900_000), Input::Shaft(Level::Active));
    board.input(Instant::from_us(last_us - 500_000), Input::Shaft(Level::Inactive));
    let session = board.session(Instant::from_us(last_us));
    assert_eq!((session.stitches(), session.running_ms), (0, 0), "it waits for its settings");
    board.input(Instant::from_us(last_us + 100_000), Input::Shaft(Level::Active));
    board.input(Instant::from_us(last_us + 500_000), Input::Shaft(Level::Inactive));
    let session = board.session(Instant::from_us(last_us + 600_000));
    assert_eq!((session.stitches(), session.running_ms), (2, 1_000));
}
