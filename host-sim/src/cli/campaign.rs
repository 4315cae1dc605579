//! `shaftbook campaign`: many scenarios × seeds × fault mixes, over all cores.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use super::Verdict;
use super::campaign_files::{STREAM, finish, regression};
use super::failure::Failure;
use super::output::say;
use super::progress::bar;
use clap::Parser as _;

use shaftbook_evidence::campaign::bare::Bare;
use shaftbook_evidence::campaign::draw::draw;
use shaftbook_evidence::campaign::execute::{Budget, execute};
use shaftbook_evidence::campaign::plan::CampaignPlan;
use shaftbook_evidence::campaign::runner::{self, On, Runner};
use shaftbook_evidence::campaign::store::CounterStore;
use shaftbook_evidence::campaign::stream::{Shard, StreamHeader, Writer};
use shaftbook_evidence::prove::sabotage::Sabotage;
use shaftbook_world::figures::grouped;

/// Run a campaign: many scenarios, seeds and mixes of faults, and the evidence that they
/// leave.
///
/// Results stream to DIR as they come: a campaign that was interrupted, or stopped by a
/// budget, goes on when the same command is given again. What is there at the end is
/// written to DIR: summary.txt, junit.xml, campaign.json, runs.parquet, report.html, and a
/// shrunk regression file for each of the first runs that failed. Exit code 1 if a run
/// failed, or if the campaign is complete and no cut met a state that it requires.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook campaign host-sim/campaigns/quick.toml
  shaftbook campaign nightly.toml --minutes 30 --out nightly
  shaftbook campaign nightly.toml --shard 2/8 --out part-2
  shaftbook campaign nightly.toml --board not-read-back --runs 2000
  shaftbook campaign nightly.toml --run 1234
  shaftbook campaign host-sim/campaigns/lives.toml --runs 8

The same file and seed give the same bytes on any number of cores, split or not. The file's
schema, and how to bring your own store, is in docs/CAMPAIGN.md.")]
pub struct Args {
    /// The campaign file
    file: PathBuf,
    /// Folder for the results
    #[arg(long, value_name = "DIR", default_value = "campaign-results")]
    out: PathBuf,
    /// Seed of everything random, instead of the file's
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// Number of runs, instead of the file's
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=100_000_000))]
    runs: Option<u64>,
    /// Only part I of N: `merge` puts the parts together
    #[arg(long, value_name = "I/N", conflicts_with = "run")]
    shard: Option<Shard>,
    /// Stop after so many minutes; the same command goes on
    #[arg(long, value_name = "M")]
    minutes: Option<f64>,
    /// Stop after so many cuts were judged; the same command goes on
    #[arg(long, value_name = "N")]
    cases: Option<u64>,
    /// Write over the results that are in the folder
    #[arg(long)]
    fresh: bool,
    /// A board that is broken on purpose, instead of the sound one (see `sabotage --list`)
    #[arg(long, value_name = "NAME")]
    board: Option<&'static Sabotage>,
    /// Play run N only; if it fails, shrink it and write it to DIR
    #[arg(long, value_name = "N", conflicts_with_all = ["minutes", "cases", "fresh"])]
    run: Option<u64>,
    /// Threads; all cores when left out
    #[arg(long, value_name = "N")]
    threads: Option<usize>,
}

/// Does it.
///
/// # Errors
/// The campaign file cannot be used, or the results cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let runner = runner::of(args.board);
    run_on(args, runner.as_ref())
}

/// The command line of a program that runs campaigns on a store of its own.
#[derive(Debug, clap::Parser)]
#[command(about = "Run a campaign on this store")]
struct Brought {
    #[command(flatten)]
    args: Args,
}

/// Does it on the store `S`, with the arguments that the program was called with: all of
/// a program that brings its own store. Its exit codes are those of `shaftbook campaign`.
#[must_use]
pub fn main<S: CounterStore>() -> ExitCode {
    let args = Brought::parse().args;
    if args.board.is_some() {
        eprintln!("--board is for our own board: this is {}", S::NAME);
        return ExitCode::from(2);
    }
    if CampaignPlan::load(&args.file).is_ok_and(|plan| plan.lives.is_some()) {
        eprintln!("a campaign of lives is for our own board: this is {}", S::NAME);
        return ExitCode::from(2);
    }
    super::exit_code(run_with(&args, &On::<Bare<S>>::new(), |plan| plan.other_parts = 0.0))
}

/// Does it on any subject.
///
/// # Errors
/// As [`run`].
pub fn run_on(args: &Args, runner: &dyn Runner) -> Result<Verdict, Failure> {
    run_with(args, runner, |_| {})
}

/// The same with a plan that `change` has changed. A brought store has the reference part.
fn run_with(
    args: &Args,
    runner: &dyn Runner,
    change: impl FnOnce(&mut CampaignPlan),
) -> Result<Verdict, Failure> {
    let mut plan = CampaignPlan::load(&args.file)?;
    change(&mut plan);
    plan.seed = args.seed.unwrap_or(plan.seed);
    plan.runs = args.runs.unwrap_or(plan.runs);
    let file = args.file.display().to_string();
    // A panic of what is tested is a failed run, and is told as one.
    let told = std::panic::take_hook();
    let told = std::sync::Arc::new(told);
    let others = told.clone();
    std::panic::set_hook(Box::new(move |info| {
        if !runner::is_playing() {
            others(info);
        }
    }));
    let verdict = match args.run {
        Some(number) => one_run(&plan, number, runner, &args.out),
        None => in_threads(args.threads, || all_runs(args, &plan, runner, &file)),
    };
    drop(std::panic::take_hook());
    if let Ok(told) = std::sync::Arc::try_unwrap(told) {
        std::panic::set_hook(told);
    }
    verdict
}

fn in_threads<T: Send>(
    threads: Option<usize>,
    work: impl FnOnce() -> Result<T, Failure> + Send,
) -> Result<T, Failure> {
    let Some(threads) = threads else { return work() };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build()?;
    pool.install(work)
}

fn all_runs(
    args: &Args,
    plan: &CampaignPlan,
    runner: &dyn Runner,
    file: &str,
) -> Result<Verdict, Failure> {
    let header = StreamHeader::new(plan, &runner.subject(), args.shard.unwrap_or(Shard::WHOLE));
    if !(0..header.chunks()).any(|chunk| header.shard.has(chunk)) {
        let line = format!(
            "part {} has no run: {} runs are {} chunks of {}",
            header.shard,
            grouped(plan.runs),
            header.chunks(),
            plan.chunk_runs()
        );
        return Err(Failure(line));
    }
    std::fs::create_dir_all(&args.out).map_err(|e| Failure::file(&args.out, &e))?;
    let path = args.out.join(STREAM);
    let (mut writer, has) = if args.fresh {
        (Writer::begin(&path, &header)?, 0)
    } else {
        Writer::resume(&path, &header)?
    };
    let mine: u64 = (0..header.chunks())
        .filter(|chunk| header.shard.has(*chunk))
        .map(|chunk| header.runs(chunk).end - header.runs(chunk).start)
        .sum();
    let progress = bar(mine, "runs");
    progress.set_position((has * plan.chunk_runs()).min(mine));
    progress.reset_eta();
    let begun = Instant::now();
    let budget = Budget {
        cases: args.cases,
        // Longer than a clock can tell is as good as no budget.
        until: args.minutes.and_then(|minutes| {
            begun.checked_add(Duration::try_from_secs_f64(minutes.max(0.0) * 60.0).ok()?)
        }),
    };
    let done = execute(&header, runner, &mut writer, has, budget, |runs, failed| {
        progress.set_position(runs);
        if failed > 0 {
            progress.set_message(format!("runs, {} failed", grouped(failed)));
        }
    })?;
    progress.finish_and_clear();
    drop(writer);
    // How long it took is no part of the results: they are the same on any machine.
    let seconds = begun.elapsed().as_secs_f64();
    let held = finish(&args.out, Some(runner), file)?;
    eprintln!(
        "{} runs and {} cuts now, in {seconds:.1} s; results in {}",
        grouped(done.runs),
        grouped(done.cases),
        args.out.display()
    );
    Ok(held)
}

fn one_run(
    plan: &CampaignPlan,
    number: u64,
    runner: &dyn Runner,
    out: &Path,
) -> Result<Verdict, Failure> {
    let (shop, script) = draw(plan, number);
    let ran = runner.play(&script);
    let name = &plan.shops[shop].name;
    let (steps, faults) = (script.length(), script.faults_drawn());
    let steps_are = if script.life.is_some() { "days" } else { "steps" };
    let what = format!("run {number}: {name}, {steps} {steps_are}, {faults} faults");
    let Some(seen) = ran.seen else {
        say(&format!("{what}: held at {} cuts\n", ran.tally.cuts))?;
        return Ok(Verdict::Held);
    };
    say(&format!("{what}: FAILED\n  seen: {seen}\n"))?;
    let path = regression(plan, number, runner, out)?;
    say(&format!("  shrunk: {}\n", path.display()))?;
    if runner::named(&runner.subject()).is_ok() {
        say(&format!("  replay: shaftbook prove --replay {}\n", path.display()))?;
    }
    Ok(Verdict::Failed)
}
