//! How fast the proofs are: cases a second on one core, and what a second core brings.
//!
//! Run: `cargo bench -p host-sim --bench proofs`. Each proof is searched in full (quick plan),
//! by turns on one thread and on two, so that other work of the machine disturbs both alike.
//! The median of the turns counts. There are five turns, or as many as a number after `--`
//! says.

use std::time::{Duration, Instant};

use rayon::{ThreadPool, ThreadPoolBuilder};
use shaftbook_core::rules::Sound;
use shaftbook_evidence::prove::{Proof, SearchPlan};

const PLAN: SearchPlan = SearchPlan::new(1, true);

fn pool(threads: usize) -> ThreadPool {
    ThreadPoolBuilder::new().num_threads(threads).build().expect("threads")
}

/// Cases of the proof, and how long they took.
fn timed(pool: &ThreadPool, proof: Proof) -> (u64, Duration) {
    let start = Instant::now();
    let outcome = pool.install(|| proof.run::<Sound>(&PLAN, &|_, _| {}));
    assert!(outcome.held(), "{outcome:?}");
    (outcome.cases, start.elapsed())
}

/// The one in the middle; of an even number the later.
fn median(mut turns: Vec<Duration>) -> Duration {
    turns.sort_unstable();
    turns[turns.len() / 2]
}

fn main() {
    let turns = std::env::args().find_map(|arg| arg.parse::<u32>().ok()).unwrap_or(5).max(1);
    let pools = [pool(1), pool(2)];
    println!("| proof | cases | one core, s | cases a second a core | two cores, s | gain |");
    println!("|---|--:|--:|--:|--:|--:|");
    let mut sum = [Duration::ZERO; 2];
    let mut all = 0;
    for proof in Proof::ALL {
        let (mut cases, mut took) = (0, [const { Vec::new() }; 2]);
        for _ in 0..turns {
            for (pool, took) in pools.iter().zip(&mut took) {
                let turn = timed(pool, proof);
                cases = turn.0;
                took.push(turn.1);
            }
        }
        let took = took.map(median);
        row(&format!("`{}`", proof.name()), cases, took);
        all += cases;
        for (sum, took) in sum.iter_mut().zip(took) {
            *sum += took;
        }
    }
    row("all", all, sum);
}

fn row(name: &str, cases: u64, took: [Duration; 2]) {
    let [one, two] = took.map(|took| took.as_secs_f64());
    let a_second = cases as f64 / one;
    println!("| {name} | {cases} | {one:.2} | {a_second:.0} | {two:.2} | {:.2} |", one / two);
}
