//! The command line: one file for each sub-command, and what they share.
//!
//! Exit codes: 0 if the work is done, or what was to be shown held; 1 if a proof or a bound
//! failed; 2 for an error in usage or input. Such an error is said in one line on standard
//! error, and nothing is written.

pub mod authorise;
pub mod campaign;
pub mod campaign_files;
pub mod completions;
pub mod decode;
pub mod failure;
pub mod fit;
pub mod hints;
pub mod hold_up;
pub mod inspect;
pub mod key;
pub mod manual;
pub mod merge;
pub mod number;
pub mod output;
pub mod panel;
pub mod progress;
pub mod prove;
pub mod replay;
pub mod sabotage;
pub mod screens;
pub mod sew;
pub mod uf2;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{Parser, Subcommand};

use failure::Failure;

/// The version; a release's has the commit behind it (`.ci/release`).
const VERSION: &str = match option_env!("SHAFTBOOK_VERSION") {
    Some(version) => version,
    None => env!("CARGO_PKG_VERSION"),
};

/// Tools around the Shaftbook board: simulate it, replay recorded signals, prove it.
#[derive(Debug, Parser)]
#[command(name = "shaftbook", version = VERSION, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Prove(prove::Args),
    Campaign(campaign::Args),
    Merge(merge::Args),
    Sabotage(sabotage::Args),
    Sew(sew::Args),
    Panel(panel::Args),
    Replay(replay::Args),
    Inspect(inspect::Args),
    Decode(decode::Args),
    Hints(hints::Args),
    Key(key::Args),
    Fit(fit::Args),
    Number(number::Args),
    Uf2(uf2::Args),
    Authorise(authorise::Args),
    Screens(screens::Args),
    HoldUp(hold_up::Args),
    Completions(completions::Args),
    Manual(manual::Args),
}

/// What a sub-command found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Done, or held.
    Held,
    /// What was to be shown did not hold.
    Failed,
}

/// What is wrong with the command line: the first paragraph of what `clap` would print.
fn in_one_line(error: &clap::Error) -> String {
    let text = error.to_string();
    let said = text.lines().take_while(|line| !line.trim().is_empty());
    let said: Vec<&str> = said.flat_map(str::split_whitespace).collect();
    let said = said.join(" ");
    said.strip_prefix("error: ").unwrap_or(&said).to_owned()
}

/// Runs the command line `args`, the program's name first.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        // Help and version come this way too, and go to standard output.
        Err(error)
            if !error.use_stderr()
                || error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand =>
        {
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
        Err(error) => {
            eprintln!("shaftbook: {}; --help says more", in_one_line(&error));
            return ExitCode::from(2);
        }
    };
    let result = match &cli.command {
        Command::Prove(args) => prove::run(args),
        Command::Campaign(args) => campaign::run(args),
        Command::Merge(args) => merge::run(args),
        Command::Sabotage(args) => sabotage::run(args),
        Command::Sew(args) => sew::run(args),
        Command::Panel(args) => panel::run(args),
        Command::Replay(args) => replay::run(args),
        Command::Inspect(args) => inspect::run(args),
        Command::Decode(args) => decode::run(args),
        Command::Hints(args) => hints::run(args),
        Command::Key(args) => key::run(args),
        Command::Fit(args) => fit::run(args),
        Command::Number(args) => number::run(args),
        Command::Uf2(args) => uf2::run(args),
        Command::Authorise(args) => authorise::run(args),
        Command::Screens(args) => screens::run(args),
        Command::HoldUp(args) => hold_up::run(args),
        Command::Completions(args) => completions::run(args),
        Command::Manual(args) => manual::run(args),
    };
    exit_code(result)
}

/// The exit code of a sub-command; why it could not be done goes to standard error.
fn exit_code(result: Result<Verdict, Failure>) -> ExitCode {
    match result {
        Ok(Verdict::Held) => ExitCode::SUCCESS,
        Ok(Verdict::Failed) => ExitCode::from(1),
        Err(Failure(line)) => {
            eprintln!("shaftbook: {line}");
            ExitCode::from(2)
        }
    }
}
