//! `shaftbook sabotage`: boards that are broken on purpose, and which proof finds each.

use std::fmt::Write as _;

use clap::ValueEnum;
use serde::Serialize;

use super::Verdict;
use super::failure::Failure;
use super::output::say;
use super::progress::bar;
use shaftbook_evidence::prove::SearchPlan;
use shaftbook_evidence::prove::sabotage::{ALL, Sabotage, SabotageFinding};
use shaftbook_world::figures::grouped;

/// Break the board on purpose, one mistake at a time, and see which proof finds it.
///
/// Each broken board has one mistake of a kind that is really made: a check left out, a
/// wrap, a wrong order of writes, a race. The proof that should find it is run first, then,
/// while none has, the others. Exit code 1 if one was missed.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook sabotage --list
  shaftbook sabotage
  shaftbook sabotage --only not-read-back --only one-copy
  shaftbook sabotage --only no-parity --all-proofs --format json

Every row ends with the command that replays its failing case. The same seed gives the same
rows on any number of cores. What was found, and what was missed, is in docs/SABOTAGE.md.")]
pub struct Args {
    /// Only say what there is, run nothing
    #[arg(long, conflicts_with_all = ["all_proofs", "full"])]
    list: bool,
    /// Only this broken board (can be given more than once)
    #[arg(long, value_name = "NAME")]
    only: Vec<&'static Sabotage>,
    /// Run all eleven proofs on each, and say all that find it
    #[arg(long)]
    all_proofs: bool,
    /// The full search of `prove`, not the quick one
    #[arg(long)]
    full: bool,
    /// Seed of everything random
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Form,
}

/// Form of the output.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For people.
    #[default]
    Text,
    /// For programs.
    Json,
    /// The table of docs/SABOTAGE.md.
    Markdown,
}

/// Does it.
///
/// # Errors
/// The output cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let wanted =
        |it: &&Sabotage| args.only.is_empty() || args.only.iter().any(|only| only.name == it.name);
    let boards: Vec<&Sabotage> = ALL.iter().filter(wanted).collect();
    if args.list {
        list(args.format, &boards)?;
        return Ok(Verdict::Held);
    }
    let plan = SearchPlan { seed: args.seed, quick: !args.full, replay: None };
    if args.format == Form::Markdown {
        say(TABLE_HEAD)?;
    }
    let mut rows = Vec::new();
    for it in boards {
        let progress = bar(0, it.name);
        let finding = it.search(&plan, args.all_proofs, &|done, of| {
            progress.set_length(of);
            progress.set_position(done);
        });
        progress.finish_and_clear();
        let row = Row::of(&finding, args);
        // A row as soon as it is known: the whole takes a while.
        match args.format {
            Form::Text => say(&row.text())?,
            Form::Markdown => say(&row.markdown())?,
            Form::Json => {}
        }
        rows.push(row);
    }
    let missed: Vec<&str> = rows.iter().filter(|row| !row.caught).map(|row| row.name).collect();
    let caught = rows.len() - missed.len();
    let size = if args.full { "full" } else { "quick" };
    let all_missed = if missed.is_empty() { "none".into() } else { missed.join(", ") };
    let line =
        format!("{caught} of {} caught in the {size} search; missed: {all_missed}\n", rows.len());
    match args.format {
        Form::Text => say(&line)?,
        Form::Markdown => say(&format!("\n{line}"))?,
        Form::Json => say(&(serde_json::to_string_pretty(&rows)? + "\n"))?,
    }
    Ok(if missed.is_empty() { Verdict::Held } else { Verdict::Failed })
}

/// A broken board for programs.
#[derive(Debug, Serialize)]
struct Listed {
    name: &'static str,
    mistake: &'static str,
    what: &'static str,
    tried_first: &'static str,
}

fn list(format: Form, boards: &[&Sabotage]) -> Result<(), Failure> {
    let mut text = String::new();
    match format {
        Form::Json => {
            let rows: Vec<Listed> = boards
                .iter()
                .map(|it| Listed {
                    name: it.name,
                    mistake: it.mistake.name(),
                    what: it.what,
                    tried_first: it.tried_first.name(),
                })
                .collect();
            text = serde_json::to_string_pretty(&rows)? + "\n";
        }
        Form::Text => {
            for it in boards {
                let _ = writeln!(text, "{:<24} {:<18} {}", it.name, it.mistake, it.what);
            }
            let _ = writeln!(text, "{} broken boards", boards.len());
        }
        Form::Markdown => {
            text.push_str("| broken board | kind of mistake | what is broken |\n|---|---|---|\n");
            for it in boards {
                let _ = writeln!(text, "| `{}` | {} | {} |", it.name, it.mistake, it.what);
            }
        }
    }
    say(&text)
}

/// What was found out about a broken board, for programs.
#[derive(Debug, Serialize)]
struct Row {
    name: &'static str,
    mistake: &'static str,
    what: &'static str,
    caught: bool,
    /// The proofs that caught it, of those that were run.
    caught_by: Vec<&'static str>,
    /// Up to the case that caught it; all that were tried if it was missed.
    cases: u64,
    failing_case: Option<String>,
    seen: Option<String>,
    replay: Option<String>,
}

const TABLE_HEAD: &str =
    "| broken board | kind of mistake | what is broken | caught by | after cases |
|---|---|---|---|--:|
";

impl Row {
    fn of(finding: &SabotageFinding, args: &Args) -> Self {
        let it = finding.sabotage;
        let failure = finding.caught().and_then(|outcome| outcome.failure.as_ref());
        // The size of a search decides what its cases are.
        let size = if args.full { " --full" } else { "" };
        let replay = |id: &str| format!("shaftbook prove{size} --board {} --replay {id}", it.name);
        let id = failure.map(|failure| failure.id.to_string());
        Self {
            name: it.name,
            mistake: it.mistake.name(),
            what: it.what,
            caught: failure.is_some(),
            caught_by: finding.caught_by(),
            cases: finding.cases(),
            replay: id.as_deref().map(replay),
            failing_case: id,
            seen: failure.map(|failure| failure.seen.clone()),
        }
    }

    fn text(&self) -> String {
        let cases = grouped(self.cases);
        let mut text = if self.caught {
            format!(
                "{:<24} caught by {}, after {cases} cases\n",
                self.name,
                self.caught_by.join(", ")
            )
        } else {
            format!("{:<24} MISSED in {cases} cases\n", self.name)
        };
        let _ = writeln!(text, "  {}: {}", self.mistake, self.what);
        if let (Some(seen), Some(replay)) = (&self.seen, &self.replay) {
            let _ = writeln!(text, "  seen: {seen}\n  replay: {replay}");
        }
        text
    }

    fn markdown(&self) -> String {
        let by = if self.caught { self.caught_by.join(", ") } else { "**missed**".into() };
        let cases = grouped(self.cases);
        format!("| `{}` | {} | {} | {by} | {cases} |\n", self.name, self.mistake, self.what)
    }
}
