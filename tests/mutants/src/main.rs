//! Rewrites sources so that each mutant in them can be switched on by its number.
//!
//! Reads a [`Request`](request::Request) as JSON from the standard input, writes the rewritten
//! files, and prints an [`Answer`](request::Answer) as JSON: what each mutant changes, in words,
//! and where it is in the rewritten file, so that an error of the compiler can be told to belong
//! to it. Started by `.ci/mutants`, which says what is done with it.
#![forbid(unsafe_code)]

mod cfg;
mod edit;
mod find;
mod lines;
mod request;
mod rewrite;

use std::error::Error;
use std::{fs, io};

use request::{Answer, Request};

fn main() -> Result<(), Box<dyn Error>> {
    let request: Request = serde_json::from_reader(io::stdin().lock())?;
    let mut answer = Answer::default();
    for file in &request.files {
        let source = fs::read_to_string(request.from.join(&file.path))?;
        let (text, found) = rewrite::file(&source, file, &request.cfg)
            .map_err(|what| format!("{}: {what}", file.path))?;
        fs::write(request.to.join(&file.path), text)?;
        answer.files.push(found);
    }
    serde_json::to_writer(io::stdout().lock(), &answer)?;
    Ok(())
}
