//! `shaftbook fit`: the bytes for a new board's memory part.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use chrono::NaiveDate;
use serde::Serialize;
use shaftbook_care::calendar::{FIRST_DAY, LAST_FIRST_DAY};
use shaftbook_core::board::Fitting;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::CarriedIn;
use shaftbook_core::settings::{ServiceMeasure, Settings};
use shaftbook_readout::tag::BoardTag;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, WholeFile, print};
use shaftbook_tools::keys::file;
use shaftbook_world::figures::grouped;
use shaftbook_world::fitting::fit;
use shaftbook_world::profile::Profile;
use shaftbook_world::settings_file::{self, explain};

/// Seconds in a day.
const DAY_S: u64 = 86_400;
/// Days from 1 January 1970 to the day before 1 January 2020, which is day 1.
const DAYS_BEFORE_DAY_1: u64 = 18_261;

/// Fit a board: make the bytes for its memory part, with its key, settings and profile.
///
/// The firmware's own core is run on a blank simulated part, fitted, cut and started
/// again; the bytes that it leaves are written. Program them into the board's memory part.
/// They hold the board's key: keep them as the key file, or delete them afterwards.
///
/// Settings come from the defaults, then the profile (needles, service interval), then the
/// settings file.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook fit --key workshop.key --profile host-sim/profiles/six-needle.toml \\
      --board-id 00000000000A11CE --out part.bin
  shaftbook fit --key workshop.key --profile host-sim/profiles/six-needle.toml \\
      --board-id A11CE --stated-hours 4200 --stated-stitches 380000000 --clock --out part.bin
  shaftbook inspect part.bin

Profiles are described in docs/PROFILES.md, the keys of the settings file are those of
[board] in docs/SCENARIOS.md, without that line; what keys protect is in docs/SECURITY.md.")]
pub struct Args {
    /// Workshop's key file
    #[arg(long, value_name = "FILE")]
    key: PathBuf,
    /// Profile (TOML)
    #[arg(long, value_name = "FILE.toml")]
    profile: PathBuf,
    /// Identity of the board, up to 16 hexadecimal digits: its chip's serial number
    #[arg(long, value_name = "HEX")]
    board_id: String,
    /// Board settings (TOML)
    #[arg(long, value_name = "FILE.toml")]
    settings: Option<PathBuf>,
    /// Hours of the machine's past, as a person states them
    #[arg(long, value_name = "H", default_value_t = 0)]
    stated_hours: u32,
    /// Stitches of the machine's past, as a person states them
    #[arg(long, value_name = "S", default_value_t = 0)]
    stated_stitches: u64,
    /// Trims of the machine's past, as a person states them
    #[arg(long, value_name = "T", default_value_t = 0)]
    stated_trims: u32,
    /// The board has a clock: care by days is counted in calendar days from today on
    #[arg(long)]
    clock: bool,
    /// Day of the fitting, instead of today (UTC)
    #[arg(long, value_name = "YYYY-MM-DD", requires = "clock")]
    date: Option<String>,
    /// File for the bytes of the part
    #[arg(long, value_name = "PART.bin")]
    out: PathBuf,
    /// Overwrite that file
    #[arg(long)]
    force: bool,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Args {
    fn id(&self) -> Result<BoardId, Failure> {
        super::inspect::board_id(&self.board_id)
            .map(BoardId)
            .map_err(|e| Failure(format!("--board-id: {e}")))
    }

    fn board_settings(&self, profile: &Profile) -> Result<Settings, Failure> {
        let base = Settings { needles: profile.needles, ..Settings::default() };
        let base = profile.settings(base);
        let settings = match &self.settings {
            Some(path) => settings_file::load(path)?.over(base),
            None => base,
        };
        let file = self.settings.as_ref().unwrap_or(&self.profile).display();
        settings.check().map_err(|error| Failure(format!("{file}: {}", explain(error))))?;
        if settings.needles != profile.needles {
            return Err(Failure(format!(
                "{file}: {} needles, but the profile is for {}",
                settings.needles, profile.needles
            )));
        }
        Ok(settings)
    }

    fn carried_in(&self) -> Result<CarriedIn, Failure> {
        if self.stated_stitches >> 48 != 0 {
            return Err(Failure("--stated-stitches: at most 281,474,976,710,655".into()));
        }
        Ok(CarriedIn {
            hours: self.stated_hours,
            stitches: self.stated_stitches,
            trims: self.stated_trims,
        })
    }

    /// The day of the fitting as the board counts days, on a board with a clock.
    fn day(&self) -> Result<Option<u16>, Failure> {
        if !self.clock {
            return Ok(None);
        }
        let wrong = || {
            Failure("--date: a day from 2026-01-01 to 2065-12-31, the days a board believes".into())
        };
        let since_1970 = match &self.date {
            Some(text) => {
                let date: NaiveDate = text.parse().map_err(|_| wrong())?;
                u64::try_from(date.signed_duration_since(NaiveDate::default()).num_days()).ok()
            }
            None => SystemTime::now().duration_since(UNIX_EPOCH).ok().map(|d| d.as_secs() / DAY_S),
        };
        let day = since_1970.and_then(|days| days.checked_sub(DAYS_BEFORE_DAY_1));
        let day = day
            .and_then(|day| u16::try_from(day).ok())
            .filter(|day| (FIRST_DAY..=LAST_FIRST_DAY).contains(day));
        day.map(Some).ok_or_else(wrong)
    }
}

/// The result for programs; the key is not in it.
#[derive(Debug, Serialize)]
struct Report {
    board: String,
    tag: String,
    profile: String,
    components: usize,
    needles: u8,
    service_interval_h: u16,
    service_measure: &'static str,
    stated_hours: u32,
    stated_stitches: u64,
    stated_trims: u32,
    day: Option<u16>,
    out: String,
    bytes: usize,
}

impl Report {
    fn text(&self) -> String {
        let mut text = String::new();
        let mut line = |name: &str, value: String| {
            let _ = writeln!(text, "{name:<16}{value}");
        };
        line("board tag", self.tag.clone());
        line("board identity", self.board.clone());
        line("profile", format!("{}, {} components", self.profile, self.components));
        line("needles", self.needles.to_string());
        let interval = grouped(self.service_interval_h);
        line("service", format!("every {interval} h of {} time", self.service_measure));
        line(
            "stated past",
            format!(
                "{} h, {} stitches, {} trims (stated, not measured)",
                grouped(self.stated_hours),
                grouped(self.stated_stitches),
                grouped(self.stated_trims)
            ),
        );
        line(
            "clock",
            match self.day {
                Some(_) => "fitted: care by days counts from the day of the fitting".into(),
                None => "none: care by days is counted by the machine's own time".into(),
            },
        );
        line("key", "this board's, from the workshop key; in the part, not shown".into());
        line("written", format!("{}, {} bytes", self.out, grouped(self.bytes as u64)));
        text.push_str(
            "The file holds the board's key: program it, then delete it or lock it away.\n",
        );
        text
    }
}

/// Does it.
///
/// # Errors
/// A bad key file, profile, setting or figure, or a file that is there already.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let id = args.id()?;
    let profile = Profile::load(&args.profile)?;
    let settings = args.board_settings(&profile)?;
    let carried_in = args.carried_in()?;
    let day = args.day()?;
    refuse_to_overwrite(&args.out, args.force)?;
    for input in
        [Some(&args.key), Some(&args.profile), args.settings.as_ref()].into_iter().flatten()
    {
        refuse_the_same(&args.out, input)?;
    }
    let tag = BoardTag::of(id);
    let key = file::load(&args.key)?.board_key(tag);
    let components = profile.components(args.clock);
    let fitting = Fitting { settings, components, carried_in, key };
    let image = fit(id, &fitting, day)?;
    let (file, mut writer) = WholeFile::begin_private(&args.out)?;
    writer.write_all(&image).and_then(|()| writer.flush())?;
    file.finish()?;
    let report = Report {
        board: format!("{:016X}", id.0),
        tag: tag.to_string(),
        profile: profile.name.clone(),
        components: fitting.components.len(),
        needles: settings.needles,
        service_interval_h: settings.service_interval_h,
        service_measure: match settings.service_measure {
            ServiceMeasure::Powered => "powered",
            ServiceMeasure::Running => "running",
        },
        stated_hours: carried_in.hours,
        stated_stitches: carried_in.stitches,
        stated_trims: carried_in.trims,
        day,
        out: args.out.display().to_string(),
        bytes: image.len(),
    };
    print(args.format, &report.text(), &report)?;
    Ok(Verdict::Held)
}

/// `--force` is meant for an older image, not for what the image is made from.
fn refuse_the_same(out: &Path, input: &Path) -> Result<(), Failure> {
    match (out.canonicalize(), input.canonicalize()) {
        (Ok(out_file), Ok(input_file)) if out_file == input_file => {
            Err(Failure::file(out, &"is read for this fitting; give --out another name"))
        }
        _ => Ok(()),
    }
}

fn refuse_to_overwrite(out: &Path, force: bool) -> Result<(), Failure> {
    if !force && std::fs::symlink_metadata(out).is_ok() {
        return Err(Failure::file(out, &"there is such a file already; --force overwrites it"));
    }
    Ok(())
}
