//! Finds the line and column of a key in a TOML text, for error messages.
//!
//! A key path is written `designs[1].blocks[0].needle`.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Line and column (both from 1) of byte `offset` of `text`.
#[must_use]
pub fn line_column(text: &str, offset: usize) -> (usize, usize) {
    let before = &text.as_bytes()[..offset.min(text.len())];
    let line = before.split(|b| *b == b'\n').count();
    let line_start = before.iter().rposition(|b| *b == b'\n').map_or(0, |p| p + 1);
    (line, 1 + before.len() - line_start)
}

/// Byte offset of the value at key `path`, or of the deepest table on the way to
/// it that exists (a missing key has no place of its own). `None` if nothing of
/// the path exists.
#[must_use]
pub fn offset_of(text: &str, path: &str) -> Option<usize> {
    let root = DeTable::parse(text).ok()?;
    let mut table = Some(root.get_ref());
    let mut found: Option<usize> = None;
    for part in path.split('.') {
        let (key, index) = match part.split_once('[') {
            Some((key, rest)) => (key, rest.trim_end_matches(']').parse::<usize>().ok()),
            None => (part, None),
        };
        let Some((name, value)) = table.and_then(|t| t.iter().find(|(k, _)| k.get_ref() == key))
        else {
            break;
        };
        let value: &Spanned<DeValue<'_>> = match (index, value.get_ref()) {
            (Some(index), DeValue::Array(items)) => match items.get(index) {
                Some(item) => item,
                None => break,
            },
            _ => value,
        };
        found = Some(match (index, value.get_ref()) {
            (None, DeValue::Table(_)) => name.span().start,
            _ => value.span().start,
        });
        table = match value.get_ref() {
            DeValue::Table(t) => Some(t),
            _ => None,
        };
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "a = 1\n[t]\nb = [ { c = 2 }, { c = 3 } ]\n[[d]]\ne = 4\n[[d]]\ne = 5\n";

    fn place(path: &str) -> Option<(usize, usize)> {
        offset_of(TEXT, path).map(|offset| line_column(TEXT, offset))
    }

    #[test]
    fn finds_plain_nested_and_indexed_keys() {
        assert_eq!(place("a"), Some((1, 5)));
        assert_eq!(place("t.b[1].c"), Some((3, 24)));
        assert_eq!(place("d[1].e"), Some((7, 5)));
    }

    #[test]
    fn a_missing_key_is_placed_at_its_table() {
        assert_eq!(place("t.missing"), Some((2, 2)));
        assert_eq!(place("nothing"), None);
    }
}
