//! Every proof fails when the thing that it guards is broken, and holds when nothing is.
//!
//! Source of the nine claims: the project's own list; the broken boards are in
//! `host_sim::prove::sabotage`.

use std::collections::BTreeSet;

use host_sim::prove::sabotage::{self, ALL};
use host_sim::prove::{Plan, Proof};

const PLAN: Plan = Plan { seed: 1, quick: true, replay: None };

#[test]
fn every_broken_board_is_caught_by_its_proof_and_the_case_replays() {
    let mut missed = Vec::new();
    for it in ALL {
        let outcome = it.run(&PLAN);
        let Some(failure) = outcome.failure else {
            missed.push(format!("{}: {} ({} cases)", it.name, it.what, outcome.cases));
            continue;
        };
        let again = it.run(&Plan { replay: Some(failure.id), ..PLAN });
        assert_eq!(
            again.failure.map(|f| f.id),
            Some(failure.id),
            "{}: its failing case does not replay",
            it.name
        );
        println!(
            "{:<22} {:<16} after {:>7} cases: {:.90}",
            it.name,
            it.caught_by.name(),
            outcome.cases_to_failure.unwrap_or_default(),
            failure.seen
        );
    }
    assert!(missed.is_empty(), "not caught:\n{}", missed.join("\n"));
}

#[test]
fn every_proof_has_a_sabotage() {
    let caught: BTreeSet<Proof> = ALL.iter().map(|it| it.caught_by).collect();
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
