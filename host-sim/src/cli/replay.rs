//! `shaftbook replay`: runs a recorded capture through the board.

use std::fmt::Write as _;
use std::fs::File;
use std::io::BufReader;
use std::path::PathBuf;

use serde::Serialize;
use shaftbook_core::settings::{NeedleSource, Settings};

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, print};
use super::progress::bytes;
use shaftbook_tools::capture::read::{CaptureReader, Seen};
use shaftbook_tools::capture::signals::Names;
use shaftbook_tools::replay::{Replayed, replay};
use shaftbook_world::figures::{CounterFigures, grouped, hours};
use shaftbook_world::settings_file::{self, explain};

/// Replay a capture of a machine's signals (IEEE 1364 VCD) through the board and print
/// what it counts.
///
/// A signal is named as in the capture, by its name or its whole path with dots. An edge
/// is a change between known levels; unknown values (x, z) make none and are counted.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook replay tests/data/sigrok/incremental.vcd --shaft D4 --trim D7
  shaftbook replay tests/data/pyvcd/six_needle_session.vcd --shaft shaft_n --trim trim_n \\
      --active-low shaft_n,trim_n --needle code0,code1,code2,code3 --needles 6 \\
      --break break --jump jump
  shaftbook replay day.vcd --shaft shaft --trim trim --needle needle0,needle1,needle2,needle3 \\
      --break thread_break --jump jump --power-fail power_fail --power power --needles 6

The keys of the settings file are those of [board] in docs/SCENARIOS.md.")]
pub struct Args {
    /// Capture (VCD)
    capture: PathBuf,
    /// Main-shaft sensor
    #[arg(long, value_name = "NAME")]
    shaft: String,
    /// Thread trimmer
    #[arg(long, value_name = "NAME")]
    trim: Option<String>,
    /// Needle code: 1 to 4 lines, line 0 first, or one variable of up to 4 bits
    #[arg(long, value_name = "NAME,NAME,..", value_delimiter = ',')]
    needle: Vec<String>,
    /// Needle-position voltage, in mV (needs the levels in --settings)
    #[arg(long, value_name = "NAME", conflicts_with = "needle", requires = "settings")]
    needle_level: Option<String>,
    /// The needle-position voltage is in V
    #[arg(long, requires = "needle_level")]
    volts: bool,
    /// Thread break
    #[arg(long = "break", value_name = "NAME")]
    thread_break: Option<String>,
    /// Jump; without it a jump counts as a stitch
    #[arg(long, value_name = "NAME")]
    jump: Option<String>,
    /// Power-fail warning
    #[arg(long, value_name = "NAME")]
    power_fail: Option<String>,
    /// Supply of the board: 1 powered, 0 cut; without it, powered all the time
    #[arg(long, value_name = "NAME")]
    power: Option<String>,
    /// Signals that are active when low
    #[arg(long, value_name = "NAME,NAME,..", value_delimiter = ',')]
    active_low: Vec<String>,
    /// Pulses of the shaft sensor per revolution, 1 to 64
    #[arg(long, value_name = "N")]
    pulses_per_revolution: Option<u8>,
    /// Needles on the head, 1 to 16
    #[arg(long, value_name = "N")]
    needles: Option<u8>,
    /// Longest gap between pulses that counts as running, ms, 100 to 60,000
    #[arg(long, value_name = "MS")]
    run_gap_ms: Option<u16>,
    /// Board settings (TOML); the options above go over them
    #[arg(long, value_name = "FILE.toml")]
    settings: Option<PathBuf>,
    /// Seed of the memory part: its program times, and what a cut leaves
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Args {
    fn board_settings(&self) -> Result<Settings, Failure> {
        let base = match &self.settings {
            Some(path) => settings_file::load(path)?.over(Settings::default()),
            None => Settings::default(),
        };
        let needle_source = if self.needle_level.is_some() {
            NeedleSource::Level
        } else if self.needle.is_empty() {
            NeedleSource::NotWired
        } else {
            NeedleSource::Code
        };
        let settings = Settings {
            pulses_per_revolution: self.pulses_per_revolution.unwrap_or(base.pulses_per_revolution),
            needles: self.needles.unwrap_or(base.needles),
            run_gap_ms: self.run_gap_ms.unwrap_or(base.run_gap_ms),
            needle_source,
            ..base
        };
        settings.check().map_err(|error| Failure(format!("settings: {}", explain(error))))?;
        Ok(settings)
    }

    fn names(&self) -> Names {
        Names {
            shaft: self.shaft.clone(),
            trim: self.trim.clone(),
            needle: self.needle.clone(),
            needle_level: self.needle_level.clone(),
            level_in_volts: self.volts,
            thread_break: self.thread_break.clone(),
            jump: self.jump.clone(),
            power_fail: self.power_fail.clone(),
            power: self.power.clone(),
            active_low: self.active_low.clone(),
        }
    }
}

/// Does it.
///
/// # Errors
/// A bad capture, name or setting.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let settings = args.board_settings()?;
    let file = File::open(&args.capture).map_err(|e| Failure::file(&args.capture, &e))?;
    let length = file.metadata().map_or(0, |metadata| metadata.len());
    let progress = bytes(length, "replaying");
    let reader = BufReader::new(progress.wrap_read(file));
    let name = args.capture.display().to_string();
    let mut capture = CaptureReader::open(&name, reader, &args.names(), &settings)?;
    let replayed = replay(&mut capture, |capture| capture.seen().end_us, settings, args.seed)?;
    progress.finish_and_clear();
    let report = Report::of(args, settings, &replayed, capture.seen());
    print(args.format, &report.text(args), &report)?;
    Ok(Verdict::Held)
}

/// The result for programs.
#[derive(Debug, Serialize)]
struct Report {
    capture: String,
    begin_us: u64,
    end_us: u64,
    unknown_values: u64,
    cuts: u32,
    counted: CounterFigures,
    lost_at_cuts: CounterFigures,
    faults: Vec<String>,
    notes: Vec<String>,
}

impl Report {
    fn of(args: &Args, settings: Settings, replayed: &Replayed, seen: Seen) -> Self {
        let mut notes = Vec::new();
        if args.jump.is_none() {
            notes.push("no jump signal: a jump counts as a stitch".to_owned());
        }
        if settings.needle_source == NeedleSource::NotWired {
            notes.push("no needle position: every stitch is unattributed".to_owned());
        }
        if seen.unknown_values > 0 {
            notes.push(format!("{} unknown values (x or z) were ignored", seen.unknown_values));
        }
        Self {
            capture: args.capture.display().to_string(),
            begin_us: seen.begin_us,
            end_us: seen.end_us,
            unknown_values: seen.unknown_values,
            cuts: replayed.cuts,
            counted: CounterFigures::of(&replayed.counted, settings.needles),
            lost_at_cuts: CounterFigures::of(&replayed.lost, settings.needles),
            faults: replayed.faults.iter().map(|fault| format!("{fault:?}")).collect(),
            notes,
        }
    }

    fn text(&self, args: &Args) -> String {
        let length_ms = (self.end_us - self.begin_us) / 1_000;
        let mut text = format!("{}: {} recorded\n\n", self.capture, hours(length_ms));
        let counted = &self.counted;
        let mut line = |name: &str, value: String| {
            let _ = writeln!(text, "{name:<38}{value:>15}");
        };
        line("stitches", grouped(counted.stitches));
        for (index, stitches) in counted.needle_stitches.iter().enumerate() {
            if *stitches > 0 {
                line(&format!("  needle {}", index + 1), grouped(*stitches));
            }
        }
        line("  unattributed", grouped(counted.unattributed_stitches));
        if args.jump.is_some() {
            line("jumps", grouped(counted.jumps));
        }
        if args.trim.is_some() {
            line("trims", grouped(counted.trims));
        }
        if args.thread_break.is_some() {
            line("thread breaks", grouped(counted.breaks));
        }
        line("running time, ms", grouped(counted.running_ms));
        line("powered time, ms", grouped(counted.powered_ms));
        line("power-ups", grouped(counted.power_ups));
        line("pulses rejected as glitch or bounce", grouped(counted.glitches));
        if self.cuts > 0 {
            line("stitches lost at cuts", grouped(self.lost_at_cuts.stitches));
        }
        for note in &self.notes {
            let _ = writeln!(text, "note: {note}");
        }
        for fault in &self.faults {
            let _ = writeln!(text, "fault shown: {fault}");
        }
        text
    }
}
