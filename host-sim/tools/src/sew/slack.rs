//! By how much a count may rightly be above the truth.

use shaftbook_core::counters::Counters;
use shaftbook_core::settings::NeedleSource;
use shaftbook_world::scenario::{Scenario, Sensor};
use shaftbook_world::sewing::distort::DistortTally;

/// What the signal faults of a scenario may add to a count.
#[derive(Clone, Copy, Debug)]
pub struct Slack {
    pulses_per_revolution: u8,
    run_gap_us: u64,
    spikes_can_count: bool,
    code_lines_fail: bool,
}

impl Slack {
    /// The slack of `scenario`.
    #[must_use]
    pub fn of(scenario: &Scenario) -> Self {
        let settings = scenario.settings();
        let fails = |sensor| scenario.faults.failures.iter().any(|f| f.sensor == sensor);
        Self {
            pulses_per_revolution: settings.pulses_per_revolution,
            run_gap_us: u64::from(settings.run_gap_ms) * 1_000,
            spikes_can_count: scenario.faults.glitch_us >= u32::from(settings.shaft_debounce_us)
                || scenario.faults.shaft_bounce_us >= u32::from(settings.shaft_debounce_us),
            code_lines_fail: fails(Sensor::Needle) && settings.needle_source == NeedleSource::Code,
        }
    }

    /// Revolutions that were no revolutions but looked like it.
    fn false_revolutions(self, tally: &DistortTally) -> u64 {
        tally.extra_pulses + if self.spikes_can_count { tally.glitches } else { 0 }
    }

    /// Running time that false pulses may add, µs: each can turn a standstill, which is longer
    /// than the run gap, into two gaps that are not.
    fn false_running_us(self, tally: &DistortTally) -> u64 {
        self.false_revolutions(tally) * 2 * self.run_gap_us
    }

    /// Says that `counted_us` of running time is above `truth_us` by more than the signals
    /// explain: not by one µs without false pulses, whatever bounces.
    #[must_use]
    pub fn running_above(
        self,
        counted_us: u64,
        truth_us: u64,
        tally: &DistortTally,
    ) -> Option<String> {
        (counted_us > truth_us + self.false_running_us(tally))
            .then(|| format!("running {counted_us} µs, in truth {truth_us} µs"))
    }

    /// Says which figure of `counted` is above the truth by more than the signals
    /// explain.
    #[must_use]
    pub fn above(
        self,
        counted: &Counters,
        truth: &Counters,
        tally: &DistortTally,
    ) -> Option<String> {
        let false_revolutions = self.false_revolutions(tally);
        // With several pulses a revolution, a lost or false one shifts the revolutions
        // against the true ones, so one at each border goes to the other side.
        let shifted = if self.pulses_per_revolution > 1 {
            false_revolutions + tally.missed_pulses
        } else {
            false_revolutions
        };
        let unseen_jumps =
            if tally.missed_jump_changes > 0 { truth.jumps + truth.stitches() } else { 0 };
        let over = |what: &str, counted: u64, truth: u64, allowed: u64| {
            (counted > truth.saturating_add(allowed))
                .then(|| format!("{what} {counted}, in truth {truth}"))
        };
        let revolutions = |c: &Counters| c.stitches() + c.jumps;
        over("revolutions", revolutions(counted), revolutions(truth), false_revolutions)
            .or_else(|| {
                over("stitches", counted.stitches(), truth.stitches(), shifted + unseen_jumps)
            })
            .or_else(|| over("jumps", counted.jumps, truth.jumps, shifted + unseen_jumps))
            .or_else(|| over("trims", counted.trims, truth.trims, 0))
            .or_else(|| over("thread breaks", counted.breaks().into(), truth.breaks().into(), 0))
            .or_else(|| {
                let false_ms = self.false_running_us(tally) / 1_000;
                over("running ms", counted.running_ms, truth.running_ms, false_ms)
            })
            .or_else(|| over("powered ms", counted.powered_ms, truth.powered_ms, 0))
            .or_else(|| over("power-ups", counted.power_ups.into(), truth.power_ups.into(), 0))
            .or_else(|| {
                if self.code_lines_fail {
                    return None;
                }
                let needles = counted.needle_stitches.iter().zip(&truth.needle_stitches);
                needles.enumerate().find_map(|(index, (counted, truth))| {
                    let what = format!("stitches on needle {}", index + 1);
                    over(&what, *counted, *truth, shifted + unseen_jumps)
                })
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLACK: Slack = Slack {
        pulses_per_revolution: 1,
        run_gap_us: 2_000_000,
        spikes_can_count: false,
        code_lines_fail: false,
    };

    type Change = fn(&mut Counters);

    fn truth() -> Counters {
        let mut truth = Counters {
            powered_ms: 10_000,
            running_ms: 5_000,
            jumps: 20,
            trims: 4,
            power_ups: 2,
            ..Counters::default()
        };
        truth.needle_stitches[2] = 700;
        truth.needle_breaks[2] = 3;
        truth
    }

    #[test]
    fn the_truth_and_less_are_not_above_it() {
        assert_eq!(SLACK.above(&truth(), &truth(), &DistortTally::default()), None);
        assert_eq!(SLACK.above(&Counters::default(), &truth(), &DistortTally::default()), None);
        let mut unattributed = truth();
        unattributed.unattributed_stitches = 100;
        unattributed.needle_stitches[2] = 600;
        assert_eq!(SLACK.above(&unattributed, &truth(), &DistortTally::default()), None);
    }

    #[test]
    fn one_more_of_anything_is_above_it() {
        let more: [(&str, Change); 8] = [
            ("revolutions 721", |c| c.unattributed_stitches += 1),
            ("stitches 701", |c| {
                c.needle_stitches[2] += 1;
                c.jumps -= 1;
            }),
            ("jumps 21", |c| {
                c.needle_stitches[2] -= 1;
                c.jumps += 1;
            }),
            ("trims 5", |c| c.trims += 1),
            ("thread breaks 4", |c| c.unattributed_breaks += 1),
            ("running ms 5001", |c| c.running_ms += 1),
            ("power-ups 3", |c| c.power_ups += 1),
            ("stitches on needle 1 1, in truth 0", |c| {
                c.needle_stitches[2] -= 1;
                c.needle_stitches[0] += 1;
            }),
        ];
        for (expected, change) in more {
            let mut counted = truth();
            change(&mut counted);
            let said = SLACK.above(&counted, &truth(), &DistortTally::default()).expect(expected);
            assert!(said.starts_with(expected), "{said}");
        }
    }

    #[test]
    fn one_us_of_running_time_more_is_above_it_unless_a_false_pulse_explains_it() {
        let none = DistortTally::default();
        assert_eq!(SLACK.running_above(5_000_000, 5_000_000, &none), None);
        assert!(SLACK.running_above(5_000_001, 5_000_000, &none).is_some());
        let one = DistortTally { extra_pulses: 1, ..none };
        assert_eq!(SLACK.running_above(9_000_000, 5_000_000, &one), None);
        assert!(SLACK.running_above(9_000_001, 5_000_000, &one).is_some());
    }

    #[test]
    fn an_extra_pulse_may_be_one_revolution_more_and_no_trim() {
        let tally = DistortTally { extra_pulses: 1, ..DistortTally::default() };
        let mut counted = truth();
        counted.needle_stitches[2] += 1;
        assert_eq!(SLACK.above(&counted, &truth(), &tally), None);
        counted.needle_stitches[2] += 1;
        assert!(SLACK.above(&counted, &truth(), &tally).is_some());
        counted = truth();
        counted.trims += 1;
        assert!(SLACK.above(&counted, &truth(), &tally).is_some());
    }
}
