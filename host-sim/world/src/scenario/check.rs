//! Whether a scenario can be simulated: ranges and what must fit together.
//!
//! The first thing wrong is reported, with the path of its key.

use std::ops::RangeInclusive;

use super::{Block, FailureKind, Scenario, Sensor, Shift};
use crate::settings_file::explain;

/// What is wrong, and at which key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong {
    /// Path of the key, such as `designs[1].blocks[0].needle`.
    pub key: String,
    /// What is wrong with it.
    pub what: String,
}

type Check = Result<(), Wrong>;

fn wrong(key: impl Into<String>, what: impl Into<String>) -> Check {
    Err(Wrong { key: key.into(), what: what.into() })
}

fn whole(key: &str, value: impl Into<u64>, range: RangeInclusive<u64>) -> Check {
    let value = value.into();
    if range.contains(&value) {
        return Ok(());
    }
    wrong(key, format!("{value} is not {} to {}", range.start(), range.end()))
}

fn real(key: &str, value: f64, range: RangeInclusive<f64>) -> Check {
    if range.contains(&value) {
        return Ok(());
    }
    wrong(key, format!("{value} is not {} to {}", range.start(), range.end()))
}

/// Checks all of a scenario.
///
/// # Errors
/// The first [`Wrong`] found, in the order of the file.
pub fn check(scenario: &Scenario) -> Check {
    if scenario.name.trim().is_empty() {
        return wrong("name", "is empty");
    }
    board(scenario)?;
    part(scenario)?;
    hours(scenario)?;
    machine(scenario)?;
    designs(scenario)?;
    power(scenario)?;
    faults(scenario)
}

fn board(scenario: &Scenario) -> Check {
    if !scenario.board.levels_fit() {
        return wrong("board.needle_level_mv", "at most 16 levels");
    }
    whole("machine.needles", scenario.machine.needles, 1..=16)?;
    whole("machine.pulses_per_revolution", scenario.machine.pulses_per_revolution, 1..=64)?;
    scenario.settings().check().map_err(|e| Wrong { key: "board".into(), what: explain(e).into() })
}

fn part(scenario: &Scenario) -> Check {
    let part = &scenario.part;
    if !part.geometry().is_supported() {
        return wrong(
            "part",
            format!(
                "{} bytes in pages of {} is not a part the store can use \
                 (8,192 to 65,536 bytes, at least 64 pages, of 16 to 256, a power of two)",
                part.size_bytes, part.page_bytes
            ),
        );
    }
    whole("part.program_us", part.program_us, 0..=20_000)
}

fn hours(scenario: &Scenario) -> Check {
    let hours = &scenario.hours;
    whole("hours.working_days", hours.working_days, 1..=10_000)?;
    whole("hours.days_per_week", hours.days_per_week, 1..=7)?;
    if !(1..=8).contains(&hours.shifts.len()) {
        return wrong("hours.shifts", "there must be 1 to 8 shifts");
    }
    for (n, shift) in hours.shifts.iter().enumerate() {
        let key = format!("hours.shifts[{n}]");
        if n > 0 && shift.start < hours.shifts[n - 1].end {
            return wrong(format!("{key}.start"), "is before the end of the shift before it");
        }
        pauses(&key, shift)?;
    }
    Ok(())
}

fn pauses(key: &str, shift: &Shift) -> Check {
    if shift.end <= shift.start {
        return wrong(format!("{key}.end"), "is not after the start");
    }
    let mut free_from = shift.start;
    for (n, pause) in shift.pauses.iter().enumerate() {
        if pause.start < free_from || pause.end <= pause.start || pause.end > shift.end {
            return wrong(
                format!("{key}.pauses[{n}]"),
                "pauses must lie in the shift, one after the other",
            );
        }
        free_from = pause.end;
    }
    Ok(())
}

fn machine(scenario: &Scenario) -> Check {
    let machine = &scenario.machine;
    whole("machine.stitches_per_min", machine.stitches_per_min, 60..=2_000)?;
    whole("machine.start_stitches_per_min", machine.start_stitches_per_min, 60..=2_000)?;
    if machine.start_stitches_per_min > machine.stitches_per_min {
        return wrong("machine.start_stitches_per_min", "is above stitches_per_min");
    }
    whole("machine.ramp_stitches", machine.ramp_stitches, 0..=100)?;
    real("machine.jitter_percent", machine.jitter_percent, 0.0..=20.0)?;
    // The generator's truth counts the gaps inside a run as running without
    // looking at each: the slowest must be short enough, jitter (20 %) included.
    let slowest_us = 72_000_000
        / (u64::from(machine.start_stitches_per_min) * u64::from(machine.pulses_per_revolution));
    if slowest_us > u64::from(scenario.settings().run_gap_ms) * 1_000 {
        return wrong(
            "machine.start_stitches_per_min",
            "the pulses of the first stitch are further apart than the run gap",
        );
    }
    whole("machine.level_reading_ms", machine.level_reading_ms, 10..=60_000)?;
    whole("machine.trim_ms", machine.trim_ms, 300..=60_000)?;
    whole("machine.needle_step_ms", machine.needle_step_ms, 20..=10_000)?;
    whole("machine.rethread_s", machine.rethread_s, 1..=3_600)?;
    whole("machine.frame_change_s", machine.frame_change_s, 1..=7_200)?;
    whole("machine.idle_s", machine.idle_s, 0..=28_800)?;
    if let super::PerNeedle::Each(values) = &machine.breaks_per_100k
        && values.len() != usize::from(machine.needles)
    {
        return wrong(
            "machine.breaks_per_100k",
            format!("{} figures for {} needles", values.len(), machine.needles),
        );
    }
    for index in 0..usize::from(machine.needles) {
        real("machine.breaks_per_100k", machine.breaks_per_100k.at(index), 0.0..=10_000.0)?;
    }
    Ok(())
}

fn designs(scenario: &Scenario) -> Check {
    if scenario.designs.is_empty() {
        return wrong("designs", "there is none");
    }
    for (n, design) in scenario.designs.iter().enumerate() {
        let key = format!("designs[{n}]");
        whole(&format!("{key}.pieces"), design.pieces, 1..=10_000)?;
        if !(1..=200).contains(&design.blocks.len()) {
            return wrong(format!("{key}.blocks"), "there must be 1 to 200 colour blocks");
        }
        for (m, block) in design.blocks.iter().enumerate() {
            colour_block(&format!("{key}.blocks[{m}]"), block, scenario.machine.needles)?;
        }
    }
    Ok(())
}

fn colour_block(key: &str, block: &Block, needles: u8) -> Check {
    whole(&format!("{key}.needle"), block.needle, 1..=u64::from(needles))?;
    whole(&format!("{key}.stitches"), block.stitches, 1..=1_000_000)?;
    whole(&format!("{key}.jumps"), block.jumps, 0..=100_000)?;
    whole(&format!("{key}.trims"), block.trims, 1..=10_000)?;
    if block.trims > block.stitches {
        return wrong(format!("{key}.trims"), "more trims than stitches");
    }
    Ok(())
}

fn power(scenario: &Scenario) -> Check {
    let power = &scenario.power;
    whole("power.hold_up_ms", power.hold_up_ms, 0..=5_000)?;
    if power.hold_up_ms > 0 && !power.warning {
        return wrong("power.hold_up_ms", "needs warning = true");
    }
    real("power.extra_offs_per_shift", power.extra_offs_per_shift, 0.0..=100.0)?;
    whole("power.off_for_s", power.off_for_s, 1..=3_600)
}

fn faults(scenario: &Scenario) -> Check {
    let faults = &scenario.faults;
    whole("faults.contact_bounce_us", faults.contact_bounce_us, 0..=5_000)?;
    whole("faults.shaft_bounce_us", faults.shaft_bounce_us, 0..=5_000)?;
    real("faults.missed_pulse_probability", faults.missed_pulse_probability, 0.0..=1.0)?;
    real("faults.glitch_probability", faults.glitch_probability, 0.0..=1.0)?;
    if faults.glitch_probability > 0.0 {
        whole("faults.glitch_us", faults.glitch_us, 1..=10_000)?;
    }
    real("faults.extra_pulse_probability", faults.extra_pulse_probability, 0.0..=1.0)?;
    whole("faults.needle_noise_mv", faults.needle_noise_mv, 0..=1_000)?;
    whole("faults.needle_skew_us", faults.needle_skew_us, 0..=15_000)?;
    if faults.failures.len() > 32 {
        return wrong("faults.failures", "at most 32");
    }
    for (n, failure) in faults.failures.iter().enumerate() {
        let key = format!("faults.failures[{n}]");
        real(&format!("{key}.from_h"), failure.from_h, 0.0..=1_000_000.0)?;
        if let Some(to_h) = failure.to_h
            && !(failure.from_h..=1_000_000.0).contains(&to_h)
        {
            return wrong(format!("{key}.to_h"), "is before from_h or above 1,000,000");
        }
        real(&format!("{key}.miss_probability"), failure.miss_probability, 0.0..=1.0)?;
        if failure.sensor == Sensor::Needle && failure.kind == FailureKind::Flaky {
            return wrong(format!("{key}.kind"), "the needle position can only be dead");
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    use super::super::Scenario;

    const GOOD: &str = r#"
name = "Test bench"
seed = 1
[hours]
working_days = 1
shifts = [{ start = "08:00", end = "09:00" }]
[machine]
needles = 6
[[designs]]
name = "Square"
blocks = [{ needle = 1, stitches = 100 }]
"#;

    fn error_of(from: &str, to: &str) -> String {
        assert!(GOOD.contains(from));
        Scenario::parse("t.toml", &GOOD.replace(from, to)).unwrap_err().to_string()
    }

    #[test]
    fn the_smallest_scenario_is_accepted() {
        let scenario = Scenario::parse("t.toml", GOOD).unwrap();
        assert_eq!(scenario.settings().needles, 6);
    }

    #[test]
    fn each_thing_wrong_is_said_with_its_place() {
        assert_eq!(
            error_of("needle = 1", "needle = 7"),
            "t.toml:11:22: designs[0].blocks[0].needle: 7 is not 1 to 6"
        );
        assert_eq!(
            error_of("working_days = 1", "working_days = 0"),
            "t.toml:5:16: hours.working_days: 0 is not 1 to 10000"
        );
        assert_eq!(
            error_of("end = \"09:00\"", "end = \"07:00\""),
            "t.toml:6:36: hours.shifts[0].end: is not after the start"
        );
        assert!(error_of("needles = 6", "needels = 6").starts_with("t.toml:8:1: unknown field"));
        assert!(error_of("seed = 1", "seed = ").starts_with("t.toml:3:"));
        assert!(error_of("\"08:00\"", "\"8 am\"").contains("is not a time HH:MM"));
        assert!(
            error_of("[machine]", "[power]\nhold_up_ms = 5\n[machine]")
                .starts_with("t.toml:8:14: power.hold_up_ms: needs warning")
        );
        assert!(error_of("seed = 1", "").contains("missing field `seed`"));
    }

    proptest! {
        #![proptest_config(ProptestConfig {
            cases: 400, failure_persistence: None, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default()
        })]

        /// A scenario with any bytes changed is read or refused in one line, and one that
        /// is read can be sewn.
        #[test]
        fn any_text_is_read_or_refused(
            changes in prop::collection::vec((any::<prop::sample::Index>(), any::<char>()), 0..4),
        ) {
            let mut text: Vec<char> = GOOD.chars().collect();
            for (place, char) in &changes {
                let place = place.index(text.len());
                text[place] = *char;
            }
            let text: String = text.into_iter().collect();
            match Scenario::parse("t.toml", &text) {
                Ok(scenario) => {
                    prop_assert!(crate::sewing::Sewing::new(&scenario, 1).take(1_000).count() > 0);
                }
                Err(error) => prop_assert_eq!(error.to_string().lines().count(), 1),
            }
        }
    }
}
