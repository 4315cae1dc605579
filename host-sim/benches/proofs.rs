//! How fast the proofs are: cases a second a core, and what a second core brings.
//!
//! Run: `cargo bench -p host-sim --bench proofs`. Each proof is searched in full (quick
//! plan) in pools of one thread and of two, turn by turn, so that what else the machine
//! does meets both; of each the fastest turn counts. With a number after `--`, that many
//! turns.

use std::time::{Duration, Instant};

use host_sim::prove::{Plan, Proof};
use rayon::{ThreadPool, ThreadPoolBuilder};
use shaftbook_core::rules::Sound;

const PLAN: Plan = Plan { seed: 1, quick: true, replay: None };

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

fn main() {
    let turns = std::env::args().find_map(|arg| arg.parse::<u32>().ok()).unwrap_or(3);
    let pools = [pool(1), pool(2)];
    println!("| proof | cases | one core, s | cases a second a core | two cores, s | gain |");
    println!("|---|---|---|---|---|---|");
    let mut sum = [Duration::ZERO; 2];
    for proof in Proof::ALL {
        let (mut cases, mut best) = (0, [Duration::MAX; 2]);
        for _ in 0..turns {
            for (pool, best) in pools.iter().zip(&mut best) {
                let (count, took) = timed(pool, proof);
                cases = count;
                *best = took.min(*best);
            }
        }
        let [one, two] = best.map(|took| took.as_secs_f64());
        println!(
            "| `{}` | {cases} | {one:.2} | {:.0} | {two:.2} | {:.2} |",
            proof.name(),
            cases as f64 / one,
            one / two
        );
        for (sum, best) in sum.iter_mut().zip(best) {
            *sum += best;
        }
    }
    let [one, two] = sum.map(|took| took.as_secs_f64());
    println!("| all | | {one:.2} | | {two:.2} | {:.2} |", one / two);
}
