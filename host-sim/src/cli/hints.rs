//! `shaftbook hints`: measures how often the first-look hints are right.

use std::fmt::Write as _;

use serde::Serialize;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, print};
use super::progress::bar;
use shaftbook_tools::hints::{self, HintFigures};
use shaftbook_world::figures::grouped;

/// Measure the first-look hints: simulate machines with and without a planted fault, and
/// count false alarms and misses.
///
/// Each run sews a machine of its own through the core's counting. Exit code 1 if sound
/// machines get more false alarms than the stated rates (5 % possible or strong, 0.1 %
/// strong) give by chance.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook hints
  shaftbook hints --runs 100 --seed 7
  shaftbook hints --format json

The text is the table in docs/CARE.md, which says what each hint means. The same seed gives
the same figures on any number of cores.")]
pub struct Args {
    /// Machines simulated for each row
    #[arg(long, value_name = "N", default_value_t = 1_000,
        value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    runs: u64,
    /// Seed of everything random
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// The result for programs.
#[derive(Debug, Serialize)]
struct Report {
    runs: u64,
    seed: u64,
    held: bool,
    rows: Vec<HintFigures>,
}

/// Does it.
///
/// # Errors
/// The output cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let progress = bar(args.runs, "machines");
    let rows = hints::run(args.runs, args.seed, &|done| progress.set_position(done));
    progress.finish_and_clear();
    let held = rows.iter().all(HintFigures::held);
    let report = Report { runs: args.runs, seed: args.seed, held, rows };
    print(args.format, &text(&report), &report)?;
    Ok(if held { Verdict::Held } else { Verdict::Failed })
}

fn text(report: &Report) -> String {
    let mut text = format!(
        "{} machines a row, seed {}; rates with their 95 % limits\n\n\
         | planted | right finding | found | of these strong | missed | false alarms | of these strong |\n\
         |---|---|---|---|---|---|---|\n",
        grouped(report.runs),
        report.seed
    );
    for row in &report.rows {
        let rate = |count: u64| {
            let (least, most) = row.limits_percent(count);
            let percent = count as f64 / row.runs as f64 * 100.0;
            format!("{percent:.1} % ({least:.1}–{most:.1})")
        };
        let of_right = |count| if row.right.is_some() { rate(count) } else { "–".to_owned() };
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} |",
            row.planted,
            row.right.unwrap_or("no sign"),
            of_right(row.found),
            of_right(row.found_strong),
            of_right(row.missed()),
            rate(row.false_alarms),
            rate(row.false_strong),
        );
    }
    text.push_str(if report.held {
        "\nheld: no more false alarms on sound machines than the stated rates give by chance\n"
    } else {
        "\nNOT HELD: more false alarms on sound machines than the stated rates give by chance\n"
    });
    text
}
