//! How far the searches of the small scope go: the bounds, and how they are told.

use super::path::{AT_BORDERS, ENDS, EVERY, FEW, FEWEST, LAST, Record};
use super::slots::SLOTS;
use super::starts::Start;

/// How far one search goes.
#[derive(Clone, Copy, Debug)]
pub struct Scope {
    /// Most records in a path, beside those that a power-up makes by itself.
    pub records: usize,
    /// The tears of each cut of a path: as many lists as a path has cuts, each a part of the
    /// one before it.
    pub tears: &'static [&'static [u8]],
    /// Whether after the first power-up each slot is lost or overwritten too.
    pub decays: bool,
}

/// Every tear of one cut; every tear that ends at a border of the format, cut once more; and
/// three nested cuts.
pub const QUICK: &[Scope] = &[
    Scope { records: 1, tears: &[&EVERY], decays: true },
    Scope { records: 1, tears: &[&AT_BORDERS, &ENDS], decays: false },
    Scope { records: 2, tears: &[&ENDS, &ENDS, &LAST], decays: false },
];

/// The same with more of everything, and one nested cut more.
pub const FULL: &[Scope] = &[
    Scope { records: 2, tears: &[&EVERY, &FEW], decays: true },
    Scope { records: 3, tears: &[&FEWEST, &FEWEST, &ENDS], decays: false },
    Scope { records: 2, tears: &[&FEWEST, &FEWEST, &ENDS, &ENDS], decays: false },
];

/// The searches of the quick or of the full search.
#[must_use]
pub const fn scopes(is_quick: bool) -> &'static [Scope] {
    if is_quick { QUICK } else { FULL }
}

/// What bounds the number of states.
#[must_use]
pub fn bounds(is_quick: bool) -> String {
    let searches: Vec<String> = scopes(is_quick).iter().map(Scope::named).collect();
    format!(
        "{} starts on {SLOTS} slots; {} records ({}); from each start {}",
        Start::ALL.len(),
        Record::ALL.len(),
        Record::ALL.map(|record| record.to_string()).join(", "),
        searches.join("; "),
    )
}

impl Scope {
    fn named(&self) -> String {
        let tears: Vec<String> = self.tears.iter().map(|list| list.len().to_string()).collect();
        let records = if self.records == 1 { "record" } else { "records" };
        let (cuts, nested) = match self.tears.len() {
            1 => ("cut", ""),
            _ => ("cuts", ", each in the recovery from the one before it,"),
        };
        let decays = if self.decays { ", or one slot lost or overwritten" } else { "" };
        format!(
            "up to {} {records} and {} {cuts} in any cycle{nested} of {} tears{decays}",
            self.records,
            self.tears.len(),
            tears.join(", "),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_cut_has_some_of_the_tears_of_the_cut_before_it() {
        // Else a state that was met at fewer cuts would not stand for it at more.
        for scope in [QUICK, FULL].concat() {
            for lists in scope.tears.windows(2) {
                assert!(lists[1].iter().all(|tear| lists[0].contains(tear)), "{}", scope.named());
            }
        }
    }

    #[test]
    fn three_nested_cuts_at_least_and_one_more_in_the_full_search() {
        let deepest = |scopes: &[Scope]| scopes.iter().map(|it| it.tears.len()).max();
        assert_eq!((deepest(QUICK), deepest(FULL)), (Some(3), Some(4)));
        let most = |scopes: &[Scope]| scopes.iter().map(|it| it.records).max();
        assert_eq!((most(QUICK), most(FULL)), (Some(2), Some(3)));
    }

    #[test]
    fn the_bounds_are_told() {
        let told = bounds(true);
        for part in [
            "8 starts",
            "64 slots",
            "5 records (",
            "up to 2 records and 3 cuts",
            "2, 2, 1 tears",
            "71 tears",
        ] {
            assert!(told.contains(part), "{part}: {told}");
        }
    }
}
