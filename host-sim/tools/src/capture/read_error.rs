//! What is wrong with a capture, and on which line.

use std::io::{Error, ErrorKind};

use vcd::ParseError;

use shaftbook_world::input_error::InputError;

/// `what` is wrong on a line of `file`.
pub(super) fn wrong<T>(file: &str, line: u64, what: impl Into<String>) -> Result<T, InputError> {
    Err(InputError::new(format!("{file}:{line}"), what))
}

/// An error of the reader or the parser, in the `part` of `file` at `line`.
pub(super) fn read_error(file: &str, line: u64, error: &Error, part: &str) -> InputError {
    let place = format!("{file}:{line}");
    if error.kind() == ErrorKind::UnexpectedEof {
        return InputError::new(place, format!("the file ends in the middle of its {part}"));
    }
    match error.get_ref().and_then(|e| e.downcast_ref::<ParseError>()) {
        Some(parse) => InputError::new(
            format!("{file}:{}", parse.line()),
            format!("not a value change dump here: {} (in the {part})", parse.kind()),
        ),
        None => InputError::new(place, format!("{error}")),
    }
}
