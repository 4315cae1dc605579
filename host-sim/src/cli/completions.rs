//! `shaftbook completions`: what a shell needs to complete the command line.

use clap::{CommandFactory as _, ValueEnum};
use clap_complete::{Shell as Generator, generate};

use super::failure::Failure;
use super::output::say;
use super::{Cli, Verdict};

/// Print a completion script for a shell, to standard output.
///
/// It completes sub-commands, options, values that are one of a list, and file names.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  source <(shaftbook completions bash)
  shaftbook completions bash >~/.local/share/bash-completion/completions/shaftbook
  shaftbook completions zsh >~/.zfunc/_shaftbook
  shaftbook completions fish >~/.config/fish/completions/shaftbook.fish

Zsh finds the file if its folder is in fpath before compinit runs; docs/CI.md says more.")]
pub struct Args {
    /// Shell that will read it
    #[arg(value_enum)]
    shell: Shell,
}

/// A shell that can complete.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Shell {
    /// GNU bash.
    Bash,
    /// zsh.
    Zsh,
    /// fish.
    Fish,
}

/// Does it.
///
/// # Errors
/// The output cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let generator = match args.shell {
        Shell::Bash => Generator::Bash,
        Shell::Zsh => Generator::Zsh,
        Shell::Fish => Generator::Fish,
    };
    let mut command = Cli::command();
    let name = command.get_name().to_owned();
    let mut script = Vec::new();
    generate(generator, &mut command, name, &mut script);
    say(&String::from_utf8(script)?)?;
    Ok(Verdict::Held)
}
