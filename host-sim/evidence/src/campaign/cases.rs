//! A campaign's results as JUnit cases: one for each scenario, one for each kind of fault,
//! one for each state, and one for each of the first runs that failed.
//!
//! There is not one for each run, because a page with a million cases shows nothing.

use super::kind::FaultKind;
use super::results::{Results, RunCount};
use super::state::MetState;
use crate::junit::{Case, Ending, Suite};

/// The cases of `results`; `file` is the campaign file, for the commands in them.
#[must_use]
pub fn suite(results: &Results, file: &str) -> Suite {
    let header = &results.header;
    let mut properties = vec![
        ("version".to_owned(), header.version.clone()),
        ("campaign".to_owned(), header.plan.name.clone()),
        ("subject".to_owned(), header.subject.clone()),
        ("seed".to_owned(), header.plan.seed.to_string()),
        ("runs".to_owned(), results.all.runs.to_string()),
        ("cuts".to_owned(), results.tally.cuts.to_string()),
    ];
    if header.shard.of > 1 {
        properties.push(("part".to_owned(), header.shard.to_string()));
    }
    let mut cases: Vec<Case> = Vec::new();
    for (shop, count) in header.plan.shops.iter().zip(&results.shops) {
        cases.push(counted("scenario", &shop.name, count));
    }
    for kind in FaultKind::ALL {
        cases.push(counted("fault", kind.name(), &results.kinds[kind.index()]));
    }
    let missing = results.missing();
    cases.extend(MetState::ALL.into_iter().map(|state| {
        let is_missing = missing.contains(&state) && results.is_complete();
        covered(results, state, is_missing)
    }));
    for row in &results.failures {
        let seen = row.seen.clone().unwrap_or_default();
        let again = results.replay(row, file);
        let text = format!("seen: {seen}\nagain: {again}\n");
        let ending = Ending::Failed { message: format!("{seen}; again: {again}"), text };
        cases.push(case("run", &format!("run {}", row.run), ending, Vec::new()));
    }
    Suite { name: "shaftbook campaign".to_owned(), properties, cases }
}

fn case(group: &str, name: &str, ending: Ending, properties: Vec<(String, String)>) -> Case {
    Case {
        name: name.to_owned(),
        class: format!("shaftbook.campaign.{group}"),
        ending,
        properties,
        output: String::new(),
    }
}

fn counted(group: &str, name: &str, count: &RunCount) -> Case {
    let properties = vec![("runs".to_owned(), count.runs.to_string())];
    let ending = match (count.runs, count.failed) {
        (0, _) => Ending::Skipped { message: "in no run".to_owned() },
        (_, 0) => Ending::Held,
        (runs, failed) => {
            let message = format!("{failed} of {runs} runs failed");
            Ending::Failed { text: message.clone(), message }
        }
    };
    case(group, name, ending, properties)
}

fn covered(results: &Results, state: MetState, is_missing: bool) -> Case {
    let cuts = results.tally.hits.of_cuts(state);
    let properties = vec![("cuts".to_owned(), cuts.to_string())];
    let message = "never met by a cut or a reset".to_owned();
    let ending = match cuts {
        0 if is_missing => {
            Ending::Failed { text: format!("the plan requires it: {}", state.meaning()), message }
        }
        0 => Ending::Skipped { message },
        _ => Ending::Held,
    };
    case("state", state.name(), ending, properties)
}
