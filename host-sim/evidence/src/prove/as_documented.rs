//! Proof 16: a board does what the documents say. Random lives drive it beside the reference
//! (`crate::reference`), which was written from `docs/` and knows nothing of the code; after each
//! step all that can be observed is compared. A life that fails is made shorter.
//!
//! - `life`: the steps; `course`: a board and the reference live them, with `signals` (the
//!   machine), `asks` (the people) and `cuts` (the supply); `play`: the two of them side by side
//! - `door`, `border`: what only one kind of board can do; names for names
//! - `looks`: port, lamp, panel and read-out code

mod asks;
pub(in crate::prove) mod border;
mod course;
mod cuts;
mod door;
mod life;
mod looks;
mod play;
mod signals;

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;

use self::door::Door;
use self::life::Life;
use super::Run;

/// Lives that are tried to make a failing one shorter.
const TRIES_MAX: u32 = 200;

/// Proof 16.
pub(super) fn as_documented<D: Door>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let (lives, steps) = if run.quick { (4, 16) } else { (8, 40) };
    let lives = if D::HAS_PANEL { 1 } else { lives };
    for _ in 0..lives {
        let life = Life::drawn(rng.next_u64(), steps);
        run.case(|| course::play::<D>(&life).map_err(|seen| shrunk::<D>(&life, seen)));
    }
}

/// The way in which a life fails: what is seen up to its figures.
fn way(seen: &str) -> String {
    seen.split([':', '(']).next().unwrap_or(seen).chars().filter(|c| !c.is_ascii_digit()).collect()
}

/// What is seen of the shortest life that fails in the same way, found by leaving out steps.
fn shrunk<D: Door>(life: &Life, seen: String) -> String {
    let (mut best, mut tries) = ((life.clone(), seen), 0);
    let mut size = life.steps.len().next_power_of_two() / 2;
    while size > 0 {
        let mut from = 0;
        while from < best.0.steps.len() && tries < TRIES_MAX {
            let to = (from + size).min(best.0.steps.len());
            let shorter = best.0.without(from, to);
            tries += 1;
            match course::play::<D>(&shorter) {
                Err(seen) if way(&seen) == way(&best.1) => best = (shorter, seen),
                _ => from = to,
            }
        }
        size /= 2;
    }
    let (life, seen) = best;
    format!("{seen}, in the life {:?} of machine {}", life.steps, life.variant)
}
