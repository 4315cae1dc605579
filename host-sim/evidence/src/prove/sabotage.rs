//! Boards that are broken on purpose, one mistake each, to show that the proofs find what
//! engineers really get wrong.
//!
//! - [`variants`]: the table of the broken boards
//! - [`outside`]: mistakes that are not in the core; [`saying`]: in what is said
//! - [`switches`]: the one board type that has them all
//! - this file: what a broken board is, and the search for a proof that catches it
//!
//! They live in the host simulator only: boards use `Sound`, and nothing that a board
//! links depends on this crate (`tests/system/dependencies.rs` reads the dependency graph,
//! `tests/system/sources.rs` the sources).

pub mod outside;
pub mod saying;
pub mod switches;
pub mod variants;

use std::fmt;
use std::str::FromStr;

use shaftbook_core::rules::Sound;

use super::{Proof, ProofOutcome, SearchPlan};
use switches::{Sabotaged, Switches};
pub use variants::ALL;

/// Kinds of mistake that are made again and again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Mistake {
    /// Something is believed that was not checked.
    Trust,
    /// Things are written in the wrong order, or apart.
    Order,
    /// Nothing is left when one copy is lost.
    Redundancy,
    /// Widths, wraps, rounding, off by one.
    Arithmetic,
    /// The supply goes, and the board does not use the time that is left.
    Power,
    /// What a reset forgets or keeps.
    Reset,
    /// Inputs: bounce, edges, needles.
    Signals,
    /// Between an interrupt and the main loop.
    Race,
    /// The driver of the memory part.
    Driver,
    /// The part wears out.
    Wear,
    /// Who may do what.
    Authority,
    /// What is said of what was counted.
    Said,
}

impl Mistake {
    /// In a few words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Trust => "believed unchecked",
            Self::Order => "order of writes",
            Self::Redundancy => "no second copy",
            Self::Arithmetic => "arithmetic",
            Self::Power => "power fails",
            Self::Reset => "reset",
            Self::Signals => "signals",
            Self::Race => "interrupt race",
            Self::Driver => "memory driver",
            Self::Wear => "wear",
            Self::Authority => "authority",
            Self::Said => "what is said",
        }
    }
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// What is called with the runs done and the runs in all.
pub type Progress<'a> = &'a (dyn Fn(u64, u64) + Sync);

/// A broken board.
#[derive(Clone, Copy, Debug)]
pub struct Sabotage {
    /// Its name.
    pub name: &'static str,
    /// What is broken.
    pub what: &'static str,
    /// The kind of mistake.
    pub mistake: Mistake,
    /// The proof that is expected to catch it, and is tried first.
    pub tried_first: Proof,
    switches: &'static Switches,
}

/// What was found out about a broken board.
#[derive(Clone, Debug)]
pub struct SabotageFinding {
    /// The board.
    pub sabotage: Sabotage,
    /// What each proof that was run said, the one tried first at the front.
    pub outcomes: Vec<ProofOutcome>,
}

impl SabotageFinding {
    /// The first outcome that caught it.
    #[must_use]
    pub fn caught(&self) -> Option<&ProofOutcome> {
        self.outcomes.iter().find(|outcome| !outcome.held())
    }

    /// The names of all proofs that caught it, of those that were run.
    #[must_use]
    pub fn caught_by(&self) -> Vec<&'static str> {
        self.outcomes.iter().filter(|o| !o.held()).map(|o| o.proof.name()).collect()
    }

    /// Cases tried up to the one that caught it, those of proofs that held before it
    /// included; all that were tried if it was missed.
    #[must_use]
    pub fn cases(&self) -> u64 {
        let mut cases = 0;
        for outcome in &self.outcomes {
            match outcome.cases_to_failure {
                Some(to_failure) => return cases + to_failure,
                None => cases += outcome.cases,
            }
        }
        cases
    }
}

impl Sabotage {
    /// From now on [`Sabotaged`] is this board, on this thread.
    pub fn take_effect(&self) {
        switches::set(self.switches);
    }

    /// Runs one proof on it.
    #[must_use]
    pub fn run(&self, proof: Proof, plan: &SearchPlan, progress: Progress<'_>) -> ProofOutcome {
        let before_each = || switches::set(self.switches);
        proof.run_after::<Sabotaged>(plan, &|done, of| progress(done, of), &before_each)
    }

    /// Searches for a proof that catches it: first the one that is expected to, then the
    /// others; with `all` every proof is run, else none after one that caught it.
    #[must_use]
    pub fn search(&self, plan: &SearchPlan, all: bool, progress: Progress<'_>) -> SabotageFinding {
        let others = Proof::ALL.into_iter().filter(|proof| *proof != self.tried_first);
        let mut finding = SabotageFinding { sabotage: *self, outcomes: Vec::new() };
        for proof in std::iter::once(self.tried_first).chain(others) {
            finding.outcomes.push(self.run(proof, plan, progress));
            if !all && finding.caught().is_some() {
                break;
            }
        }
        finding
    }
}

impl FromStr for &'static Sabotage {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        ALL.iter().find(|it| it.name == text).ok_or_else(|| {
            format!("there is no broken board `{text}`; `shaftbook sabotage --list` names them")
        })
    }
}

/// The sound board through the same door, for comparison.
#[must_use]
pub fn sound(proof: Proof, plan: &SearchPlan) -> ProofOutcome {
    proof.run::<Sound>(plan, &|_, _| {})
}
