//! `shaftbook prove`: runs every proof, and prints a row for each.

use std::fmt::Write as _;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::str::FromStr;

use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use serde::Serialize;
use shaftbook_core::rules::Sound;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, WholeFile, print, say};
use super::progress::bar;
use shaftbook_evidence::campaign::regression::Regression;
use shaftbook_evidence::campaign::runner;
use shaftbook_evidence::prove::sabotage::Sabotage;
use shaftbook_evidence::prove::{CaseId, Proof, ProofOutcome, SearchPlan, junit};
use shaftbook_world::figures::grouped;

/// Prove that no count is lost or invented: search for a case in which something that
/// must never happen does.
///
/// Each proof drives the board's own core and memory driver over a simulated bus and
/// part, and one run in eight the whole firmware, with its main loop, panel and display.
/// Exit code 1 if a proof failed; its case is then printed with the one command
/// that replays it.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook prove
  shaftbook prove --seed 7 --only one-bad-page
  shaftbook prove --junit proofs.xml
  shaftbook prove --full
  shaftbook prove --only whole-days --runs 6000
  shaftbook prove --replay never-backwards:1:0:129
  shaftbook prove --replay campaign-results/regressions/run-17.toml

The same seed gives the same cases on any number of cores. What can fail, and how, is in
docs/FAULT_MODEL.md.")]
pub struct Args {
    /// The full search: some minutes, where the quick one takes seconds
    #[arg(long)]
    full: bool,
    /// The quick search, for every change; it is what is made anyway
    #[arg(long, conflicts_with = "full")]
    quick: bool,
    /// Seed of everything random
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Only this proof (can be given more than once)
    #[arg(long, value_name = "NAME", value_parser = proof_parser())]
    only: Vec<Proof>,
    /// So many runs of each proof, instead of as many as the search has
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1_000_000_000))]
    runs: Option<u64>,
    /// Only this case, as a failing proof printed it; or a regression file of a campaign
    #[arg(long, value_name = "ID|FILE", conflicts_with_all = ["only", "seed"])]
    replay: Option<Replay>,
    /// A board that is broken on purpose, instead of the sound one (see `sabotage --list`)
    #[arg(long, value_name = "NAME")]
    board: Option<&'static Sabotage>,
    /// Also write the results as JUnit XML, which CI servers show; also if a proof fails
    #[arg(long, value_name = "FILE")]
    junit: Option<PathBuf>,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Args {
    /// The search is the quick one; `--quick` says so too, for scripts that were written
    /// when it had to.
    const fn is_quick(&self) -> bool {
        self.quick || !self.full
    }
}

/// Takes a proof's name; the list of them is for `--help`, the manual and the shells.
fn proof_parser() -> impl TypedValueParser<Value = Proof> {
    let values = Proof::ALL.map(|proof| PossibleValue::new(proof.name()).help(proof.claim()));
    PossibleValuesParser::from(values).try_map(|name| name.parse::<Proof>())
}

/// What to replay.
#[derive(Clone, Debug)]
enum Replay {
    /// A case of a proof.
    Case(CaseId),
    /// A regression file.
    File(PathBuf),
}

impl FromStr for Replay {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let path = Path::new(text);
        if path.extension().is_some_and(|ending| ending == "toml") || path.exists() {
            return Ok(Self::File(path.to_owned()));
        }
        text.parse().map(Self::Case)
    }
}

/// Plays a regression file on the board that it failed on, or on the one asked for.
fn regression(path: &Path, board: Option<&'static Sabotage>) -> Result<Verdict, Failure> {
    let file = Regression::load(path)?;
    let runner = match board {
        Some(_) => runner::of(board),
        None => runner::named(&file.subject).map_err(|what| Failure::file(path, &what))?,
    };
    let ran = runner.play(&file.script);
    let (steps, faults) = (file.script.length(), file.script.faults_drawn());
    let what = format!(
        "{}: run {} of {} on {}, {steps} steps, {faults} faults",
        path.display(),
        file.run,
        file.campaign,
        runner.subject()
    );
    match ran.seen {
        None => {
            say(&format!("{what}: held at {} cuts\n", ran.tally.cuts))?;
            Ok(Verdict::Held)
        }
        Some(seen) => {
            say(&format!("{what}: FAILED\n  seen: {seen}\n"))?;
            Ok(Verdict::Failed)
        }
    }
}

/// Does it.
///
/// # Errors
/// There is no such case to replay, or the output cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let replay = match &args.replay {
        Some(Replay::File(path)) => return regression(path, args.board),
        Some(Replay::Case(id)) => Some(*id),
        None => None,
    };
    if let Some(id) = &replay {
        let runs = args.runs.unwrap_or(id.proof.runs(args.is_quick()));
        if id.run >= runs {
            let more = if args.is_quick() { ": with --full there are more" } else { "" };
            return Err(Failure(format!("{id}: there are only {runs} runs{more}")));
        }
    }
    let plan =
        SearchPlan { replay, runs: args.runs, ..SearchPlan::new(args.seed, args.is_quick()) };
    let wanted = |proof: &Proof| match &replay {
        Some(id) => id.proof == *proof,
        None => args.only.is_empty() || args.only.contains(proof),
    };
    // Begun first: a path that cannot be written to is known before the proofs are run.
    let junit_file = args.junit.as_deref().map(WholeFile::begin).transpose()?;
    let (mut rows, mut outcomes) = (Vec::new(), Vec::new());
    for proof in Proof::ALL.into_iter().filter(wanted) {
        let progress = bar(0, proof.name());
        let show = |done, of| {
            progress.set_length(of);
            progress.set_position(done);
        };
        let outcome = match args.board {
            None => proof.run::<Sound>(&plan, &show),
            Some(broken) => broken.run(proof, &plan, &show),
        };
        progress.finish_and_clear();
        if let (Some(id), 0) = (&replay, outcome.cases) {
            return Err(Failure(format!("{id}: run {} has no such case", id.run)));
        }
        let row = Row::of(&outcome, args, &plan);
        if args.format == Format::Text {
            // A row as soon as it is known: the whole takes minutes.
            io::stdout().write_all(row.text().as_bytes())?;
        }
        rows.push(row);
        outcomes.push(outcome);
    }
    if let Some((whole, mut file)) = junit_file {
        junit::suite(&plan, &outcomes, args.board.map(|broken| broken.name)).write(&mut file)?;
        file.flush()?;
        whole.finish()?;
    }
    let held = rows.iter().all(|row| row.held);
    match args.format {
        Format::Json => print(Format::Json, "", &rows)?,
        Format::Text => {
            let count = rows.iter().filter(|row| row.held).count();
            let cases: u64 = rows.iter().map(|row| row.cases).sum();
            let line = format!("{count} of {} proofs held, {} cases\n", rows.len(), grouped(cases));
            print(Format::Text, &line, &rows)?;
        }
    }
    Ok(if held { Verdict::Held } else { Verdict::Failed })
}

/// A proof's result for programs.
#[derive(Debug, Serialize)]
struct Row {
    proof: &'static str,
    claim: &'static str,
    cases: u64,
    bounds: Option<String>,
    worst: String,
    held: bool,
    failing_case: Option<String>,
    seen: Option<String>,
    replay: Option<String>,
}

impl Row {
    fn of(outcome: &ProofOutcome, args: &Args, plan: &SearchPlan) -> Self {
        let id = outcome.failure.as_ref().map(|failure| failure.id.to_string());
        let board = args.board.map(|broken| broken.name);
        Self {
            proof: outcome.proof.name(),
            claim: outcome.proof.claim(),
            cases: outcome.cases,
            bounds: outcome.proof.bounds(args.is_quick()),
            worst: outcome.worst.clone(),
            held: outcome.held(),
            replay: outcome.failure.as_ref().map(|failure| failure.replay(plan, board)),
            failing_case: id,
            seen: outcome.failure.as_ref().map(|failure| failure.seen.clone()),
        }
    }

    fn text(&self) -> String {
        let held = if self.held { "held" } else { "FAILED" };
        let cases = grouped(self.cases);
        let mut text = format!("{:<16} {held:<6} {cases:>12} cases\n", self.proof);
        let _ = writeln!(text, "  {}", self.claim);
        if let Some(bounds) = &self.bounds {
            let _ = writeln!(text, "  bounds: {bounds}");
        }
        if !self.worst.is_empty() {
            let _ = writeln!(text, "  worst: {}", self.worst);
        }
        if let (Some(seen), Some(replay)) = (&self.seen, &self.replay) {
            let _ = writeln!(text, "  seen: {seen}\n  replay: {replay}");
        }
        text
    }
}
