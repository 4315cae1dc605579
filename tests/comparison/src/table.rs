//! The tables of `docs/COMPARISON.md`: how they are written from figures, and found in the
//! document between its markers.

use std::fmt::Write;

use crate::figures::{Figures, Spread};
use crate::judge::Outcome;

/// What a store weighs on thumbv6m, as `.ci/compare` measured it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Size {
    /// Name of the probe.
    pub probe: String,
    /// Bytes of code and constants.
    pub code: String,
    /// Bytes of stack.
    pub stack: String,
    /// Bytes of RAM that are kept.
    pub ram: String,
}

/// Reads the sizes: lines of four fields with tabs between.
///
/// # Errors
/// The line that is none.
pub fn sizes(text: &str) -> Result<Vec<Size>, String> {
    text.lines()
        .map(|line| match line.split('\t').collect::<Vec<_>>()[..] {
            [probe, code, stack, ram] => Ok(Size {
                probe: probe.to_owned(),
                code: code.to_owned(),
                stack: stack.to_owned(),
                ram: ram.to_owned(),
            }),
            _ => Err(format!("not a size: {line:?}")),
        })
        .collect()
}

/// A whole number with commas.
fn whole(figure: u64) -> String {
    let digits = figure.to_string();
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

fn rounded(figure: f64) -> String {
    #[allow(clippy::cast_sign_loss)] // No figure is negative.
    whole(figure.round() as u64)
}

fn tenths(figure: f64) -> String {
    format!("{figure:.1}")
}

fn spread(spread: Spread, show: fn(f64) -> String) -> String {
    format!("{} ({})", show(spread.mean), rounded(spread.worst))
}

/// Both tables. Each row: the probe's name, if it was weighed, and the figures.
#[must_use]
pub fn text(rows: &[(&str, Figures)], sizes: &[Size]) -> String {
    let mut text = String::from(
        "| store | page programs a checkpoint (worst) | bytes programmed a checkpoint | hottest over mean page | life, years | boot reads, bytes (worst) | boot, ms (worst) | RAM kept | stack | code |\n\
         |---|--:|--:|--:|--:|--:|--:|--:|--:|--:|\n",
    );
    for (probe, figures) in rows {
        let size = sizes.iter().find(|size| size.probe == *probe);
        let of = |field: fn(&Size) -> &String| {
            size.map_or("not weighed".to_owned(), |size| {
                let text = field(size);
                let digits = text.trim_end_matches('+');
                let more = &text[digits.len()..];
                digits.parse().map_or_else(|_| text.clone(), |figure| whole(figure) + more)
            })
        };
        // Cannot fail: a string takes everything.
        let _ = writeln!(
            text,
            "| {} | {} | {} | {:.2} | {} | {} | {} | {} | {} | {} |",
            figures.name,
            spread(figures.programs, tenths),
            rounded(figures.bytes),
            figures.hottest_over_mean,
            rounded(figures.life_years),
            spread(figures.boot_bytes, rounded),
            spread(figures.boot_ms, rounded),
            of(|size| &size.ram),
            of(|size| &size.stack),
            of(|size| &size.code),
        );
    }
    text.push_str(
        "\n| store | checkpoints cut | bus bytes in them | cycles torn | images | held | fell back | above truth | empty | would not open | would not store | next one lost | panicked | not held, written bytes only |\n\
         |---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|\n",
    );
    for (_, figures) in rows {
        let verdict = &figures.verdict;
        let _ = write!(
            text,
            "| {} | {} | {} | {} | {} |",
            figures.name,
            whole(verdict.checkpoints),
            whole(verdict.bus_bytes),
            whole(verdict.cycles),
            whole(verdict.cases()),
        );
        for outcome in Outcome::ALL {
            let _ = write!(text, " {} |", whole(verdict.of(outcome)));
        }
        let _ = writeln!(text, " {} |", whole(verdict.failures_within));
    }
    text
}

const BEGIN: &str = "<!-- made by .ci/compare --update -->\n";
const END: &str = "<!-- end -->";

/// The part of `document` between the markers.
#[must_use]
pub fn shown(document: &str) -> Option<&str> {
    let (_, rest) = document.split_once(BEGIN)?;
    Some(rest.split_once(END)?.0)
}

/// `document` with `table` between the markers.
#[must_use]
pub fn with(document: &str, table: &str) -> Option<String> {
    let (before, rest) = document.split_once(BEGIN)?;
    let (_, after) = rest.split_once(END)?;
    Some(format!("{before}{BEGIN}{table}{END}{after}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_put_between_the_markers_and_found_there() {
        let document = format!("a\n{BEGIN}old\n{END}\nb\n");
        let changed = with(&document, "new\n").expect("markers");
        assert_eq!(shown(&document), Some("old\n"));
        assert_eq!(changed, format!("a\n{BEGIN}new\n{END}\nb\n"));
        assert_eq!(with("no markers", "new"), None);
    }

    #[test]
    fn figures_have_commas() {
        assert_eq!(["7", "1,234", "1,000,000"], [7, 1_234, 1_000_000].map(whole)[..]);
    }

    #[test]
    fn sizes_are_read_and_other_lines_refused() {
        let read = sizes("ring\t1\t2+\t3\n").expect("one line");
        assert_eq!((read[0].stack.as_str(), read.len()), ("2+", 1));
        assert!(sizes("ring\t1").is_err());
    }
}
