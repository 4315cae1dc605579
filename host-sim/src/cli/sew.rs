//! `shaftbook sew`: runs a scenario through the board, and compares what it counted with the
//! truth.

use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;

use serde::Serialize;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, WholeFile, print};
use super::progress::bar;
use shaftbook_core::board::Fitting;
use shaftbook_tools::capture::write::CaptureWriter;
use shaftbook_tools::sew::care::Care;
use shaftbook_tools::sew::compare::{ComparedRow, rows};
use shaftbook_tools::sew::run::{RunError, SewOutcome, Watch, run_fitted};
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::figures::{CounterFigures, grouped, hours};
use shaftbook_world::fitting::plain_fitting;
use shaftbook_world::profile::Profile;
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::distort::DistortTally;
use shaftbook_world::sewing::{SewingEvent, Timed};

/// Sew a scenario: simulate a machine and its board, and print what the board counted
/// beside what truly happened.
///
/// Exit code 1 if the board was ever above the truth, or lost more at a cut than the
/// stated bound.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook sew host-sim/scenarios/six-needle-shop.toml
  shaftbook sew host-sim/scenarios/hobby-machine.toml --seed 7 --format json
  shaftbook sew host-sim/scenarios/six-needle-shop.toml --days 1 --vcd day.vcd --image part.bin
  shaftbook sew host-sim/scenarios/six-needle-shop.toml --profile host-sim/profiles/six-needle.toml

The keys, units and ranges of the two files are in docs/SCENARIOS.md and docs/PROFILES.md.")]
pub struct Args {
    /// Scenario file (TOML)
    scenario: PathBuf,
    /// Seed of everything random, instead of the scenario's
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Simulate only N working days, whatever the scenario says
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=10_000))]
    days: Option<u32>,
    /// Write the simulated signals as a capture that `replay` reads (some 15 bytes an edge)
    #[arg(long, value_name = "OUT.vcd")]
    vcd: Option<PathBuf>,
    /// Write the bytes of the memory part after the last cut
    #[arg(long, value_name = "OUT.bin")]
    image: Option<PathBuf>,
    /// Fit this care profile (TOML) and say at the end what is due
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// What counts: the whole firmware, or its bare core, which is some three times faster
    /// [default: firmware for lives of at most 60 working days, core for longer ones]
    #[arg(long, value_enum)]
    board: Option<Board>,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// What counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Board {
    /// The whole firmware, with main loop, panel and display
    Firmware,
    /// The bare core on its memory driver
    Core,
}

impl Board {
    /// The one for a life of so many working days.
    const fn for_days(working_days: u32) -> Self {
        if working_days <= FIRMWARE_DAYS_MAX { Self::Firmware } else { Self::Core }
    }

    /// Lets it live.
    fn live(
        self,
        scenario: &Scenario,
        seed: u64,
        fitting: Fitting,
        watch: &mut impl Watch,
        progress: impl FnMut(u64),
    ) -> Result<SewOutcome, RunError> {
        match self {
            Self::Firmware => run_fitted::<Firmware>(scenario, seed, fitting, watch, progress),
            Self::Core => run_fitted::<Core>(scenario, seed, fitting, watch, progress),
        }
    }
}

/// Lives of up to so many working days are lived on the whole firmware.
const FIRMWARE_DAYS_MAX: u32 = 60;

/// Does it.
///
/// # Errors
/// A bad scenario, or a file that cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let mut scenario = Scenario::load(&args.scenario)?;
    if let Some(days) = args.days {
        scenario.hours.working_days = days;
    }
    let profile = args.profile.as_deref().map(Profile::load).transpose()?;
    let mut fitting = plain_fitting(scenario.settings());
    if let (Some(profile), Some(path)) = (&profile, &args.profile) {
        let (for_needles, needles) = (profile.needles, scenario.machine.needles);
        if for_needles != needles {
            let what = format!("is for {for_needles} needles, the machine has {needles}");
            return Err(Failure::file(path, &what));
        }
        // No clock is simulated.
        fitting.components = profile.components(false);
        fitting.settings = profile.settings(fitting.settings);
    }
    let seed = args.seed.unwrap_or(scenario.seed);
    let mut recording = match &args.vcd {
        Some(path) => {
            let (file, writer) = WholeFile::begin(path)?;
            let comment = format!("simulated: {}, seed {seed}", scenario.name);
            let writer = CaptureWriter::new(writer, &comment)?;
            Some((file, Recorder { writer, end_us: 0 }))
        }
        None => None,
    };
    let hours = &scenario.hours;
    let days = hours.working_days.div_ceil(hours.days_per_week) * 7;
    let progress = bar(days.into(), "sewing, days");
    let tell = |at_us| progress.set_position(at_us / 86_400_000_000);
    let board = args.board.unwrap_or(Board::for_days(hours.working_days));
    let outcome = match &mut recording {
        Some((_, recorder)) => board.live(&scenario, seed, fitting, recorder, tell),
        None => board.live(&scenario, seed, fitting, &mut (), tell),
    }?;
    progress.finish_and_clear();
    if let Some((file, recorder)) = recording {
        recorder.writer.finish(recorder.end_us)?;
        file.finish()?;
    }
    if let Some(path) = &args.image {
        let (file, mut writer) = WholeFile::begin(path)?;
        writer.write_all(&outcome.image).and_then(|()| writer.flush())?;
        file.finish()?;
    }
    let care = profile.map(|profile| Care::of(&profile, &outcome));
    let report = Report { care, ..Report::of(&scenario, seed, &outcome) };
    print(args.format, &report.text(&scenario, &outcome), &report)?;
    Ok(if report.held { Verdict::Held } else { Verdict::Failed })
}

/// Records the events as a capture.
struct Recorder {
    writer: CaptureWriter<BufWriter<File>>,
    end_us: u64,
}

impl Watch for Recorder {
    fn event(&mut self, timed: Timed) -> io::Result<()> {
        if timed.event == SewingEvent::Cut {
            self.end_us = timed.at_us + 1_000_000;
        }
        self.writer.event(timed)
    }
}

/// The result for programs.
#[derive(Debug, Serialize)]
struct Report {
    scenario: String,
    seed: u64,
    held: bool,
    broken: Vec<String>,
    rows: Vec<ComparedRow>,
    cuts: u32,
    checkpoints: u64,
    page_cycles: u64,
    hottest_page_cycles: u32,
    worst_loss_at_a_cut: CounterFigures,
    counted: CounterFigures,
    truth: CounterFigures,
    signal_faults: DistortTally,
    #[serde(skip_serializing_if = "Option::is_none")]
    care: Option<Care>,
}

impl Report {
    fn of(scenario: &Scenario, seed: u64, outcome: &SewOutcome) -> Self {
        let needles = outcome.settings.needles;
        Self {
            scenario: scenario.name.clone(),
            seed,
            held: outcome.broken.is_empty(),
            broken: outcome.broken.clone(),
            rows: rows(scenario, outcome),
            cuts: outcome.cuts,
            checkpoints: outcome.checkpoints,
            page_cycles: outcome.cycles,
            hottest_page_cycles: outcome.hottest_page_cycles,
            worst_loss_at_a_cut: CounterFigures::of(&outcome.worst_loss, needles),
            counted: CounterFigures::of(&outcome.counted, needles),
            truth: CounterFigures::of(&outcome.truth.counters(), needles),
            signal_faults: outcome.tally,
            care: None,
        }
    }

    fn text(&self, scenario: &Scenario, outcome: &SewOutcome) -> String {
        let mut text = format!(
            "{} (seed {}): {} working days, {} cuts, {} checkpoints\n",
            self.scenario,
            self.seed,
            scenario.hours.working_days,
            self.cuts,
            grouped(self.checkpoints)
        );
        let _ = writeln!(text, "running {}", hours(self.truth.running_ms));
        if !scenario.machine.jump_wired {
            text.push_str("no jump input is wired: a jump counts as a stitch\n");
        }
        self.table(&mut text);
        let worst = &outcome.worst_loss;
        let _ = writeln!(
            text,
            "\nlargest loss at one cut: {}.{:03} s of running time (bound {} s), {} stitches, \
             {} trims (bound {})",
            worst.running_ms / 1_000,
            worst.running_ms % 1_000,
            outcome.settings.checkpoint_running_s,
            grouped(worst.stitches()),
            worst.trims,
            outcome.settings.checkpoint_trims
        );
        if self.held {
            text.push_str("held: never above the truth, no loss over the bound\n");
        } else {
            text.push_str("NOT HELD:\n");
            for broken in &self.broken {
                let _ = writeln!(text, "- {broken}");
            }
        }
        text.push_str(&self.care.as_ref().map_or_else(String::new, Care::text));
        text
    }

    fn table(&self, text: &mut String) {
        let _ = writeln!(
            text,
            "\n{:<36}{:>17}{:>17}{:>14}  cause",
            "", "counted", "truth", "difference"
        );
        for row in &self.rows {
            let (truth, difference) = match row.truth.zip(row.difference()) {
                Some((truth, difference)) => (grouped(truth), grouped(difference)),
                None => (String::from("-"), String::from("-")),
            };
            let line = format!(
                "{:<36}{:>17}{truth:>17}{difference:>14}  {}",
                row.name,
                grouped(row.counted),
                row.causes.join("; ")
            );
            let _ = writeln!(text, "{}", line.trim_end());
        }
    }
}
