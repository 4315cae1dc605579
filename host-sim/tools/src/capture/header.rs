//! The header of a capture: its timescale and its variables.
//!
//! It is read command by command, not by recursion, because a capture may nest its scopes as
//! deeply as it likes.

use std::io::BufRead;

use vcd::{Command, IdCode, Parser, TimescaleUnit, VarType};

use super::read_error::{read_error, wrong};
use shaftbook_world::input_error::InputError;

/// A variable of a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Variable {
    /// Scopes and name, with dots.
    pub path: String,
    /// Name, with its bit in brackets if it is one of several bits.
    pub name: String,
    /// Its kind.
    pub kind: VarType,
    /// Its width, bits.
    pub bits: u32,
    /// Its code in the value changes.
    pub code: IdCode,
}

/// A header.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CaptureHeader {
    /// Length of a tick, if it is given.
    pub timescale: Option<(u32, TimescaleUnit)>,
    /// All variables, in the order of the file.
    pub variables: Vec<Variable>,
}

/// Reads the header of capture `file`, up to `$enddefinitions`.
///
/// # Errors
/// What is malformed or missing, with its line.
pub fn read<R: BufRead>(file: &str, parser: &mut Parser<R>) -> Result<CaptureHeader, InputError> {
    let mut header = CaptureHeader::default();
    let mut scopes: Vec<String> = Vec::new();
    let mut line = 1;
    loop {
        let command = match parser.next() {
            None => return wrong(file, line, "the file ends in the middle of its header"),
            Some(Err(error)) => return Err(read_error(file, parser.line(), &error, "header")),
            Some(Ok(command)) => command,
        };
        line = parser.line();
        match command {
            Command::Enddefinitions => return Ok(header),
            Command::Timescale(count, unit) => header.timescale = Some((count, unit)),
            Command::ScopeDef(_, name) => scopes.push(name),
            Command::Upscope => {
                if scopes.pop().is_none() {
                    return wrong(file, line, "an $upscope without its $scope");
                }
            }
            Command::VarDef(kind, bits, code, reference, index) => {
                let name = match index {
                    Some(index) if bits == 1 => format!("{reference}{index}"),
                    _ => reference,
                };
                let mut path = scopes.join(".");
                if !path.is_empty() {
                    path.push('.');
                }
                path.push_str(&name);
                header.variables.push(Variable { path, name, kind, bits, code });
            }
            Command::Date(_) | Command::Version(_) | Command::Comment(_) => {}
            _ => return wrong(file, line, "a value change before $enddefinitions"),
        }
    }
}
