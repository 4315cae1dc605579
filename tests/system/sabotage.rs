//! Every proof fails when the thing that it guards is broken, and holds when nothing is.
//!
//! The claims come from the project's own list; the broken boards are in
//! `shaftbook_evidence::prove::sabotage`. The search is the same as that of
//! `shaftbook sabotage`, whose table in `docs/SABOTAGE.md` is compared by `.ci/sabotage`.

use std::collections::BTreeSet;

use shaftbook_evidence::prove::sabotage::{self, ALL, Sabotage};
use shaftbook_evidence::prove::{Proof, ProofOutcome, SearchPlan};

const PLAN: SearchPlan = SearchPlan::new(1, true);

/// Broken boards that no proof catches; why stands in `docs/SABOTAGE.md`.
const MISSED: [&str; 0] = [];

fn run(it: &Sabotage, plan: &SearchPlan) -> ProofOutcome {
    it.run(it.tried_first, plan, &|_, _| {})
}

#[test]
fn every_broken_board_is_caught_by_its_proof_and_the_case_replays() {
    let mut missed = Vec::new();
    for it in ALL.iter().filter(|it| !MISSED.contains(&it.name)) {
        let outcome = run(it, &PLAN);
        let Some(failure) = outcome.failure else {
            missed.push(format!("{}: {} ({} cases)", it.name, it.what, outcome.cases));
            continue;
        };
        let again = run(it, &SearchPlan { replay: Some(failure.id), ..PLAN });
        assert_eq!(
            again.failure.as_ref(),
            Some(&failure),
            "{}: its failing case does not replay",
            it.name
        );
        println!(
            "{:<24} {:<16} after {:>7} cases: {:.90}",
            it.name,
            it.tried_first.name(),
            outcome.cases_to_failure.unwrap_or_default(),
            failure.seen
        );
    }
    assert!(missed.is_empty(), "not caught:\n{}", missed.join("\n"));
}

#[test]
fn there_are_enough_of_them_each_with_a_name_of_its_own_and_one_for_every_proof() {
    let names: BTreeSet<&str> = ALL.iter().map(|it| it.name).collect();
    assert_eq!(names.len(), ALL.len());
    assert!(ALL.len() >= 30, "{}", ALL.len());
    assert!(MISSED.iter().all(|name| names.contains(name)));
    let caught: BTreeSet<Proof> = ALL.iter().map(|it| it.tried_first).collect();
    assert_eq!(caught, BTreeSet::from(Proof::ALL));
}

#[test]
fn the_sound_board_passes_and_a_proof_gives_the_same_figures_twice() {
    for proof in Proof::ALL {
        let outcome = sabotage::sound(proof, &PLAN);
        assert!(outcome.held(), "{}: {:?}", proof.name(), outcome.failure);
        if proof == Proof::LossBound {
            let again = sabotage::sound(proof, &PLAN);
            assert_eq!((outcome.cases, outcome.worst), (again.cases, again.worst));
        }
    }
}
