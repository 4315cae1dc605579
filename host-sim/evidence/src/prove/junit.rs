//! The results of proofs as JUnit cases: one case for each proof.

use crate::junit::{Case, Ending, Suite};

use super::{ProofOutcome, SearchPlan};

/// What `plan` gave, one case for each of `outcomes`, in their order. `board` is the broken
/// board that it was run on, if it was one.
#[must_use]
pub fn suite(plan: &SearchPlan, outcomes: &[ProofOutcome], board: Option<&str>) -> Suite {
    let seed = plan.replay.map_or(plan.seed, |id| id.seed);
    let search = if plan.quick { "quick" } else { "full" };
    let mut properties = vec![
        ("version".to_owned(), env!("CARGO_PKG_VERSION").to_owned()),
        ("seed".to_owned(), seed.to_string()),
        ("search".to_owned(), search.to_owned()),
    ];
    if let Some(id) = plan.replay {
        properties.push(("replay".to_owned(), id.to_string()));
    }
    if let Some(board) = board {
        properties.push(("board".to_owned(), board.to_owned()));
    }
    Suite {
        name: "shaftbook prove".to_owned(),
        properties,
        cases: outcomes.iter().map(|outcome| case(plan, outcome, board)).collect(),
    }
}

fn case(plan: &SearchPlan, outcome: &ProofOutcome, board: Option<&str>) -> Case {
    let ending = match &outcome.failure {
        None => Ending::Held,
        Some(failure) => {
            let replay = failure.replay(plan, board);
            Ending::Failed {
                message: format!("case {} fails; replay: {replay}", failure.id),
                text: format!(
                    "claim: {}\nseen: {}\nreplay: {replay}\n",
                    outcome.proof.claim(),
                    failure.seen
                ),
            }
        }
    };
    let mut properties = vec![("cases".to_owned(), outcome.cases.to_string())];
    if !outcome.worst.is_empty() {
        properties.push(("worst".to_owned(), outcome.worst.clone()));
    }
    Case {
        name: outcome.proof.name().to_owned(),
        class: "shaftbook.prove".to_owned(),
        ending,
        properties,
        output: String::new(),
    }
}
