//! `shaftbook decode`: a read-out code heard over the phone.

use std::fmt::Write as _;

use serde::Serialize;
use shaftbook_readout::decode::{KEPT, decode};
use shaftbook_readout::heard::Heard;
use shaftbook_readout::tag::BoardTag;

use super::Verdict;
use super::failure::Failure;
use super::output::{Format, print};
use super::progress::bar;
use shaftbook_tools::readout::figures::{CountPlan, MishearingCount, MishearingRow, count, table};
use shaftbook_tools::readout::report::CodeReport;
use shaftbook_tools::readout::text::render;
use shaftbook_world::figures::grouped;

/// Decode a read-out code, as it was read aloud from the panel.
///
/// Spaces, dashes and case do not matter; O is taken as 0, I and L as 1. Give ? for a
/// symbol that was not heard (in quotes, for the shell). Up to two wrong symbols are
/// corrected, or four unheard ones filled in, or two unheard and one wrong; each is told.
/// What cannot be corrected is refused, never guessed.
///
/// Exit code 2 if the code is refused; 1 if it is of another board than --tag says, or if
/// a bound of --figures is not held.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook decode 97SFW HWJJZ 94215 MZPCD SDDCF DDWJM
  shaftbook decode --spell '97sfw-hwjjz-942l5-mz?cd-sddcf-ddwjm'
  shaftbook decode --figures --cases 1000000 --seed 7

The code is described bit by bit in docs/FORMAT.md.")]
pub struct Args {
    /// The code, in one piece or group by group
    #[arg(value_name = "CODE", required_unless_present = "figures")]
    code: Vec<String>,
    /// Print the code in the spelling alphabet too, to read it back
    #[arg(long, conflicts_with = "figures")]
    spell: bool,
    /// The board's tag of eight symbols: is the code from this board?
    #[arg(long, value_name = "TAG", conflicts_with = "figures")]
    tag: Option<String>,
    /// Count what comes of codes misheard at random, in every way that is promised for
    #[arg(long, conflicts_with = "code")]
    figures: bool,
    /// Cases of each kind of damage
    #[arg(long, value_name = "N", default_value_t = 400_000, requires = "figures")]
    #[arg(value_parser = clap::value_parser!(u64).range(10_000..=100_000_000))]
    cases: u64,
    /// Seed of everything random
    #[arg(long, value_name = "N", default_value_t = 1, requires = "figures")]
    seed: u64,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Does it.
///
/// # Errors
/// The code or the tag is refused, or the output cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    if args.figures { count_figures(args) } else { decode_code(args) }
}

fn decode_code(args: &Args) -> Result<Verdict, Failure> {
    let tag = match &args.tag {
        Some(text) => {
            let tag = BoardTag::parse(text);
            Some(tag.map_err(|error| Failure(format!("the tag: {error}")))?)
        }
        None => None,
    };
    let heard = Heard::parse(&args.code.join(" ")).map_err(|why| refusal(&why))?;
    let decoded = decode(&heard).map_err(|refused| {
        let odd = heard.odd_group().map_or_else(String::new, |odd| format!(" ({odd})"));
        refusal(&format!("{refused}{odd}"))
    })?;
    let is_its_own = tag.map(|tag| tag.start() == decoded.read_out.tag);
    let report = CodeReport::from(&decoded);
    let mut text = render(&report, args.spell);
    if let (Some(tag), Some(is_its_own)) = (tag, is_its_own) {
        let verdict = if is_its_own { "the code can be of" } else { "THE CODE IS NOT OF" };
        let _ = writeln!(text, "\n{verdict} board {tag}");
    }
    print(args.format, &text, &Output { report, is_of_the_board: is_its_own })?;
    Ok(if is_its_own == Some(false) { Verdict::Failed } else { Verdict::Held })
}

fn refusal(why: &impl ToString) -> Failure {
    Failure(format!("refused: {}", why.to_string()))
}

#[derive(Serialize)]
struct Output {
    #[serde(flatten)]
    report: CodeReport,
    #[serde(skip_serializing_if = "Option::is_none")]
    is_of_the_board: Option<bool>,
}

fn count_figures(args: &Args) -> Result<Verdict, Failure> {
    let plan = CountPlan { seed: args.seed, cases: args.cases, kept: KEPT };
    let progress =
        bar(shaftbook_tools::readout::damage::Mishearing::all().len() as u64 * plan.cases, "codes");
    let rows = count(&plan, &|done| progress.inc(done));
    progress.finish_and_clear();
    let held = rows.iter().filter(|row| row.held()).count();
    let cases: u64 = rows.iter().map(|row| row.count.cases).sum();
    let mut text = table(&rows);
    for row in rows.iter().filter(|row| !row.held()) {
        let _ = writeln!(text, "\n{}: NOT HELD with seed {}", row.damage, plan.seed);
        if let Some(mistake) = &row.count.first_mistake {
            let _ = writeln!(text, "  case {}: said  {}", mistake.case, mistake.said);
            let _ = writeln!(text, "  replay: shaftbook decode {}", mistake.heard);
        }
    }
    let _ = writeln!(text, "\n{held} of {} bounds held, {} codes", rows.len(), grouped(cases));
    let lines: Vec<_> = rows.iter().map(Line::from).collect();
    print(args.format, &text, &lines)?;
    Ok(if held == rows.len() { Verdict::Held } else { Verdict::Failed })
}

/// A row for programs.
#[derive(Serialize)]
struct Line<'a> {
    damage: String,
    bound: String,
    held: bool,
    #[serde(flatten)]
    count: &'a MishearingCount,
}

impl<'a> From<&'a MishearingRow> for Line<'a> {
    fn from(row: &'a MishearingRow) -> Self {
        Self {
            damage: row.damage.to_string(),
            bound: row.damage.promise().to_string(),
            held: row.held(),
            count: &row.count,
        }
    }
}
