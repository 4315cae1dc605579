//! A scenario: everything a synthetic sewing session is made from, as a TOML file.
//!
//! The schema, with every key, unit, range and default, is `docs/SCENARIOS.md`;
//! the types here are that schema. A [`Scenario`] that came out of
//! [`Scenario::parse`] has passed every check of [`check`], so the generator
//! needs no error path.

pub mod check;
pub mod clock;

use std::path::Path;

use serde::Deserialize;
use shaftbook_core::medium::Geometry;
use shaftbook_core::settings::{NeedleSource, Settings};

use crate::checked_file;
use crate::input_error::InputError;
use crate::settings_file::BoardTable;
use clock::TimeOfDay;

/// A whole scenario.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// Name of the shop or machine; invented.
    pub name: String,
    /// What the scenario is for, in a sentence.
    #[serde(default)]
    pub description: String,
    /// Seed of everything random in it.
    pub seed: u64,
    /// The board's settings; what is left out follows the machine or the default.
    #[serde(default)]
    pub board: BoardTable,
    /// The memory part.
    #[serde(default)]
    pub part: ScenarioPart,
    /// When the shop works.
    pub hours: Hours,
    /// The machine.
    pub machine: ScenarioMachine,
    /// What is sewn, in turn, again and again.
    pub designs: Vec<Design>,
    /// How the supply goes off.
    #[serde(default)]
    pub power: Power,
    /// What the signals suffer on their way to the board.
    #[serde(default)]
    pub faults: Faults,
}

/// Kind of memory part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PartKindName {
    /// Pages and a program time.
    Eeprom,
    /// No pages to wait for, no program time.
    Fram,
}

/// The memory part. Default: the reference EEPROM.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ScenarioPart {
    /// EEPROM or FRAM.
    pub kind: PartKindName,
    /// Capacity, bytes, 8,192 to 65,536.
    pub size_bytes: u32,
    /// Page, bytes, 16 to 256, a power of two; at most a 64th of the capacity.
    pub page_bytes: u16,
    /// Program time of one page, µs, 0 to 20,000 (an FRAM's is taken as 0).
    pub program_us: u32,
}

impl Default for ScenarioPart {
    fn default() -> Self {
        Self { kind: PartKindName::Eeprom, size_bytes: 32_768, page_bytes: 64, program_us: 5_000 }
    }
}

impl ScenarioPart {
    /// The part's shape as the store sees it.
    #[must_use]
    pub const fn geometry(&self) -> Geometry {
        Geometry { size_bytes: self.size_bytes, page_bytes: self.page_bytes }
    }
}

/// When the shop works.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hours {
    /// Working days simulated, 1 to 10,000.
    pub working_days: u32,
    /// Working days in a week, 1 to 7.
    #[serde(default = "five")]
    pub days_per_week: u32,
    /// Shifts of a day, in order, 1 to 8. The machine is on from the start to the
    /// end of each; two that touch are one spell of power.
    pub shifts: Vec<Shift>,
}

/// One shift.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shift {
    /// Machine switched on.
    pub start: TimeOfDay,
    /// Machine switched off.
    pub end: TimeOfDay,
    /// Times at which nobody sews, though the machine stays on.
    #[serde(default)]
    pub pauses: Vec<Pause>,
}

/// A pause.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pause {
    /// No new run is begun from here on.
    pub start: TimeOfDay,
    /// Sewing goes on.
    pub end: TimeOfDay,
}

/// The machine.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ScenarioMachine {
    /// Needles on the head, 1 to 16.
    pub needles: u8,
    /// Cruising speed, stitches/min, 60 to 2,000.
    pub stitches_per_min: u32,
    /// Speed of the first and last stitch of a run, stitches/min, 60 to 2,000.
    pub start_stitches_per_min: u32,
    /// Stitches from standing to cruising speed and back, 0 to 100.
    pub ramp_stitches: u32,
    /// Largest deviation of one pulse gap, % of the gap, 0 to 20.
    pub jitter_percent: f64,
    /// Pulses of the shaft sensor per revolution, 1 to 64.
    pub pulses_per_revolution: u8,
    /// How the needle position leaves the machine.
    pub needle_signal: crate::settings_file::NeedleWiring,
    /// Time between two readings of the needle-position voltage, ms, 10 to 60,000.
    pub level_reading_ms: u32,
    /// Whether the jump input is wired. When it is not, a jump counts as a stitch,
    /// in the truth too.
    pub jump_wired: bool,
    /// Whether the thread-break input is wired. When it is not, breaks are not
    /// counted, in the truth neither.
    pub break_wired: bool,
    /// Standing time around a trim, ms, 300 to 60,000.
    pub trim_ms: u32,
    /// Time to move by one needle position, ms, 20 to 10,000.
    pub needle_step_ms: u32,
    /// Standing time at a thread break, s, 1 to 3,600.
    pub rethread_s: u32,
    /// Time to change the frame after a piece, s, 1 to 7,200.
    pub frame_change_s: u32,
    /// Idle time between two pieces, on average, s, 0 to 28,800.
    pub idle_s: u32,
    /// Thread breaks in 100,000 stitches: one figure for every needle, or one a
    /// needle; each 0 to 10,000.
    pub breaks_per_100k: PerNeedle,
}

impl Default for ScenarioMachine {
    fn default() -> Self {
        Self {
            needles: 15,
            stitches_per_min: 850,
            start_stitches_per_min: 250,
            ramp_stitches: 6,
            jitter_percent: 2.0,
            pulses_per_revolution: 1,
            needle_signal: crate::settings_file::NeedleWiring::Code,
            level_reading_ms: 500,
            jump_wired: true,
            break_wired: true,
            trim_ms: 1_500,
            needle_step_ms: 150,
            rethread_s: 45,
            frame_change_s: 60,
            idle_s: 0,
            breaks_per_100k: PerNeedle::Same(10.0),
        }
    }
}

/// One figure for all needles, or one for each.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(untagged)]
pub enum PerNeedle {
    /// The same for every needle.
    Same(f64),
    /// Needle 1 first.
    Each(Vec<f64>),
}

impl PerNeedle {
    /// The figure of the needle with index `index` (0 is needle 1).
    #[must_use]
    pub fn at(&self, index: usize) -> f64 {
        match self {
            Self::Same(value) => *value,
            Self::Each(values) => values.get(index).copied().unwrap_or(0.0),
        }
    }
}

/// A design: colour blocks sewn one after the other into one piece.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Design {
    /// Its name; invented.
    pub name: String,
    /// Pieces sewn before the next design is taken, 1 to 10,000.
    #[serde(default = "one")]
    pub pieces: u32,
    /// Colour blocks, 1 to 200.
    pub blocks: Vec<Block>,
}

/// A colour block.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Block {
    /// Needle, 1 to the machine's needles.
    pub needle: u8,
    /// Stitches, 1 to 1,000,000.
    pub stitches: u32,
    /// Jumps, 0 to 100,000, spread over the runs between trims.
    #[serde(default)]
    pub jumps: u32,
    /// Trims, 1 to 10,000; each ends a run, the last one ends the block.
    #[serde(default = "one")]
    pub trims: u32,
}

/// How the supply goes off.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Power {
    /// Whether the power-fail warning is wired. Without it every off is a cut
    /// without warning.
    pub warning: bool,
    /// Hold-up: time from the warning to the cut, ms, 0 to 5,000.
    pub hold_up_ms: u32,
    /// Whether the end of a shift cuts in the middle of sewing; else the run is
    /// finished and the machine stands for 3 s.
    pub off_while_sewing: bool,
    /// Further wall-switch offs in a shift, on average, 0 to 100, at any moment.
    pub extra_offs_per_shift: f64,
    /// How long such an off lasts, s, 1 to 3,600.
    pub off_for_s: u32,
}

impl Default for Power {
    fn default() -> Self {
        Self {
            warning: false,
            hold_up_ms: 0,
            off_while_sewing: false,
            extra_offs_per_shift: 0.0,
            off_for_s: 60,
        }
    }
}

/// What the signals suffer. None of it alters the truth.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Faults {
    /// Contacts (trim, break, jump) bounce for up to this long, µs, 0 to 5,000.
    pub contact_bounce_us: u32,
    /// The shaft sensor's edges bounce for up to this long, µs, 0 to 5,000.
    pub shaft_bounce_us: u32,
    /// Share of shaft pulses that never reach the board, 0 to 1.
    pub missed_pulse_probability: f64,
    /// Short spikes on the shaft line, per pulse, 0 to 1.
    pub glitch_probability: f64,
    /// Length of a spike, µs, 1 to 10,000.
    #[serde(default = "spike")]
    pub glitch_us: u32,
    /// Extra pulses as long as a real one, half-way between two, per pulse, 0 to 1.
    pub extra_pulse_probability: f64,
    /// Largest noise on a reading of the needle-position voltage, mV, 0 to 1,000.
    pub needle_noise_mv: u16,
    /// The needle code lines change one after the other within this time, µs,
    /// 0 to 15,000.
    pub needle_skew_us: u32,
    /// Sensors that fail, at most 32.
    pub failures: Vec<SensorFailure>,
}

/// A sensor that fails for a time.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorFailure {
    /// Which one.
    pub sensor: Sensor,
    /// How.
    pub kind: FailureKind,
    /// From this hour after midnight of the first day, h, at least 0.
    pub from_h: f64,
    /// Until this hour; to the end when left out.
    #[serde(default)]
    pub to_h: Option<f64>,
    /// For `flaky`: share of pulses or actuations that are missed, 0 to 1.
    #[serde(default = "half")]
    pub miss_probability: f64,
}

/// A sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sensor {
    /// Main shaft.
    Shaft,
    /// Thread trimmer.
    Trim,
    /// Needle position, code lines or voltage.
    Needle,
    /// Thread break.
    Break,
    /// Jump.
    Jump,
}

/// How a sensor fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FailureKind {
    /// Says nothing: at rest, 0 mV, every code line at rest.
    Dead,
    /// Misses some pulses or actuations (not for the needle position).
    Flaky,
}

fn five() -> u32 {
    5
}

fn one() -> u32 {
    1
}

fn spike() -> u32 {
    20
}

fn half() -> f64 {
    0.5
}

impl Scenario {
    /// Reads and checks the scenario file at `path`.
    ///
    /// # Errors
    /// An [`InputError`] that names file, line and column.
    pub fn load(path: &Path) -> Result<Self, InputError> {
        let (name, text) = checked_file::read(path)?;
        Self::parse(&name, &text)
    }

    /// Reads and checks a scenario from its text; `name` is used in errors.
    ///
    /// # Errors
    /// An [`InputError`] that names file, line and column.
    pub fn parse(name: &str, text: &str) -> Result<Self, InputError> {
        checked_file::parse(name, text, |scenario| {
            check::check(scenario).map_err(|wrong| (wrong.key, wrong.what))
        })
    }

    /// The board's settings: its own keys, else what the machine needs, else the
    /// default.
    #[must_use]
    pub fn settings(&self) -> Settings {
        let machine = Settings {
            pulses_per_revolution: self.machine.pulses_per_revolution,
            needles: self.machine.needles,
            needle_source: NeedleSource::from(self.machine.needle_signal),
            needle_level_mv: std::array::from_fn(default_level_mv),
            ..Settings::default()
        };
        self.board.over(machine)
    }
}

/// Level of needle index `index` unless the scenario says otherwise, mV: 250 mV
/// apart, needle 1 at 500 mV, needle 16 at 4,250 mV of a 5 V potentiometer
/// (our own choice).
fn default_level_mv(index: usize) -> u16 {
    500 + 250 * index as u16
}
