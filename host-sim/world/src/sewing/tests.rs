//! The generator against an independent count of its own undisturbed signals.

use std::ops::ControlFlow;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::input::Input;

use self::plain_distort::PlainSewing;
use super::{Sewing, SewingEvent, Timed};
use crate::scenario::Scenario;

mod plain_distort;

const BASE: &str = r#"
name = "Test bench"
seed = 11
[hours]
working_days = 3
shifts = [
  { start = "08:00", end = "10:00", pauses = [{ start = "09:00", end = "09:20" }] },
  { start = "11:00", end = "12:00" },
]
[machine]
needles = 6
breaks_per_100k = 60.0
[[designs]]
name = "Kite"
pieces = 2
blocks = [
  { needle = 2, stitches = 400, jumps = 9, trims = 3 },
  { needle = 5, stitches = 150, jumps = 2 },
]
"#;

fn scenario(changes: &[(&str, &str)]) -> Scenario {
    let mut text = BASE.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    Scenario::parse("test", &text).unwrap()
}

/// Counts as a person with a list of edges would: knows nothing of legs or runs.
#[derive(Default)]
struct ByHand {
    counters: Counters,
    powered_us: u64,
    running_us: u64,
    on_us: Option<u64>,
    pulses: u64,
    last_pulse_us: Option<u64>,
    needle: usize,
    jump: bool,
}

impl ByHand {
    fn take(&mut self, timed: Timed, pulses_per_revolution: u64, run_gap_us: u64) {
        match timed.event {
            SewingEvent::PowerUp => {
                *self = Self {
                    on_us: Some(timed.at_us),
                    pulses: 0,
                    last_pulse_us: None,
                    jump: false,
                    ..std::mem::take(self)
                };
                self.counters.power_ups += 1;
            }
            SewingEvent::Cut => self.powered_us += timed.at_us - self.on_us.take().unwrap(),
            SewingEvent::Input(input) => {
                assert!(self.on_us.is_some(), "an input without power");
                self.input(timed.at_us, input, pulses_per_revolution, run_gap_us);
            }
        }
        self.counters.powered_ms = self.powered_us / 1_000;
        self.counters.running_ms = self.running_us / 1_000;
    }

    fn input(&mut self, at_us: u64, input: Input, pulses_per_revolution: u64, run_gap_us: u64) {
        match input {
            Input::Shaft(level) if level.is_active() => {
                if let Some(last_us) = self.last_pulse_us
                    && at_us - last_us <= run_gap_us
                {
                    self.running_us += at_us - last_us;
                }
                self.last_pulse_us = Some(at_us);
                self.pulses += 1;
                if self.pulses.is_multiple_of(pulses_per_revolution) {
                    if self.jump {
                        self.counters.jumps += 1;
                    } else {
                        self.counters.needle_stitches[self.needle] += 1;
                    }
                }
            }
            Input::Trim(level) if level.is_active() => self.counters.trims += 1,
            Input::ThreadBreak(level) if level.is_active() => {
                self.counters.needle_breaks[self.needle] += 1;
            }
            Input::Jump(level) => self.jump = level.is_active(),
            Input::NeedleCode(code) => self.needle = usize::from(code),
            Input::NeedleLevel(level_mv) => self.needle = usize::from((level_mv - 500) / 250),
            _ => {}
        }
    }
}

/// Compares truth and count at every cut; gives the last count.
fn compared(scenario: &Scenario) -> Counters {
    let settings = scenario.settings();
    let mut sewing = Sewing::new(scenario, scenario.seed);
    let mut by_hand = ByHand::default();
    let mut last_us = 0;
    while let Some(timed) = sewing.next() {
        assert!(timed.at_us >= last_us, "{timed:?} after {last_us}");
        last_us = timed.at_us;
        by_hand.take(
            timed,
            settings.pulses_per_revolution.into(),
            u64::from(settings.run_gap_ms) * 1_000,
        );
        if timed.event == SewingEvent::Cut {
            assert_eq!(sewing.truth().counters(), by_hand.counters, "at {last_us} µs");
        }
    }
    by_hand.counters
}

fn agrees(scenario: &Scenario) {
    let counters = compared(scenario);
    assert!(counters.stitches() > 10_000, "{counters:?}");
    assert!(counters.trims > 40);
    assert!(counters.needle_stitches[..NEEDLES_MAX].iter().filter(|n| **n > 0).count() == 2);
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 60, failure_persistence: None, rng_seed: RngSeed::Fixed(7), ..ProptestConfig::default()
    })]

    #[test]
    fn the_truth_holds_for_any_machine(
        seed in 0..1_000_u64,
        (speed, start) in (60..=2_000_u32).prop_flat_map(|speed| (Just(speed), 60..=speed)),
        pulses in prop::sample::select(vec![1_u32, 2, 5, 16, 64]),
        (ramp, jitter) in (0..=100_u32, 0..=20_u32),
        (trim_ms, step_ms, rethread_s) in (300..=60_000_u32, 20..=10_000_u32, 1..=100_u32),
        breaks in 0..=10_000_u32,
        (signal, jump) in (prop::sample::select(vec!["code", "level"]), any::<bool>()),
        (warning, while_sewing, offs) in (any::<bool>(), any::<bool>(), 0..=40_u32),
    ) {
        let machine = format!(
            "needles = 6\nstitches_per_min = {speed}\nstart_stitches_per_min = {start}\n\
             pulses_per_revolution = {pulses}\nramp_stitches = {ramp}\njitter_percent = {jitter}.0\n\
             trim_ms = {trim_ms}\nneedle_step_ms = {step_ms}\nrethread_s = {rethread_s}\n\
             needle_signal = \"{signal}\"\njump_wired = {jump}\n"
        );
        let power = format!(
            "[power]\nwarning = {warning}\nhold_up_ms = {}\noff_while_sewing = {while_sewing}\n\
             extra_offs_per_shift = {offs}.0\noff_for_s = 3\n[machine]",
            if warning { 50 } else { 0 },
        );
        let changes = [
            ("working_days = 3".to_owned(), "working_days = 1".to_owned()),
            ("needles = 6\n".to_owned(), machine),
            ("breaks_per_100k = 60.0".to_owned(), format!("breaks_per_100k = {breaks}.0")),
            ("[machine]".to_owned(), power),
        ];
        let changes: Vec<(&str, &str)> =
            changes.iter().map(|(from, to)| (from.as_str(), to.as_str())).collect();
        let mut scenario = scenario(&changes);
        scenario.seed = seed;
        let counters = compared(&scenario);
        prop_assert!(counters.stitches() > 0 && counters.power_ups >= 2);
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 96, failure_persistence: None, rng_seed: RngSeed::Fixed(8), ..ProptestConfig::default()
    })]

    /// Driven in pieces or asked for one by one, and in any mixture.
    #[test]
    fn whatever_the_faults_the_events_are_those_of_the_plain_ones(
        seed in 0..1_000_u64,
        shaft_bounce_us in prop::sample::select(vec![0_u32, 1, 2, 15, 30, 45, 62, 63, 64, 5_000]),
        contact_bounce_us in prop::sample::select(vec![0_u32, 3_000, 5_000]),
        (missed, glitch, extra) in (0..=40_u32, 0..=200_u32, 0..=400_u32),
        glitch_us in prop::sample::select(vec![1_u32, 25, 10_000]),
        (skew_us, noise_mv) in (prop::sample::select(vec![0_u32, 400, 15_000]), 0..=100_u32),
        (signal, jump) in (prop::sample::select(vec!["code", "level"]), any::<bool>()),
        (speed, ramp) in (prop::sample::select(vec![60_u32, 2_000, 2_000]), 0..=12_u32),
        pulses in prop::sample::select(vec![1_u32, 2, 16, 64]),
        failures in prop::sample::subsequence(vec![
            "{ sensor = \"shaft\", kind = \"flaky\", from_h = 8.2, to_h = 9.0, miss_probability = 0.1 }",
            "{ sensor = \"shaft\", kind = \"dead\", from_h = 9.4, to_h = 9.5 }",
            "{ sensor = \"needle\", kind = \"dead\", from_h = 9.6, to_h = 11.2 }",
            "{ sensor = \"trim\", kind = \"flaky\", from_h = 8.1, miss_probability = 0.5 }",
            "{ sensor = \"jump\", kind = \"dead\", from_h = 11.3 }",
        ], 0..=5),
        piece in prop::sample::select(vec![1_usize, 2, 7, 1_000, usize::MAX]),
    ) {
        let p = |per_mille: u32| f64::from(per_mille) / 1_000.0;
        let (missed, glitch, extra) = (p(missed), p(glitch), p(extra));
        let text = format!(
            "[power]\nextra_offs_per_shift = 3.0\noff_for_s = 30\n\
             [faults]\nshaft_bounce_us = {shaft_bounce_us}\ncontact_bounce_us = {contact_bounce_us}\n\
             missed_pulse_probability = {missed:?}\nglitch_probability = {glitch:?}\n\
             extra_pulse_probability = {extra:?}\nglitch_us = {glitch_us}\n\
             needle_skew_us = {skew_us}\nneedle_noise_mv = {noise_mv}\nfailures = [{}]\n\
             [machine]\nneedle_signal = \"{signal}\"\njump_wired = {jump}\n\
             stitches_per_min = {speed}\nstart_stitches_per_min = 60\n\
             ramp_stitches = {ramp}\npulses_per_revolution = {pulses}\n",
            failures.join(", "),
        );
        let scenario =
            scenario(&[("working_days = 3", "working_days = 1"), ("[machine]\n", text.as_str())]);
        prop_assert_eq!(same_as_plain(&scenario, seed, piece), Ok(()));
    }
}

/// At 64 pulses a revolution the jump contact bounces in the middle of the shaft's bounce.
#[test]
fn where_everything_comes_near_everything_the_events_are_those_of_the_plain_ones() {
    let text = "[faults]\nshaft_bounce_us = 63\ncontact_bounce_us = 5000\n\
                glitch_probability = 0.2\nextra_pulse_probability = 0.2\n\
                [machine]\njump_wired = true\nstitches_per_min = 2000\nramp_stitches = 0\n\
                pulses_per_revolution = 64\n";
    let scenario = scenario(&[("[machine]\n", text), ("stitches = 400", "stitches = 10")]);
    for seed in 0..20 {
        assert_eq!(same_as_plain(&scenario, seed, 1_000), Ok(()), "seed {seed}");
    }
}

/// Drives in pieces of `piece` events, with one that is asked for between them.
fn same_as_plain(scenario: &Scenario, seed: u64, piece: usize) -> Result<(), String> {
    let mut plain = PlainSewing::new(scenario, seed);
    let mut sewing = Sewing::new(scenario, seed);
    let (mut left, mut is_driven) = (40_000_usize, true);
    loop {
        let mut got = 0;
        let mut same = Ok(());
        let mut compare = |timed: Option<Timed>| {
            got += 1;
            let expected = plain.next();
            if timed != expected {
                same = Err(format!("{timed:?}, not {expected:?}"));
            }
            if same.is_ok() && got < piece && got < left {
                ControlFlow::Continue(())
            } else {
                ControlFlow::Break(())
            }
        };
        if is_driven {
            sewing.drive(|timed| compare(Some(timed)));
        } else {
            let _ = compare(sewing.next());
        }
        same?;
        left = left.saturating_sub(got);
        if got == 0 || left == 0 {
            break;
        }
        if (sewing.truth(), sewing.tally()) != (plain.truth(), plain.tally()) {
            return Err(format!("{:?}, not {:?}", sewing.truth(), plain.truth()));
        }
        is_driven = !is_driven || piece == usize::MAX;
    }
    if left > 0 && plain.next().is_some() { Err("it ends too soon".into()) } else { Ok(()) }
}

#[test]
fn the_truth_is_what_a_count_of_the_edges_gives() {
    agrees(&scenario(&[]));
}

#[test]
fn also_at_other_speeds_pulses_and_wirings() {
    agrees(&scenario(&[(
        "needles = 6",
        "needles = 6\npulses_per_revolution = 64\nstitches_per_min = 2000\njitter_percent = 20.0",
    )]));
    agrees(&scenario(&[(
        "needles = 6",
        "needles = 6\nneedle_signal = \"level\"\nramp_stitches = 0",
    )]));
    agrees(&scenario(&[(
        "needles = 6",
        "needles = 6\npulses_per_revolution = 3\nramp_stitches = 100",
    )]));
}

#[test]
fn also_when_it_is_switched_off_at_any_moment() {
    agrees(&scenario(&[(
        "[machine]",
        "[power]\noff_while_sewing = true\nextra_offs_per_shift = 30.0\noff_for_s = 5\n[machine]\npulses_per_revolution = 7",
    )]));
    agrees(&scenario(&[(
        "[machine]",
        "[power]\nwarning = true\nhold_up_ms = 80\nextra_offs_per_shift = 20.0\n[machine]",
    )]));
}

#[test]
fn the_warning_comes_the_hold_up_before_the_cut() {
    let scenario = scenario(&[(
        "[machine]",
        "[power]\nwarning = true\nhold_up_ms = 80\noff_while_sewing = true\n[machine]",
    )]);
    let events: Vec<Timed> = Sewing::new(&scenario, 1).collect();
    let cuts: Vec<usize> =
        (0..events.len()).filter(|n| events[*n].event == SewingEvent::Cut).collect();
    assert_eq!(cuts.len(), 6);
    for cut in cuts {
        let warning = events[cut - 1];
        assert!(matches!(warning.event, SewingEvent::Input(Input::PowerFail(_))), "{warning:?}");
        assert_eq!(events[cut].at_us - warning.at_us, 80_000);
    }
}

#[test]
fn one_seed_one_life() {
    let noisy = scenario(&[(
        "[machine]",
        "[faults]\ncontact_bounce_us = 4000\nshaft_bounce_us = 30\nmissed_pulse_probability = 0.001\n\
         glitch_probability = 0.01\nneedle_skew_us = 900\n[machine]",
    )]);
    let life = |seed| Sewing::new(&noisy, seed).take(50_000).collect::<Vec<_>>();
    assert_eq!(life(3), life(3));
    assert_ne!(life(3), life(4));
}

#[test]
fn nothing_that_happens_on_a_wire_alters_the_truth() {
    let clean = scenario(&[]);
    let noisy = scenario(&[(
        "[machine]",
        "[faults]\ncontact_bounce_us = 5000\nshaft_bounce_us = 40\nmissed_pulse_probability = 0.01\n\
         glitch_probability = 0.02\nextra_pulse_probability = 0.01\nneedle_skew_us = 15000\n\
         failures = [{ sensor = \"shaft\", kind = \"dead\", from_h = 9.5, to_h = 11.25 },\n\
                     { sensor = \"trim\", kind = \"flaky\", from_h = 30.0 }]\n[machine]",
    )]);
    let mut quiet = Sewing::new(&clean, 11);
    let mut loud = Sewing::new(&noisy, 11);
    let edges_quiet = quiet.by_ref().count() as u64;
    let mut last_us = 0;
    let mut edges_loud = 0;
    for timed in loud.by_ref() {
        assert!(timed.at_us >= last_us);
        last_us = timed.at_us;
        edges_loud += 1;
    }
    assert_eq!(quiet.truth(), loud.truth());
    let tally = loud.tally();
    assert!(tally.missed_pulses > 100 && tally.glitches > 100 && tally.extra_pulses > 50);
    assert!(tally.bounce_edges > 1_000 && tally.missed_trims > 5, "{tally:?}");
    // Every edge added or taken away is in the tally (skewed code lines add more).
    assert!(
        edges_loud + 2 * tally.missed_pulses + 2 * tally.missed_trims
            >= edges_quiet + tally.bounce_edges + 2 * (tally.glitches + tally.extra_pulses),
        "{edges_loud} {edges_quiet} {tally:?}"
    );
}

#[test]
fn driven_or_iterated_the_events_are_the_same() {
    for text in ["", "[faults]\ncontact_bounce_us = 4000\nglitch_probability = 0.01\n"] {
        let scenario = scenario(&[("[machine]", &format!("{text}[machine]"))]);
        let iterated: Vec<Timed> = Sewing::new(&scenario, 5).collect();
        let mut driven = Vec::new();
        let mut sewing = Sewing::new(&scenario, 5);
        while driven.len() < iterated.len() {
            // In pieces of 1,000, to see that it can be taken up again.
            let upto = (driven.len() + 1_000).min(iterated.len());
            sewing.drive(|timed| {
                driven.push(timed);
                if driven.len() == upto {
                    ControlFlow::Break(())
                } else {
                    ControlFlow::Continue(())
                }
            });
        }
        assert!(driven == iterated);
        assert_eq!(sewing.next(), None);
    }
}
