//! Part of proof 12: a fitting is taken if all of its settings are in their ranges, and refused if
//! one is just outside (`docs/FORMAT.md`, section 6).

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::{Command, Fitting};
use shaftbook_core::serial::Lap;
use shaftbook_core::service::Refusal;
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_drivers::memory::WiredPart;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::{Bench, fitting};

/// Settings that are taken, with one of them at either side of a limit: what it is, and whether it
/// is taken.
type Asked = (&'static str, Settings, bool);

/// Each limit's both sides, on a board that was never fitted.
pub(super) fn taken<R: UnderTest>(seed: u64) -> Result<(), String> {
    let blank: Bench<Core<R>> = Bench::blank_on(WiredPart::REFERENCE, seed, Lap::new(1));
    let mut rng = Pcg32::seed_from_u64(seed);
    let asked = single().into_iter().chain(together()).chain(levels(&mut rng));
    for (what, settings, is_taken) in asked {
        let mut bench = blank.clone();
        let fitting = Fitting { settings, ..fitting() };
        let answer = bench.request(Command::Fit { fitting, reply: None });
        if answer != if is_taken { Ok(()) } else { Err(Refusal::BadSettings) } {
            return Err(format!("a fitting with {what} was answered {answer:?}: {settings:?}"));
        }
    }
    Ok(())
}

/// A setting that has a range of its own.
fn single() -> Vec<Asked> {
    let base = Settings { run_gap_ms: 1_000, checkpoint_running_s: 60, ..fitting().settings };
    let mut all = Vec::new();
    let mut each = |what, least: u16, most: u16, largest: u16, set: fn(&mut Settings, u16)| {
        let values = [
            (least.checked_sub(1), false),
            (Some(least), true),
            (Some(most), true),
            (most.checked_add(1).filter(|value| *value <= largest), false),
            (Some(largest).filter(|value| *value > most), false),
        ];
        for (value, is_taken) in values {
            if let Some(value) = value {
                let mut settings = base;
                set(&mut settings, value);
                all.push((what, settings, is_taken));
            }
        }
    };
    each("pulses per revolution", 1, 64, 255, |it, n| it.pulses_per_revolution = n as u8);
    each("a top speed", 60, 4_000, u16::MAX, |it, n| it.top_speed_rpm = n);
    each("a run gap", 100, 59_000, u16::MAX, |it, n| it.run_gap_ms = n);
    each("needles", 1, 16, 255, |it, n| it.needles = n as u8);
    each("a checkpoint after running", 2, 60, 255, |it, n| it.checkpoint_running_s = n as u8);
    each("a checkpoint after trims", 1, 255, 255, |it, n| it.checkpoint_trims = n as u8);
    each("a checkpoint after standing", 1, 3_600, u16::MAX, |it, n| it.checkpoint_powered_s = n);
    each("a service interval", 1, u16::MAX, u16::MAX, |it, n| it.service_interval_h = n);
    each("a language", 0, 15, 255, |it, n| it.language = n as u8);
    all
}

/// Settings whose limits depend on each other.
fn together() -> Vec<Asked> {
    let base = fitting().settings;
    let mut all = Vec::new();
    for (pulses_per_revolution, top_speed_rpm) in [(1, 4_000), (64, 60), (64, 4_000), (7, 999)] {
        // Four debounce times are at most a pulse period.
        let pulses = u32::from(pulses_per_revolution) * u32::from(top_speed_rpm);
        let most = (60_000_000 / 4 / pulses) as u16;
        for (shaft_debounce_us, is_taken) in
            [(0, true), (most, true), (most + 1, false), (u16::MAX, false)]
        {
            let settings =
                Settings { pulses_per_revolution, top_speed_rpm, shaft_debounce_us, ..base };
            all.push(("a shaft debounce time", settings, is_taken));
        }
    }
    for (run_gap_ms, checkpoint_running_s, is_taken) in [
        (9_000, 10, true),
        (9_001, 10, false),
        (100, 1, false),
        (5_000, 6, true),
        (5_001, 6, false),
    ] {
        let settings = Settings { run_gap_ms, checkpoint_running_s, ..base };
        all.push(("a checkpoint after running and a run gap", settings, is_taken));
    }
    all
}

/// Voltages of two needles, just far enough apart and not: of the head's needles only.
fn levels(rng: &mut Pcg32) -> Vec<Asked> {
    let (guard_mv, hysteresis_mv) = (40 + rng.next_u32() as u16 % 60, rng.next_u32() as u16 % 40);
    let base = Settings {
        needles: 2 + (rng.next_u32() % 14) as u8,
        needle_source: NeedleSource::Level,
        needle_level_mv: std::array::from_fn(|n| 500 + 300 * n as u16),
        needle_guard_mv: guard_mv,
        needle_hysteresis_mv: hysteresis_mv,
        ..fitting().settings
    };
    let mut all = vec![("needles far apart", base, true)];
    let last = usize::from(base.needles) - 1;
    let one = rng.next_u32() as usize % last;
    for (first, second) in [(0, last), (one, one + 1)] {
        for (apart_mv, is_taken) in [(0, false), (1, true)] {
            let mut settings = base;
            // Above all the others, the second below the first.
            settings.needle_level_mv[first] = 9_000;
            settings.needle_level_mv[second] = 9_000 - (2 * guard_mv + hysteresis_mv + apart_mv);
            all.push(("two needles at such voltages", settings, is_taken));
            let by_code = Settings { needle_source: NeedleSource::Code, ..settings };
            all.push(("voltages that are not used", by_code, true));
        }
    }
    let mut beyond = base;
    beyond.needle_level_mv[last + 1] = beyond.needle_level_mv[last];
    all.push(("a voltage of no needle of the head", beyond, true));
    all
}
