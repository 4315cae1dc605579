//! Random legal signals against a simply written count: what the meter makes of bounce, spikes,
//! jumps, trims, breaks and needle changes, polled at any time.
//!
//! A script is a list of things that the machine does. It is turned into edges with bounce and
//! spikes, and the expected counts follow from the script alone.

use proptest::prelude::*;
use proptest_state_machine::{ReferenceStateMachine, StateMachineTest};
use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::input::{Input, Level};
use shaftbook_core::meter::Meter;
use shaftbook_core::rules::Sound;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;

/// What the machine does.
#[derive(Clone, Debug)]
enum Deed {
    /// Revolutions of `period_us`, bouncing for `bounce_us` at each edge.
    Turn {
        revolutions: u64,
        period_us: u64,
        bounce_us: u64,
    },
    Rest {
        ms: u64,
    },
    Trim {
        bounce_us: u64,
    },
    Break,
    Jump(bool),
    Needle(u8),
    /// The code lines read something for less than the debounce time, at rest.
    Flicker(u8),
    /// A spike on the resting shaft line.
    Spike {
        us: u64,
    },
    /// The board looks.
    Look,
}

/// The settings under test, and what has been done so far, simply counted.
#[derive(Clone, Debug)]
struct Count {
    pulses_per_revolution: u8,
    needles: u8,
    needle: u8,
    is_jumping: bool,
    now_us: u64,
    last_pulse_us: Option<u64>,
    running_us: u64,
    counted: Counters,
}

impl Count {
    fn settings(&self) -> Settings {
        Settings {
            pulses_per_revolution: self.pulses_per_revolution,
            needles: self.needles,
            shaft_debounce_us: 50,
            ..Settings::default()
        }
    }
}

impl ReferenceStateMachine for Count {
    type State = Self;
    type Transition = Deed;

    fn init_state() -> BoxedStrategy<Self> {
        (prop_oneof![Just(1), Just(2), Just(4), 1..=64_u8], 1..=16_u8)
            .prop_map(|(pulses_per_revolution, needles)| Self {
                pulses_per_revolution,
                needles,
                needle: 1,
                is_jumping: false,
                now_us: 1_000_000,
                last_pulse_us: None,
                running_us: 0,
                counted: Counters { power_ups: 1, ..Counters::default() },
            })
            .boxed()
    }

    fn transitions(_: &Self) -> BoxedStrategy<Deed> {
        // Up to the top speed of 2,000 revolutions a minute, 64 pulses each.
        let turn = (1..60_u64, 30_000..400_000_u64, 0..45_u64).prop_map(
            |(revolutions, period_us, bounce_us)| Deed::Turn { revolutions, period_us, bounce_us },
        );
        prop_oneof![
            8 => turn,
            2 => (1..5_000_u64).prop_map(|ms| Deed::Rest { ms }),
            2 => (0..5_000_u64).prop_map(|bounce_us| Deed::Trim { bounce_us }),
            1 => Just(Deed::Break),
            1 => any::<bool>().prop_map(Deed::Jump),
            // Codes for needles that the head does not have are legal noise.
            3 => (1..=20_u8).prop_map(Deed::Needle),
            1 => (1..=16_u8).prop_map(Deed::Flicker),
            1 => (1..49_u64).prop_map(|us| Deed::Spike { us }),
            2 => Just(Deed::Look),
        ]
        .boxed()
    }

    fn apply(mut s: Self, deed: &Deed) -> Self {
        match deed {
            Deed::Turn { revolutions, period_us, .. } => {
                let pulse_us = period_us / u64::from(s.pulses_per_revolution);
                for n in 0..revolutions * u64::from(s.pulses_per_revolution) {
                    let at_us = s.now_us + n * pulse_us;
                    if let Some(gap_us) = s.last_pulse_us.map(|last_us| at_us - last_us) {
                        s.running_us += if gap_us <= 2_000_000 { gap_us } else { 0 };
                    }
                    s.last_pulse_us = Some(at_us);
                }
                // Whole revolutions only, so the phase within one never matters.
                let known = s.needle <= s.needles;
                match (s.is_jumping, known) {
                    (true, _) => s.counted.jumps += revolutions,
                    (_, true) => {
                        s.counted.needle_stitches[usize::from(s.needle - 1)] += revolutions;
                    }
                    _ => s.counted.unattributed_stitches += revolutions,
                }
                s.now_us += revolutions * u64::from(s.pulses_per_revolution) * pulse_us;
                s.now_us += 100_000;
            }
            Deed::Rest { ms } => s.now_us += ms * 1_000,
            Deed::Trim { .. } => {
                s.counted.trims += 1;
                s.now_us += 100_000;
            }
            Deed::Break => {
                if s.needle <= s.needles {
                    s.counted.needle_breaks[usize::from(s.needle - 1)] += 1;
                } else {
                    s.counted.unattributed_breaks += 1;
                }
                s.now_us += 100_000;
            }
            Deed::Jump(on) => {
                s.is_jumping = *on;
                s.now_us += 100_000;
            }
            Deed::Needle(needle) => {
                s.needle = *needle;
                s.now_us += 100_000;
            }
            Deed::Flicker(_) => s.now_us += 100_000,
            Deed::Spike { .. } => {
                s.counted.glitches += 1;
                s.now_us += 100_000;
            }
            Deed::Look => {}
        }
        s
    }
}

/// A meter fed with edges, and its own clock.
struct Fed {
    meter: Meter,
    now_us: u64,
    needle: u8,
    is_jumping: bool,
}

impl Fed {
    fn edge(&mut self, at_us: u64, input: Input) {
        self.meter.input::<Sound>(Instant::from_us(at_us), input);
    }

    /// A change to `level` that bounces for less than `bounce_us` before it holds.
    fn bouncing(&mut self, at_us: u64, bounce_us: u64, level: Level, make: fn(Level) -> Input) {
        let other = Level::from_bool(!level.is_active());
        for n in 0..3 {
            self.edge(at_us + n * bounce_us / 4, make(level));
            self.edge(at_us + n * bounce_us / 4 + bounce_us / 8, make(other));
        }
        self.edge(at_us + bounce_us, make(level));
    }
}

struct MeterTest;

impl StateMachineTest for MeterTest {
    type SystemUnderTest = Fed;
    type Reference = Count;

    fn init_test(count: &Count) -> Fed {
        let mut fed = Fed {
            meter: Meter::new(count.settings()),
            now_us: 1_000_000,
            needle: 1,
            is_jumping: false,
        };
        fed.edge(0, Input::NeedleCode(0));
        fed
    }

    fn apply(mut fed: Fed, count: &Count, deed: Deed) -> Fed {
        let at_us = fed.now_us;
        match deed {
            Deed::Turn { revolutions, period_us, bounce_us } => {
                let pulses = u64::from(count.pulses_per_revolution);
                let pulse_us = period_us / pulses;
                for n in 0..revolutions * pulses {
                    let at_us = at_us + n * pulse_us;
                    fed.edge(at_us, Input::Shaft(Level::Active));
                    // Opening bounces; closing does too on a real contact, but would
                    // be dated to its last bounce, which is no error of counting.
                    let off_us = at_us + pulse_us / 2;
                    fed.bouncing(off_us, bounce_us, Level::Inactive, Input::Shaft);
                }
            }
            Deed::Trim { bounce_us } => {
                fed.bouncing(at_us, 0, Level::Active, Input::Trim);
                fed.bouncing(at_us + 40_000, bounce_us, Level::Inactive, Input::Trim);
            }
            Deed::Break => {
                fed.edge(at_us, Input::ThreadBreak(Level::Active));
                fed.edge(at_us + 40_000, Input::ThreadBreak(Level::Inactive));
            }
            Deed::Jump(on) => {
                if on != fed.is_jumping {
                    fed.edge(at_us, Input::Jump(Level::from_bool(on)));
                }
                fed.is_jumping = on;
            }
            Deed::Needle(needle) => {
                fed.edge(at_us, Input::NeedleCode(needle - 1));
                fed.needle = needle;
            }
            Deed::Flicker(needle) => {
                fed.edge(at_us, Input::NeedleCode(needle - 1));
                fed.edge(at_us + 19_000, Input::NeedleCode(fed.needle - 1));
            }
            Deed::Spike { us } => {
                fed.edge(at_us, Input::Shaft(Level::Active));
                fed.edge(at_us + us, Input::Shaft(Level::Inactive));
            }
            Deed::Look => fed.meter.debounce::<Sound>(Instant::from_us(at_us)),
            Deed::Rest { .. } => {}
        }
        fed.now_us = count.now_us;
        fed
    }

    fn check_invariants(fed: &Fed, count: &Count) {
        // Looking does not change what is counted: look at a copy.
        let mut meter = fed.meter.clone();
        let now = Instant::from_us(fed.now_us);
        meter.debounce::<Sound>(now);
        let session = meter.session(now);
        assert_eq!(session.needle_stitches.len(), NEEDLES_MAX);
        let expected = Counters {
            powered_ms: count.now_us / 1_000,
            running_ms: count.running_us / 1_000,
            ..count.counted
        };
        assert_eq!(session, expected);
        let sum = session.needle_stitches.iter().sum::<u64>() + session.unattributed_stitches;
        assert_eq!(session.stitches(), sum);
    }
}

#[test]
fn random_signals_are_counted_as_they_are() {
    let test = "random_signals_are_counted_as_they_are";
    crate::machine::check::<MeterTest>(test, 0x5EED_0002, 600, 60);
}
