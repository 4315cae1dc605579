//! What is planted, row by row, and how much of it the hints see.

use std::marker::PhantomData;

use shaftbook_care::hint::{Certainty, Finding, Hint, look};
use shaftbook_care::machine::Machine;
use shaftbook_core::authority::{KEY_BYTES, Key};
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::fault::FaultSet;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::{Fitted, Ledger};

use super::Seen;
use super::life::{HEADS, SOUND_BREAKS, count, scenario};
use shaftbook_world::scenario::{FailureKind, PerNeedle, Scenario, Sensor, SensorFailure};
use shaftbook_world::settings_file::NeedleWiring;
use shaftbook_world::sewing::random::Random;

/// Days of life before today.
const LIFE_DAYS: u32 = 10;
/// The same where signals are disturbed: those cost six times as much to simulate.
const NOISY_LIFE_DAYS: u32 = 2;
/// Stream of the random draws.
const STREAM: u64 = 77;

/// One row: a machine with one thing planted, or none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HintRow {
    /// Nothing; every needle breaks thread alike.
    Sound,
    /// Nothing, but the threads differ: 5 to 15 breaks in 100,000 stitches.
    SoundThreadsDiffer,
    /// Nothing; the shaft sensor bounces at every edge.
    SoundBounce,
    /// One needle breaks this many times as often, today.
    NeedleToday(u8),
    /// One needle breaks this many times as often, all its life.
    NeedleEver(u8),
    /// All needles break this many times as often, today.
    HookToday(u8),
    /// Trims since cleaning are a fifth over the limit.
    Dirty,
    /// Trims since the knife was replaced are a fifth over the limit; it was cleaned.
    Knife,
    /// The needle's code lines are stuck at needle 1 all its life.
    CodeStuckEver,
    /// The same, today only.
    CodeStuckToday,
    /// No needle code is ever read today.
    CodeDeadToday,
    /// The needle potentiometer is dead today.
    LevelDeadToday,
    /// Spikes at this share of the pulses, %, today.
    SpikesToday(u8),
    /// The same on a sensor that bounces at every edge.
    SpikesAndBounceToday(u8),
}

impl HintRow {
    /// All of them, in the order of the table.
    pub const ALL: [Self; 21] = [
        Self::Sound,
        Self::SoundThreadsDiffer,
        Self::SoundBounce,
        Self::NeedleToday(3),
        Self::NeedleToday(5),
        Self::NeedleToday(10),
        Self::NeedleEver(3),
        Self::NeedleEver(5),
        Self::NeedleEver(10),
        Self::HookToday(2),
        Self::HookToday(3),
        Self::HookToday(5),
        Self::Dirty,
        Self::Knife,
        Self::CodeStuckEver,
        Self::CodeStuckToday,
        Self::CodeDeadToday,
        Self::LevelDeadToday,
        Self::SpikesToday(3),
        Self::SpikesAndBounceToday(50),
        Self::SpikesAndBounceToday(100),
    ];

    /// What is planted, in a few words.
    #[must_use]
    pub const fn planted(self) -> &'static str {
        match self {
            Self::Sound => "nothing",
            Self::SoundThreadsDiffer => "nothing; threads differ, 5 to 15 breaks in 100,000",
            Self::SoundBounce => "nothing; the shaft sensor bounces at every edge",
            Self::NeedleToday(3) => "one needle, 3 times the breaks, today",
            Self::NeedleToday(5) => "one needle, 5 times the breaks, today",
            Self::NeedleToday(_) => "one needle, 10 times the breaks, today",
            Self::NeedleEver(3) => "one needle, 3 times the breaks, for 11 days",
            Self::NeedleEver(5) => "one needle, 5 times the breaks, for 11 days",
            Self::NeedleEver(_) => "one needle, 10 times the breaks, for 11 days",
            Self::HookToday(2) => "all needles, 2 times the breaks, today",
            Self::HookToday(3) => "all needles, 3 times the breaks, today",
            Self::HookToday(_) => "all needles, 5 times the breaks, today",
            Self::Dirty => "trimmer not cleaned: trims a fifth over its limit",
            Self::Knife => "knife: trims a fifth over its limit, cleaned",
            Self::CodeStuckEver => "needle code lines stuck at needle 1 for 11 days",
            Self::CodeStuckToday => "needle code lines stuck at needle 1, today",
            Self::CodeDeadToday => "needle code lines never read, today",
            Self::LevelDeadToday => "needle potentiometer dead, today",
            Self::SpikesToday(_) => "clean shaft sensor, spikes at 3 % of pulses, today",
            Self::SpikesAndBounceToday(50) => {
                "bouncing shaft sensor, spikes at 50 % of pulses, today"
            }
            Self::SpikesAndBounceToday(_) => {
                "bouncing shaft sensor, spikes at 100 % of pulses, today"
            }
        }
    }

    /// The right finding's name; none on a sound machine.
    #[must_use]
    pub const fn right(self) -> Option<&'static str> {
        Some(match self {
            Self::Sound | Self::SoundThreadsDiffer | Self::SoundBounce => return None,
            Self::NeedleToday(_) | Self::NeedleEver(_) => "that needle's thread breaks",
            Self::HookToday(_) => "breaks on all needles",
            Self::Dirty => "trimmer to be cleaned",
            Self::Knife => "knife",
            Self::CodeStuckEver
            | Self::CodeStuckToday
            | Self::CodeDeadToday
            | Self::LevelDeadToday => "needle wiring",
            Self::SpikesToday(_) | Self::SpikesAndBounceToday(_) => "shaft wiring",
        })
    }

    /// Whether the stated error rates are for this row: they assume that needles break
    /// thread alike where nothing is wrong.
    #[must_use]
    pub const fn is_judged(self) -> bool {
        matches!(self, Self::Sound | Self::SoundBounce)
    }

    fn is_right(self, finding: Finding, needle: Needle) -> bool {
        match self {
            Self::Sound | Self::SoundThreadsDiffer | Self::SoundBounce => false,
            Self::NeedleToday(_) | Self::NeedleEver(_) => finding == Finding::NeedleBreaks(needle),
            Self::HookToday(_) => finding == Finding::BreaksEverywhere,
            Self::Dirty => finding == Finding::TrimmerDirty,
            Self::Knife => finding == Finding::KnifeWorn,
            Self::CodeStuckEver
            | Self::CodeStuckToday
            | Self::CodeDeadToday
            | Self::LevelDeadToday => finding == Finding::NoNeedleChange,
            Self::SpikesToday(_) | Self::SpikesAndBounceToday(_) => {
                finding == Finding::ShaftGlitches
            }
        }
    }
}

/// One machine in every row, in the order of [`HintRow::ALL`].
pub fn one_machine(seed: u64, run: u64) -> Vec<Seen> {
    let seed = seed.wrapping_mul(1_000_003).wrapping_add(run);
    let mut random = Random::new(seed, STREAM);
    let head = HEADS[(run % 3) as usize];
    let needle = Needle::new(1 + random.below(head.into()) as u8).unwrap_or_else(|| unreachable!());
    let sound = scenario(head);
    let differ = with_breaks(&sound, |_| 5.0 + f64::from(random.below(1_001)) / 100.0);
    let bounce = bouncing(&sound);
    // Each life and each day has its own seed, so that rows do not share luck.
    let sew = |scenario: &Scenario, days, part: u64| count(scenario, days, seed ^ (part << 40));
    let sound_life = sew(&sound, LIFE_DAYS, 1);
    let noisy_life = sew(&bounce, NOISY_LIFE_DAYS, 2);
    let one = HintRow::ALL.into_iter().zip(3_u64..).map(|(row, part)| {
        let (today, life) = match row {
            HintRow::Sound | HintRow::Dirty | HintRow::Knife => (sound.clone(), sound_life),
            HintRow::SoundThreadsDiffer => (differ.clone(), sew(&differ, LIFE_DAYS, part + 100)),
            HintRow::SoundBounce => (bounce.clone(), noisy_life),
            HintRow::NeedleToday(times) => (one_needle(&sound, needle, times), sound_life),
            HintRow::NeedleEver(times) => {
                let faulty = one_needle(&sound, needle, times);
                let life = sew(&faulty, LIFE_DAYS, part + 100);
                (faulty, life)
            }
            HintRow::HookToday(times) => {
                (with_breaks(&sound, |_| SOUND_BREAKS * f64::from(times)), sound_life)
            }
            HintRow::CodeStuckEver => {
                let life = sew(&needle_stuck(&sound), LIFE_DAYS, part + 100);
                (needle_stuck(&sound), life)
            }
            HintRow::CodeStuckToday => (needle_stuck(&sound), sound_life),
            HintRow::CodeDeadToday => (needle_dead(&sound, NeedleWiring::Code), sound_life),
            HintRow::LevelDeadToday => (needle_dead(&sound, NeedleWiring::Level), sound_life),
            HintRow::SpikesToday(percent) => (spiked(&sound, percent), sound_life),
            HintRow::SpikesAndBounceToday(percent) => (spiked(&bounce, percent), noisy_life),
        };
        let session = sew(&today, 1, part);
        let hints = hints(row, &today, &session, &life.plus(&session));
        seen(row, needle, &hints)
    });
    one.collect()
}

fn seen(row: HintRow, needle: Needle, hints: &[Hint]) -> Seen {
    let surest = |is_right: bool| -> Option<Certainty> {
        let of_kind = hints.iter().filter(|hint| row.is_right(hint.finding, needle) == is_right);
        of_kind.map(|hint| hint.certainty).max()
    };
    Seen { right: surest(true), wrong: surest(false) }
}

/// What `look` says of the counters on a board with a trimmer to be cleaned and a knife.
fn hints(row: HintRow, today: &Scenario, session: &Counters, lifetime: &Counters) -> Vec<Hint> {
    let mut ledger = Ledger::new(today.settings(), Key::new([0; KEY_BYTES]));
    // A limit a fifth below the trims counted, or a fifth above them.
    let limit = |passed: bool| {
        let trims = lifetime.trims as u32;
        if passed { trims - trims / 6 } else { trims + trims / 5 }
    };
    let passed = [
        (ComponentKind::TRIMMER_CLEANING, row == HintRow::Dirty),
        (ComponentKind::FIXED_KNIFE, matches!(row, HintRow::Dirty | HintRow::Knife)),
    ];
    for (kind, passed) in passed {
        let due = limit(passed);
        let component = Component {
            kind,
            measure: Measure::Trims,
            renewed_by: Role::Operator,
            with_service: false,
            notice: due,
            due,
        };
        let _ = ledger.components.push(Fitted { component, baseline: 0 });
    }
    let machine: Machine = Machine {
        id: BoardId(1),
        lifetime: Some(*lifetime),
        session: *session,
        ledger: &ledger,
        faults: FaultSet::default(),
        day: None,
        hints: &[],
        rules: PhantomData,
    };
    look(&machine).to_vec()
}

fn with_breaks(sound: &Scenario, mut breaks: impl FnMut(usize) -> f64) -> Scenario {
    let mut changed = sound.clone();
    let each = (0..usize::from(sound.machine.needles)).map(&mut breaks).collect();
    changed.machine.breaks_per_100k = PerNeedle::Each(each);
    changed
}

fn one_needle(sound: &Scenario, needle: Needle, times: u8) -> Scenario {
    with_breaks(sound, |index| {
        if index == needle.index() { SOUND_BREAKS * f64::from(times) } else { SOUND_BREAKS }
    })
}

fn bouncing(sound: &Scenario) -> Scenario {
    let mut changed = sound.clone();
    changed.faults.shaft_bounce_us = 15;
    changed.faults.contact_bounce_us = 3_000;
    changed
}

fn spiked(machine: &Scenario, percent: u8) -> Scenario {
    let mut changed = machine.clone();
    changed.faults.glitch_probability = f64::from(percent) / 100.0;
    changed.faults.glitch_us = 20;
    changed
}

/// What the board sees when the code lines always read as needle 1's.
fn needle_stuck(sound: &Scenario) -> Scenario {
    let mut changed = sound.clone();
    for block in changed.designs.iter_mut().flat_map(|design| &mut design.blocks) {
        block.needle = 1;
    }
    changed
}

fn needle_dead(sound: &Scenario, wiring: NeedleWiring) -> Scenario {
    let mut changed = sound.clone();
    changed.machine.needle_signal = wiring;
    changed.faults.failures.push(SensorFailure {
        sensor: Sensor::Needle,
        kind: FailureKind::Dead,
        from_h: 0.0,
        to_h: None,
        miss_probability: 0.0,
    });
    changed
}
