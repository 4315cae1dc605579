//! A TOML file that is read and then checked: a scenario, a profile, a campaign or a
//! regression.
//!
//! Every error names file, line and column.

use std::path::Path;

use serde::de::DeserializeOwned;

use crate::input_error::InputError;
use crate::locate::{line_column, offset_of};
use crate::settings_file::toml_error;

/// The text of the file at `path`, and its name as errors give it.
///
/// # Errors
/// The file cannot be read.
pub fn read(path: &Path) -> Result<(String, String), InputError> {
    let name = path.display().to_string();
    let text = std::fs::read_to_string(path).map_err(|e| InputError::new(&name, format!("{e}")))?;
    Ok((name, text))
}

/// Parses `text`, then lets `check` look at it: a key as a path, and what is wrong with it.
///
/// # Errors
/// An [`InputError`] that names file, line and column.
pub fn parse<T: DeserializeOwned>(
    name: &str,
    text: &str,
    check: impl FnOnce(&T) -> Result<(), (String, String)>,
) -> Result<T, InputError> {
    let parsed: T = toml::from_str(text).map_err(|e| toml_error(name, text, &e))?;
    check(&parsed).map_err(|(key, what)| {
        let place = offset_of(text, &key).map_or_else(
            || name.to_owned(),
            |offset| {
                let (line, column) = line_column(text, offset);
                format!("{name}:{line}:{column}")
            },
        );
        InputError::new(place, format!("{key}: {what}"))
    })?;
    Ok(parsed)
}
