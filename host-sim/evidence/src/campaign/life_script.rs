//! A life as a list of what happens in it. Written to a file, it is a regression that replays.
//!
//! Days are working days, counted from 0; five of them are a week. A life has one fitting after
//! the other, each for whole weeks, the last for the rest of its days.
//!
//! Invariant: a life that passed [`LifeScript::check`] can be lived, and decides everything.

use heapless::Vec as Room;
use serde::{Deserialize, Serialize};
use shaftbook_core::authority::{KEY_BYTES, Key};
use shaftbook_core::board::Fitting;
use shaftbook_core::component::{COMPONENTS_MAX, Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::Needle;
use shaftbook_core::ledger::CarriedIn;
use shaftbook_core::settings::Settings;
use shaftbook_drivers::memory::{PartKind, WiredPart};

use crate::campaign::deed::Deed;
use crate::campaign::part_shape::PartShape;
use crate::campaign::shop::PlanBlock;
use shaftbook_world::bus::{BadTear, Tear};
use shaftbook_world::scenario::clock::TimeOfDay;
use shaftbook_world::scenario::{
    Block, Design, FailureKind, Faults, Hours, PartKindName, PerNeedle, Power, Scenario,
    ScenarioMachine, ScenarioPart, Sensor, SensorFailure, Shift,
};
use shaftbook_world::settings_file::{BoardTable, NeedleWiring};

/// Working days of a week.
pub const WEEK_DAYS: u32 = 5;
/// Most working days of a life.
const DAYS_MAX: u32 = 10_000;
/// The board's key.
pub const KEY: [u8; KEY_BYTES] = [0x4C; KEY_BYTES];

/// A whole life.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LifeScript {
    /// Seed of signals, program times and tears.
    pub seed: u64,
    /// Number of the ring's first lap, 0 to 2^21 − 1.
    pub lap: u32,
    /// Calendar day number of its first day.
    pub first_day: u16,
    /// The memory part.
    #[serde(default)]
    pub part: PartShape,
    /// Shifts of a working day: first and last minute of each, from midnight.
    pub shifts: Vec<[u32; 2]>,
    /// Designs: their colour blocks, sewn in turn.
    pub designs: Vec<Vec<PlanBlock>>,
    /// Fittings, in order.
    pub fitting: Vec<LifeFitting>,
    /// What is dated, in order of day and time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub date: Vec<Dated>,
}

/// A fitting, and the machine as it then is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LifeFitting {
    /// Working days that it lasts; a multiple of five, but for the last.
    pub days: u32,
    /// Needles, 1 to 16.
    pub needles: u8,
    /// The needle position comes as a voltage; else by code lines.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub by_voltage: bool,
    /// Cruising speed, stitches/min.
    pub stitches_per_min: u32,
    /// Pulses of the shaft sensor per revolution, 1 to 64.
    pub pulses_per_revolution: u8,
    /// The shaft sensor's edges bounce up to so long, µs.
    pub shaft_bounce_us: u32,
    /// Shaft debounce time, µs.
    pub shaft_debounce_us: u16,
    /// Contacts bounce up to so long, µs.
    pub contact_bounce_us: u32,
    /// Contact debounce time, µs.
    pub contact_debounce_us: u16,
    /// Run gap, ms.
    pub run_gap_ms: u16,
    /// Most running time between checkpoints, s.
    pub checkpoint_running_s: u8,
    /// Most trims between checkpoints.
    pub checkpoint_trims: u8,
    /// Most powered time between checkpoints, s.
    pub checkpoint_powered_s: u16,
    /// Service interval, h.
    pub service_interval_h: u16,
    /// Hold-up after a power-fail warning, ms; no warning is wired when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold_up_ms: Option<u32>,
    /// Shifts end in the middle of sewing.
    pub off_while_sewing: bool,
    /// Further offs in 1,000 shifts, on average.
    pub offs_per_1000_shifts: u32,
    /// Standing time between two pieces, s.
    pub frame_change_s: u32,
    /// Thread breaks in 1,000,000 stitches.
    pub breaks_per_million: u32,
    /// Spikes on the shaft line in 1,000,000 pulses.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub glitches_per_million: u32,
    /// Shaft pulses that are missed in 1,000,000.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub missed_per_million: u32,
    /// False shaft pulses in 1,000,000.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub extra_per_million: u32,
    /// The supply goes after so many bus bytes from the command that makes it; then it is made
    /// again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut_after_bytes: Option<u64>,
    /// Sensors that fail.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub failure: Vec<LifeFailure>,
    /// The profile.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub component: Vec<LifeComponent>,
}

/// A sensor that fails from the start of a day to the start of another of its fitting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LifeFailure {
    /// Which.
    pub sensor: FailingSensor,
    /// Actuations or pulses missed, of 1,000; all of them when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub misses_per_1000: Option<u32>,
    /// From this day of the fitting.
    pub from_day: u32,
    /// Until this day.
    pub to_day: u32,
}

/// A sensor of the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FailingSensor {
    /// Main shaft.
    Shaft,
    /// Thread trimmer.
    Trim,
    /// Needle position.
    Needle,
    /// Thread break.
    Break,
    /// Jump.
    Jump,
}

/// A component of the profile.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LifeComponent {
    /// Number of its kind, as in `docs/FORMAT.md`.
    pub kind: u8,
    /// Number of its measure, as there.
    pub measure: u8,
    /// Only the engineer may renew it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub engineer: bool,
    /// A service renews it too.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub with_service: bool,
    /// Due limit.
    pub due: u32,
}

/// Something that comes on a day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dated {
    /// Working day of the life, from 0.
    pub day: u32,
    /// So long after midnight, s.
    pub at_s: u32,
    /// What.
    #[serde(flatten)]
    pub what: What,
}

/// What comes on a day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum What {
    /// A fault of supply, bus or part.
    Fault(Deed),
    /// A person asks for something.
    Ask(Ask),
}

/// What a person does.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Ask {
    /// The operator renews what he may of these, while the machine works.
    Renew {
        /// A bit for each place.
        components: u32,
    },
    /// The engineer renews these on a visit before work.
    RenewByReply {
        /// A bit for each place.
        components: u32,
        /// The supply goes after so many bus bytes from the command.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cut_after_bytes: Option<u64>,
    },
    /// A service on a visit before work.
    Service {
        /// As for a renewal.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cut_after_bytes: Option<u64>,
    },
    /// Wrong replies on a visit before work, each to a challenge for a service.
    WrongReplies {
        /// How many, 1 to 5.
        times: u32,
    },
    /// Commands of the engineer's without a reply, on a visit before work.
    NoReply,
    /// The clock is set by so many days, from this day on; 0: it is right again.
    Clock {
        /// Days, positive or negative.
        by_days: i32,
    },
    /// The clock's battery is empty from this day on, until it is set again.
    ClockStops,
}

impl Ask {
    /// Whether it is done on a visit before work.
    #[must_use]
    pub const fn is_visit(&self) -> bool {
        matches!(
            self,
            Self::RenewByReply { .. }
                | Self::Service { .. }
                | Self::WrongReplies { .. }
                | Self::NoReply
        )
    }
}

// Serde asks for a reference.
#[allow(clippy::trivially_copy_pass_by_ref)]
const fn is_zero(number: &u32) -> bool {
    *number == 0
}

/// A share of a million as a probability.
fn share(per_million: u32) -> f64 {
    f64::from(per_million) / 1e6
}

fn time(minutes: u32) -> TimeOfDay {
    let text = format!("{:02}:{:02}", minutes / 60, minutes % 60);
    TimeOfDay::parse(&text).unwrap_or_else(|| unreachable!("checked: at most 24:00"))
}

impl LifeFitting {
    /// The machine and its shop for so many working days, as a scenario.
    ///
    /// # Panics
    /// When the life was not checked.
    #[must_use]
    pub fn scenario(&self, life: &LifeScript) -> Scenario {
        let needles = self.needles.min(16);
        let block = |block: &PlanBlock| Block {
            needle: (block.needle.max(1) - 1) % needles.max(1) + 1,
            stitches: block.stitches,
            jumps: block.jumps,
            trims: block.trims,
        };
        let designs = life.designs.iter().enumerate().map(|(n, blocks)| Design {
            name: format!("design {n}"),
            pieces: 1 + n as u32 % 3,
            blocks: blocks.iter().map(block).collect(),
        });
        Scenario {
            name: "a life".into(),
            description: String::new(),
            seed: life.seed,
            board: BoardTable {
                shaft_debounce_us: Some(self.shaft_debounce_us),
                contact_debounce_us: Some(self.contact_debounce_us),
                run_gap_ms: Some(self.run_gap_ms),
                checkpoint_running_s: Some(self.checkpoint_running_s),
                checkpoint_trims: Some(self.checkpoint_trims),
                checkpoint_powered_s: Some(self.checkpoint_powered_s),
                service_interval_h: Some(self.service_interval_h),
                ..BoardTable::default()
            },
            part: life.part.scenario(),
            hours: Hours {
                working_days: self.days,
                days_per_week: WEEK_DAYS,
                shifts: life
                    .shifts
                    .iter()
                    .map(|[from, to]| Shift {
                        start: time(*from),
                        end: time(*to),
                        pauses: Vec::new(),
                    })
                    .collect(),
            },
            machine: ScenarioMachine {
                needles,
                stitches_per_min: self.stitches_per_min,
                pulses_per_revolution: self.pulses_per_revolution,
                needle_signal: if self.by_voltage {
                    NeedleWiring::Level
                } else {
                    NeedleWiring::Code
                },
                level_reading_ms: 5_000,
                frame_change_s: self.frame_change_s,
                breaks_per_100k: PerNeedle::Same(f64::from(self.breaks_per_million) / 10.0),
                ..ScenarioMachine::default()
            },
            designs: designs.collect(),
            power: Power {
                warning: self.hold_up_ms.is_some(),
                hold_up_ms: self.hold_up_ms.unwrap_or(0),
                off_while_sewing: self.off_while_sewing,
                extra_offs_per_shift: f64::from(self.offs_per_1000_shifts) / 1_000.0,
                off_for_s: 60,
            },
            faults: Faults {
                contact_bounce_us: self.contact_bounce_us,
                shaft_bounce_us: self.shaft_bounce_us,
                missed_pulse_probability: share(self.missed_per_million),
                glitch_probability: share(self.glitches_per_million),
                glitch_us: u32::from(self.shaft_debounce_us) * 2 / 5,
                extra_pulse_probability: share(self.extra_per_million),
                needle_noise_mv: if self.by_voltage { 20 } else { 0 },
                needle_skew_us: if self.by_voltage { 0 } else { 300 },
                failures: self.failure.iter().map(LifeFailure::scenario).collect(),
            },
        }
    }

    /// The fitting of the board.
    #[must_use]
    pub fn board(&self, settings: Settings) -> Fitting {
        let components: Room<Component, COMPONENTS_MAX> =
            self.component.iter().filter_map(|component| component.board()).collect();
        Fitting { settings, components, carried_in: CarriedIn::default(), key: Key::new(KEY) }
    }
}

impl LifeFailure {
    fn scenario(&self) -> SensorFailure {
        let hour = |day: u32| f64::from((day / WEEK_DAYS * 7 + day % WEEK_DAYS) * 24);
        SensorFailure {
            sensor: match self.sensor {
                FailingSensor::Shaft => Sensor::Shaft,
                FailingSensor::Trim => Sensor::Trim,
                FailingSensor::Needle => Sensor::Needle,
                FailingSensor::Break => Sensor::Break,
                FailingSensor::Jump => Sensor::Jump,
            },
            kind: match self.misses_per_1000 {
                Some(_) => FailureKind::Flaky,
                None => FailureKind::Dead,
            },
            from_h: hour(self.from_day),
            to_h: Some(hour(self.to_day)),
            miss_probability: f64::from(self.misses_per_1000.unwrap_or(0).min(1_000)) / 1_000.0,
        }
    }
}

impl LifeComponent {
    fn board(self) -> Option<Component> {
        Some(Component {
            kind: ComponentKind(self.kind),
            measure: Measure::from_code(self.measure)?,
            renewed_by: if self.engineer { Role::Engineer } else { Role::Operator },
            with_service: self.with_service,
            notice: self.due - self.due / 10,
            due: self.due,
        })
    }
}

/// The number of what wears by the stitches of needle `number`, 1 to 16.
#[must_use]
pub fn needle_measure(number: u8) -> u8 {
    Needle::new(number).map_or(Measure::Stitches.code(), |n| Measure::NeedleStitches(n).code())
}

impl PartShape {
    /// The part of a scenario.
    #[must_use]
    pub fn scenario(&self) -> ScenarioPart {
        ScenarioPart {
            kind: if self.fram { PartKindName::Fram } else { PartKindName::Eeprom },
            size_bytes: self.size_bytes,
            page_bytes: self.page_bytes,
            program_us: if self.fram { 0 } else { 5_000 },
        }
    }

    /// The shape of `wired`.
    #[must_use]
    pub fn of(wired: WiredPart) -> Self {
        let geometry = wired.geometry();
        Self {
            fram: wired.kind() == PartKind::Fram,
            size_bytes: geometry.size_bytes,
            page_bytes: geometry.page_bytes,
        }
    }
}

impl LifeScript {
    /// Working days.
    #[must_use]
    pub fn days(&self) -> u32 {
        self.fitting.iter().map(|fitting| fitting.days).sum()
    }

    /// Faults that are dated.
    #[must_use]
    pub fn faults(&self) -> usize {
        self.date.iter().filter(|dated| matches!(dated.what, What::Fault(_))).count()
    }

    /// Whether it can be lived: what is wrong, and at which key.
    ///
    /// # Errors
    /// The first thing wrong.
    pub fn check(&self) -> Result<(), (String, String)> {
        let wrong = |key: &str, what: String| Err((format!("life.{key}"), what));
        if self.part.wired().is_none() {
            return wrong("part", "no part that the board can use has this shape".into());
        }
        if self.shifts.iter().flatten().any(|minutes| *minutes > 24 * 60) {
            return wrong("shifts", "a day has 1,440 minutes".into());
        }
        if !(1..=DAYS_MAX).contains(&self.days()) {
            return wrong("fitting", format!("{} days are not 1 to {DAYS_MAX}", self.days()));
        }
        for (place, fitting) in self.fitting.iter().enumerate() {
            let key = format!("fitting[{place}]");
            let is_last = place + 1 == self.fitting.len();
            if fitting.days == 0 || (!is_last && !fitting.days.is_multiple_of(WEEK_DAYS)) {
                return wrong(&key, "lasts whole weeks, but for the last".into());
            }
            if fitting.failure.iter().any(|failure| failure.from_day >= failure.to_day) {
                return wrong(&key, "a sensor fails from a day to a later one".into());
            }
            if fitting.component.len() > COMPONENTS_MAX {
                return wrong(&key, format!("more than {COMPONENTS_MAX} components"));
            }
            if fitting.component.iter().any(|component| component.board().is_none()) {
                return wrong(&key, "a measure has no such number".into());
            }
            if let Err(bad) = shaftbook_world::scenario::check::check(&fitting.scenario(self)) {
                return wrong(&key, format!("{}: {}", bad.key, bad.what));
            }
        }
        for (place, dated) in self.date.iter().enumerate() {
            let key = format!("date[{place}]");
            if place > 0 && (self.date[place - 1].day, self.date[place - 1].at_s) > dated.key() {
                return wrong(&key, "dates stand in the order of day and time".into());
            }
            if dated.at_s >= 86_400 {
                return wrong(&key, "a day has 86,400 s".into());
            }
            let What::Fault(deed) = &dated.what else { continue };
            if deed.tears().any(|tear| tear.parse::<Tear>().is_err()) {
                return wrong(&key, BadTear.to_string());
            }
        }
        Ok(())
    }
}

impl Dated {
    /// Day and time.
    #[must_use]
    pub const fn key(&self) -> (u32, u32) {
        (self.day, self.at_s)
    }
}
