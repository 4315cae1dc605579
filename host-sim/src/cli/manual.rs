//! `shaftbook manual`: the manual pages, made from the same text as `--help`.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use clap::{Command, CommandFactory as _};
use clap_mangen::Man;
use clap_mangen::roff::{Roff, bold, roman};

use super::failure::Failure;
use super::output::{WholeFile, say};
use super::{Cli, Verdict};

/// Write the manual pages: the main one to standard output, or all of them to a folder.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook manual | man -l -
  shaftbook manual --dir ~/.local/share/man/man1
  man shaftbook-prove")]
pub struct Args {
    /// Folder for one page for the program and one for each sub-command; made if missing
    #[arg(long, value_name = "DIR")]
    dir: Option<PathBuf>,
}

/// Does it.
///
/// # Errors
/// A page cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let mut command = Cli::command().disable_help_subcommand(true);
    command.build();
    let Some(dir) = &args.dir else {
        say(&String::from_utf8(page(&command)?)?)?;
        return Ok(Verdict::Held);
    };
    fs::create_dir_all(dir).map_err(|error| Failure::file(dir, &error))?;
    write_with_sub_commands(&command, dir)?;
    Ok(Verdict::Held)
}

fn write_with_sub_commands(command: &Command, dir: &Path) -> Result<(), Failure> {
    let path = dir.join(Man::new(command.clone()).get_filename());
    let (whole, mut file) = WholeFile::begin(&path)?;
    file.write_all(&page(command)?)?;
    file.flush()?;
    whole.finish()?;
    for sub_command in command.get_subcommands() {
        write_with_sub_commands(sub_command, dir)?;
    }
    Ok(())
}

/// One page. The generator gives its parts, but for two: its synopsis leaves out what an
/// option takes, and it would run the lines of an example together.
fn page(command: &Command) -> io::Result<Vec<u8>> {
    let source = concat!("shaftbook ", env!("CARGO_PKG_VERSION"));
    let man = Man::new(command.clone()).source(source).manual("Shaftbook");
    let mut page = Vec::new();
    man.render_title(&mut page)?;
    man.render_name_section(&mut page)?;
    synopsis(command).to_writer(&mut page)?;
    man.render_description_section(&mut page)?;
    man.render_options_section(&mut page)?;
    if command.has_subcommands() {
        man.render_subcommands_section(&mut page)?;
    }
    let mut roff = Roff::new();
    if let Some(text) = command.get_after_help() {
        after_help(&mut roff, &text.to_string());
    }
    exit_status(&mut roff);
    roff.to_writer(&mut page)?;
    Ok(page)
}

/// The usage line of `--help`.
fn synopsis(command: &Command) -> Roff {
    let usage = command.clone().render_usage().to_string();
    let usage = usage.strip_prefix("Usage: ").unwrap_or(&usage);
    let name = command.get_bin_name().unwrap_or_else(|| command.get_name());
    let rest = usage.strip_prefix(name).unwrap_or(usage);
    let mut roff = Roff::new();
    roff.control("SH", ["SYNOPSIS"]);
    roff.text([bold(name), roman(rest)]);
    roff
}

/// What stands after the options in `--help`: a paragraph that begins with a heading
/// such as `Examples:` keeps its lines; all others are notes.
fn after_help(roff: &mut Roff, text: &str) {
    let mut is_in_notes = false;
    for paragraph in text.split("\n\n") {
        let heading = paragraph.split_once(":\n  ");
        if let Some((heading, _)) = heading {
            roff.control("SH", [heading.to_uppercase().as_str()]);
            roff.control("nf", []);
            for line in paragraph.lines().skip(1) {
                roff.text([roman(line.strip_prefix("  ").unwrap_or(line))]);
            }
            roff.control("fi", []);
        } else {
            if is_in_notes {
                roff.control("PP", []);
            } else {
                roff.control("SH", ["NOTES"]);
            }
            for line in paragraph.lines() {
                roff.text([roman(line)]);
            }
        }
        is_in_notes = heading.is_none();
    }
}

fn exit_status(roff: &mut Roff) {
    roff.control("SH", ["EXIT STATUS"]);
    for (code, meaning) in [
        ("0", "Done, or what was to be shown held."),
        ("1", "A proof or a bound did not hold."),
        ("2", "The command line or an input is wrong: one line on standard error says how."),
    ] {
        roff.control("TP", []);
        roff.text([bold(code)]);
        roff.text([roman(meaning)]);
    }
}
