//! A cut at each byte that changes the part: at every poll that left a program cycle under
//! way the world is forked, the power cut, the page torn in every way, and a new board boots
//! on the bytes; in a share of the cases the new board is cut again while it recovers. An FRAM
//! has no program cycle: it is cut after some of the bytes of each write.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_drivers::memory::{PartKind, WiredPart};

use crate::prove::Run;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::parts;
use shaftbook_world::bench::session::wired_to;
use shaftbook_world::bench::{Bench, CommandFigures, Recovered};
use shaftbook_world::bus::Tear;
use shaftbook_world::judge::{neither_lost_nor_invented, no_baseline_ahead};

/// Bus bytes of a whole recovery and its first writes, about: where a nested cut can
/// fall.
const RECOVERY_BYTES: u64 = 2_600;
/// Cuts of each write to an FRAM, beside one before it and one after it.
const FRAM_CUTS: u32 = 4;

/// Draws the forks of one life.
#[derive(Debug)]
pub struct Forks {
    rng: Pcg32,
    /// Most cuts of a recovery.
    nested: usize,
    image: Vec<u8>,
    /// What an FRAM held after its last write.
    before: Vec<u8>,
}

impl Forks {
    /// The forks drawn from `seed`, with at most `nested` cuts of each recovery.
    #[must_use]
    pub fn new(seed: u64, nested: usize) -> Self {
        let (image, before) = (Vec::new(), Vec::new());
        Self { rng: Pcg32::seed_from_u64(seed), nested, image, before }
    }

    /// Forks at a poll that left a program cycle under way (a cut at any other bus
    /// byte leaves the bytes as they were before or after one).
    pub fn at<D: Device>(&mut self, bench: &Bench<D>, run: &mut Run) {
        if run.is_over() {
            return;
        }
        if bench.bus.part().kind() == PartKind::Fram {
            return self.on_fram(bench, run);
        }
        if bench.bus.page_under_way().is_none() {
            return;
        }
        let Some(wired) = wired_to(&bench.bus) else { return };
        let page_bytes = wired.geometry().page_bytes;
        let truth = bench.truth();
        let seed = self.rng.next_u64();
        let share = if run.quick { 12 } else { 1 };
        for (number, tear) in Tear::every(page_bytes, 4, seed).enumerate() {
            let draw = self.rng.next_u32();
            if number > 2 && !draw.is_multiple_of(share) {
                continue;
            }
            let again = self.draw_again(draw >> 8, seed ^ number as u64, page_bytes);
            let image = &mut self.image;
            run.case(|| {
                bench.cut_image(tear, image);
                boot(bench, wired, image.clone(), (seed, &again), &truth)
                    .map_err(|what| format!("cut ({tear}){what}"))
            });
        }
    }

    /// The same on an FRAM, at a poll that wrote to it: each byte is kept as it arrives.
    fn on_fram<D: Device>(&mut self, bench: &Bench<D>, run: &mut Run) {
        let now = bench.bus.part().cells();
        let written = self.before.iter().zip(now).position(|(was, is)| was != is);
        let Some(first) = written else {
            self.before.clear();
            self.before.extend_from_slice(now);
            return;
        };
        let Some(wired) = wired_to(&bench.bus) else { return };
        let last = self.before.iter().zip(now).rposition(|(was, is)| was != is);
        let span = 1 + last.unwrap_or(first) - first;
        let truth = bench.truth();
        let seed = self.rng.next_u64();
        for cut in 0..FRAM_CUTS + 2 {
            let draw = self.rng.next_u32();
            let kept = match cut {
                0 => 0,
                1 => span,
                _ => draw as usize % span,
            };
            let again = self.draw_again(draw >> 8, seed ^ u64::from(cut), 64);
            self.image.clone_from(&self.before);
            self.image[first..first + kept].copy_from_slice(&now[first..first + kept]);
            let image = &self.image;
            run.case(|| {
                boot(bench, wired, image.clone(), (seed, &again), &truth)
                    .map_err(|what| format!("cut after {kept} of {span} bytes{what}"))
            });
        }
        self.before.copy_from_slice(now);
    }

    /// How the recovery is cut: mostly not, else once, and each further time half as often.
    fn draw_again(&mut self, draw: u32, seed: u64, page_bytes: u16) -> Vec<(u64, Tear)> {
        let mut again = Vec::new();
        let mut left = draw;
        let mut is_cut = left.is_multiple_of(4);
        left >>= 2;
        while is_cut && again.len() < self.nested {
            let bytes = u64::from(self.rng.next_u32()) % RECOVERY_BYTES;
            again.push((bytes, Tear::draw(seed ^ (again.len() as u64) << 32, page_bytes)));
            is_cut = left.is_multiple_of(2);
            left >>= 1;
        }
        again
    }
}

/// Boots a board on `image`, cut again as `again` says, which the life of `before` left.
fn boot<D: Device>(
    before: &Bench<D>,
    wired: WiredPart,
    image: Vec<u8>,
    (seed, again): (u64, &[(u64, Tear)]),
    truth: &Counters,
) -> Result<(), String> {
    let recovered: Recovered<D> = Recovered::from_image_cut_again(wired, image, seed, again);
    check(before, &recovered, truth).map_err(|what| {
        let nest = again.iter().fold(String::new(), |nest, (bytes, tear)| {
            nest + &format!(", cut again after {bytes} bytes ({tear})")
        });
        format!("{nest}: {}{what}", parts::named(wired))
    })
}

fn check<D: Device>(
    before: &Bench<D>,
    after: &Recovered<D>,
    truth: &Counters,
) -> Result<(), String> {
    if !after.rested {
        return Err("the board does not come to rest".into());
    }
    let Some(past) = after.past() else {
        return Err(format!("the past is lost: {:?}", faults(after)));
    };
    let truth = truth.plus(&after.between);
    neither_lost_nor_invented(&before.acknowledged, &past, &truth)?;
    if !after.bench.board().faults().is_empty() {
        return Err(format!("a fault on a sound part: {:?}", faults(after)));
    }
    if !before.board().store().retired().is_empty() {
        return Err("a slot of a sound part was retired".into());
    }
    no_baseline_ahead(after.bench.board().ledger(), &past)?;
    let figures = CommandFigures::of(after.bench.board().ledger());
    if figures != before.figures && !before.pending.as_ref().is_some_and(|p| p.are(&figures)) {
        return Err(format!(
            "neither before nor after: {figures:?}, before {:?}, after {:?}",
            before.figures, before.pending
        ));
    }
    Ok(())
}

fn faults<D: Device>(after: &Recovered<D>) -> Vec<Fault> {
    after.bench.board().faults().iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use shaftbook_core::rules::Sound;
    use shaftbook_core::serial::Lap;
    use shaftbook_world::bench::core::Core;

    #[test]
    fn a_recovery_is_cut_as_often_as_is_allowed_and_no_more() {
        let mut rng = Pcg32::seed_from_u64(5);
        for nested in [0, 1, 4] {
            let mut forks = Forks::new(1, nested);
            let mut met = vec![0; nested + 1];
            for seed in 0..2_000 {
                met[forks.draw_again(rng.next_u32(), seed, 64).len()] += 1;
            }
            assert!(met.iter().all(|times| *times > 10), "{nested}: {met:?}");
            assert!(nested == 0 || met[0] > 1_000, "mostly not: {met:?}");
        }
    }

    #[test]
    fn each_cut_of_a_recovery_is_a_power_up_of_its_own() {
        let mut bench: Bench<Core<Sound>> = Bench::fitted(1, Lap::new(1));
        bench.warn();
        bench.rest(&mut |_| {});
        let mut image = Vec::new();
        bench.cut_image(Tear::New, &mut image);
        for cuts in 0..4 {
            let again = vec![(1_000, Tear::Old); cuts];
            let recovered: Recovered<Core<Sound>> =
                Recovered::from_image_cut_again(WiredPart::REFERENCE, image.clone(), 1, &again);
            assert_eq!(recovered.between.power_ups, cuts as u32);
            assert!(recovered.rested && recovered.past().is_some());
            check(&bench, &recovered, &bench.truth()).unwrap();
        }
    }
}
