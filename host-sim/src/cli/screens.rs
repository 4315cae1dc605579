//! `shaftbook screens`: every screen of the panel as a picture.

use std::fmt::Write as _;
use std::fs;
use std::io::Write;
use std::path::PathBuf;

use clap::ValueEnum;
use shaftbook_panel::text::Language;

use super::Verdict;
use super::failure::Failure;
use super::output::{WholeFile, say};
use shaftbook_tools::gallery::exhibits;
use shaftbook_tools::picture::{frame_of, text_of, write_png};

/// Form of the pictures.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum Form {
    /// One PNG a screen and language, named SCREEN.LANGUAGE.png.
    #[default]
    Png,
    /// One text file a language, two pixels a character, named LANGUAGE.txt.
    Text,
}

/// Write every screen of the panel as a picture, in every language, on an invented
/// machine
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  shaftbook screens --out docs/screens
  shaftbook screens --out tests/screens --form text")]
pub struct Args {
    /// Folder to write to; made if it is not there
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Form of the pictures
    #[arg(long, value_enum, default_value_t)]
    form: Form,
}

/// Does it.
///
/// # Errors
/// A file that cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    fs::create_dir_all(&args.out).map_err(|e| Failure::file(&args.out, &e))?;
    let mut count = 0;
    for language in Language::ALL {
        let mut whole = String::new();
        for exhibit in exhibits(language) {
            let frame = frame_of(&exhibit.view);
            count += 1;
            match args.form {
                Form::Png => {
                    let name = format!("{}.{}.png", exhibit.name, language.letters());
                    let (file, mut writer) = WholeFile::begin(&args.out.join(name))?;
                    write_png(&frame, &mut writer)?;
                    writer.flush()?;
                    file.finish()?;
                }
                Form::Text => {
                    // Writing to a string cannot fail.
                    let _ = writeln!(whole, "== {}: {}", exhibit.name, exhibit.caption);
                    whole += &text_of(&frame);
                }
            }
        }
        if args.form == Form::Text {
            let name = format!("{}.txt", language.letters());
            let (file, mut writer) = WholeFile::begin(&args.out.join(name))?;
            writer.write_all(whole.as_bytes())?;
            writer.flush()?;
            file.finish()?;
        }
    }
    say(&format!("{count} screens in {}\n", args.out.display()))?;
    Ok(Verdict::Held)
}
