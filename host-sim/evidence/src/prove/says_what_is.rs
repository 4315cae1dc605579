//! Proof 17: what a board says is so. What the panel shows, what the read-out code says (decoded by
//! the shipped decoder and by one that was written from the document), what lamp and port tell,
//! which hints come and how many days are left is the ledger's truth: at each limit and one unit
//! either side of it.
//!
//! - `desk`: drawn machines (`drawn`, near their limits) given to the code that ships
//! - `boots`: the whole firmware from boot on, over services, renewals, a cut and clocks that are
//!   wrong; `watched`: a board that is looked at; `outside`: its lamp and port
//! - `known`: a machine as it is known; `screens`, `figures`: what each screen should say of it;
//!   `codes`: the read-out code, also misheard; `sums`: the arithmetic behind what is said

mod boots;
mod codes;
mod desk;
mod drawn;
mod figures;
mod known;
mod outside;
mod screens;
mod sums;
mod watched;

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_world::bench::under_test::UnderTest;

use super::Run;

/// Proof 17.
pub(super) fn says_what_is<R: UnderTest>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let machines = if run.quick { 24 } else { 60 };
    for n in 0..machines {
        let seed = rng.next_u64();
        run.case(|| {
            let mut rng = Pcg32::seed_from_u64(seed);
            let known = match n % 6 {
                1 | 4 => drawn::noisy(&mut rng),
                2 => drawn::put_right(&mut rng),
                _ => drawn::machine(&mut rng),
            };
            desk::told::<R>(&known, &mut rng)?;
            let said = known.said(known.signs().first());
            for _ in 0..8 {
                codes::misheard(&said, &mut rng)?;
            }
            codes::refused(&said, &mut rng)
        });
    }
    for _ in 0..machines {
        let seed = rng.next_u64();
        run.case(|| {
            let mut rng = Pcg32::seed_from_u64(seed);
            sums::tails(&mut rng)?;
            sums::lines(&mut rng)?;
            sums::tag(&mut rng)?;
            sums::levels(&mut rng)?;
            (0..4).try_for_each(|_| sums::clock(&mut rng))
        });
    }
    run.case(sums::field);
    run.case(sums::long_tail);
    let seed = rng.next_u64();
    run.case(|| boots::boots::<R>(seed));
}
