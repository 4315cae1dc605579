//! Writes a file with its mutants behind the switch.
//!
//! An expression of which there are mutants becomes
//! `(if taken(1) { MUTANT } else if taken(2) { MUTANT } else { EXPRESSION })`. Only one mutant is
//! ever switched on: so other mutants are put only into the last part, and the text grows with the
//! depth of an expression, not with its power.

use std::collections::HashMap;
use std::fmt::Write as _;

use crate::edit::{Bytes, Edit, Kind};
use crate::find::{ConstFunction, Syntax, find};
use crate::lines::Lines;
use crate::request::{File, Found, Mutant, Place};

/// The rewritten text of a file, and where its mutants are.
///
/// # Errors
/// The source cannot be parsed.
pub fn file(source: &str, file: &File, cfg: &[String]) -> Result<(String, Found), syn::Error> {
    let mut syntax = find(&syn::parse_file(source)?, cfg);
    let mut found = Found::default();
    let stays = |function: &ConstFunction| file.keep_const.contains(&function.name);
    found.const_functions = syntax.const_functions.iter().map(|each| each.name.clone()).collect();
    let kept: Vec<Bytes> =
        syntax.const_functions.iter().filter(|each| stays(each)).map(|f| f.body.clone()).collect();

    let lines = Lines::new(source);
    for mutant in &file.mutants {
        let Some((start, edit)) = place_of(mutant, &lines, &mut syntax.places) else { continue };
        let inside = |all: &[Bytes]| all.iter().any(|bytes| bytes.contains(&start));
        let is_arm = matches!(edit.kind, Kind::Arm { .. });
        let is_constant = inside(&syntax.constants) || (inside(&syntax.patterns) && !is_arm);
        let place = Place {
            number: mutant.number,
            change: edit.words(source, &mutant.replacement),
            left_out: inside(&syntax.left_out),
            in_const: inside(&kept) || is_constant,
            own: None,
            whole: None,
        };
        if mutant.wanted && !place.left_out && !place.in_const {
            edit.mutants.push((mutant.number, mutant.replacement.clone()));
        }
        found.mutants.push(place);
    }

    let mut writer = Writer::new(source, &file.switch, syntax, stays);
    writer.text(0..source.len());
    for place in &mut found.mutants {
        if let Some((own, whole)) = writer.places.remove(&place.number) {
            (place.own, place.whole) = (Some(own), Some(whole));
        }
    }
    Ok((writer.out, found))
}

/// The place of a mutant, and its first byte.
fn place_of<'p>(
    mutant: &Mutant,
    lines: &Lines<'_>,
    places: &'p mut HashMap<(&'static str, usize), Edit>,
) -> Option<(usize, &'p mut Edit)> {
    const GENRES: [&str; 6] =
        ["FnValue", "BinaryOperator", "UnaryOperator", "MatchArm", "MatchArmGuard", "StructField"];
    let genre = GENRES.into_iter().find(|genre| *genre == mutant.genre)?;
    let start = lines.byte(mutant.start)?;
    places.get_mut(&(genre, start)).map(|edit| (start, edit))
}

/// Where a mutant's own code is, and it with what it is a mutant of.
type Written = ((usize, usize), (usize, usize));

struct Writer<'a> {
    source: &'a str,
    switch: &'a str,
    /// Outer places before those in them.
    edits: Vec<Edit>,
    out: String,
    places: HashMap<u32, Written>,
}

impl<'a> Writer<'a> {
    fn new(
        source: &'a str,
        switch: &'a str,
        syntax: Syntax,
        stays: impl Fn(&ConstFunction) -> bool,
    ) -> Self {
        let words = syntax.const_functions.iter().filter(|each| !stays(each)).map(|each| Edit {
            whole: each.word.clone(),
            kind: Kind::Const,
            mutants: Vec::new(),
        });
        let with_mutants = syntax.places.into_values().filter(|edit| !edit.mutants.is_empty());
        let mut edits: Vec<Edit> = words.chain(with_mutants).collect();
        edits
            .sort_by_key(|edit| (edit.whole.start, std::cmp::Reverse(edit.whole.end), edit.rank()));
        Self { source, switch, edits, out: String::new(), places: HashMap::new() }
    }

    /// Writes a piece of the source, with all mutants in it.
    fn text(&mut self, bytes: Bytes) {
        self.after(bytes, 0);
    }

    /// The same, with the mutants of the places from number `first` on.
    fn after(&mut self, bytes: Bytes, first: usize) {
        let (mut at, mut next) = (bytes.start, first);
        while let Some(edit) = self.edits.get(next) {
            let whole = edit.whole.clone();
            if whole.start >= at && whole.end <= bytes.end {
                let edit = edit.clone();
                self.out.push_str(&self.source[at..whole.start]);
                self.edit(&edit, next + 1);
                at = whole.end;
            }
            if whole.start > bytes.end {
                break;
            }
            next += 1;
        }
        self.out.push_str(&self.source[at..bytes.end]);
    }

    /// Writes a place with its mutants; those of the places in it begin at number `inner`.
    fn edit(&mut self, edit: &Edit, inner: usize) {
        let begin = self.out.len();
        let own = match &edit.kind {
            Kind::Const => return,
            Kind::Body => self.body(edit),
            Kind::Arm { pattern, guard } => self.arm(edit, pattern, guard.as_ref(), inner),
            _ => self.expression(edit, inner),
        };
        let whole = (begin, self.out.len());
        for (number, own) in own {
            self.places.insert(number, (own, whole));
        }
    }

    fn body(&mut self, edit: &Edit) -> Vec<(u32, (usize, usize))> {
        let mut own = Vec::new();
        for (number, value) in &edit.mutants {
            let begin = self.out.len();
            let _ = write!(self.out, " if {}({number}) {{ return {value}; }}", self.switch);
            own.push((*number, (begin, self.out.len())));
        }
        own
    }

    fn arm(
        &mut self,
        edit: &Edit,
        pattern: &Bytes,
        guard: Option<&Bytes>,
        inner: usize,
    ) -> Vec<(u32, (usize, usize))> {
        self.out.push_str(&self.source[pattern.clone()]);
        let begin = self.out.len();
        let off: Vec<_> =
            edit.mutants.iter().map(|(number, _)| format!("!{}({number})", self.switch)).collect();
        let _ = write!(self.out, " if {}", off.join(" && "));
        let own = (begin, self.out.len());
        if let Some(guard) = guard {
            self.out.push_str(" && (");
            self.after(guard.clone(), inner);
            self.out.push(')');
        }
        edit.mutants.iter().map(|(number, _)| (*number, own)).collect()
    }

    fn expression(&mut self, edit: &Edit, inner: usize) -> Vec<(u32, (usize, usize))> {
        let source = self.source;
        let mut own = Vec::new();
        self.out.push('(');
        for (number, replacement) in &edit.mutants {
            let begin = self.out.len();
            let replaced = match &edit.kind {
                Kind::Binary { operator } | Kind::Unary { operator } => operator,
                Kind::Struct { field } => field,
                _ => &edit.whole,
            };
            let (left, right) = (edit.whole.start..replaced.start, replaced.end..edit.whole.end);
            let _ = write!(
                self.out,
                "if {}({number}) {{ {}{replacement}{} }} else ",
                self.switch, &source[left], &source[right]
            );
            own.push((*number, (begin, self.out.len())));
        }
        self.out.push_str("{ ");
        self.after(edit.whole.clone(), inner);
        self.out.push_str(" })");
        own
    }
}

#[cfg(test)]
mod tests;
