//! A place in a source where mutants are, and how its text is written with them.

use std::ops::Range;

/// Bytes of a source.
pub type Bytes = Range<usize>;

/// What is at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A pattern and its guard, if it has one: an arm can be deleted.
    Arm {
        /// The pattern.
        pattern: Bytes,
        /// The guard's expression.
        guard: Option<Bytes>,
    },
    /// The expression of a guard.
    Guard,
    /// An expression with two operands.
    Binary {
        /// The operator.
        operator: Bytes,
    },
    /// An expression with one operand.
    Unary {
        /// The operator.
        operator: Bytes,
    },
    /// An expression that fills a struct.
    Struct {
        /// A field that can be left out, with the comma after it.
        field: Bytes,
    },
    /// What follows the brace that opens a function's body: nothing, at this place.
    Body,
    /// The word `const` of a function, and the blank after it.
    Const,
}

/// A place with its mutants: number, and what replaces.
#[derive(Clone, Debug)]
pub struct Edit {
    /// All of the place; the whole arm's pattern and guard for [`Kind::Arm`].
    pub whole: Bytes,
    /// What is there.
    pub kind: Kind,
    /// The mutants that are put behind the switch.
    pub mutants: Vec<(u32, String)>,
}

impl Edit {
    /// Of two places with the same bytes, the outer one has the lower rank.
    pub const fn rank(&self) -> u8 {
        match self.kind {
            Kind::Arm { .. } => 0,
            Kind::Guard => 1,
            _ => 2,
        }
    }

    /// What a mutant changes, in words.
    pub fn words(&self, source: &str, replacement: &str) -> String {
        let text = |bytes: &Bytes| short(&source[bytes.clone()]);
        let whole = text(&self.whole);
        match &self.kind {
            Kind::Arm { .. } => format!("no arm `{whole}`"),
            Kind::Guard => format!("`{replacement}` for the guard `{whole}`"),
            Kind::Binary { operator } => {
                format!("`{replacement}` for `{}` in `{whole}`", text(operator))
            }
            Kind::Unary { operator } => format!("no `{}` in `{whole}`", text(operator)),
            Kind::Struct { field } => format!("no `{}` in `{whole}`", text(field)),
            Kind::Body | Kind::Const => format!("`{}` for the body", short(replacement)),
        }
    }
}

/// A piece of source on one line; the middle of a long one is left out.
fn short(source: &str) -> String {
    const LONGEST: usize = 80;
    const END: usize = 36;
    let line = source.split_whitespace().collect::<Vec<_>>().join(" ");
    let count = line.chars().count();
    if count <= LONGEST {
        return line;
    }
    let first: String = line.chars().take(END).collect();
    let last: String = line.chars().skip(count - END).collect();
    format!("{first} … {last}")
}
