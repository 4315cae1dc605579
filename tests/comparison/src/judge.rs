//! Cut survival: a power-up on every image that a cut in a checkpoint can leave.
//!
//! A cut at a bus byte outside of a program cycle leaves the bytes that the last whole cycle
//! left. A cut in a cycle leaves its page torn, whatever byte of the polling it falls on. So
//! the images of a cut at *every* bus byte are, for each cycle, each [`Tear`] of its page:
//! `old` stands for the bytes before the cycle, `new` for the bytes after it. Those images are
//! what is tried; `every_bus_byte` in `tests/` cuts at each byte for real and compares.
//!
//! On each image a new store powers up, and what it finds is compared with what was
//! acknowledged and what was handed over. Then it stores once more, is switched off and on, and
//! must find that.
//!
//! Not done: a second cut in the recovery; faults other than the cut.

use std::cell::Cell;
use std::collections::HashMap;
use std::ops::AddAssign;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

use rand_core::Rng;
use rand_pcg::Pcg32;
use rayon::iter::{IntoParallelIterator, ParallelIterator};
use shaftbook_core::counters::Counters;
use shaftbook_core::medium::Geometry;
use shaftbook_evidence::campaign::store::{CounterStore, Pages};
use shaftbook_world::bus::{Bus, Part, Tear, Timing};

use crate::run::{Checkpoint, Run};

/// Mixes and garbage pages drawn for each cycle, of each.
const DRAWS: u32 = 6;
/// Page of the reference part, bytes.
const PAGE_BYTES: usize = Geometry::REFERENCE.page_bytes as usize;
/// Checkpoints on either side of the costliest one.
const BESIDE: usize = 24;
/// Checkpoints that are judged at a time.
const WORKS_MAX: usize = 256;
/// From here on every store has been round its whole part.
const WORN_IN: usize = 4_000;

/// What came of one image.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// At least what was acknowledged, at most what was handed over; and the next one
    /// stored is found too.
    Held,
    /// Less than was acknowledged.
    FellBack,
    /// More than was ever handed over.
    AboveTruth,
    /// Nothing, although something was acknowledged.
    Empty,
    /// It did not power up.
    WouldNotOpen,
    /// It powered up rightly but would not store any more.
    WouldNotStore,
    /// The next checkpoint was acknowledged and not found at the power-up after it.
    LostNext,
    /// A panic, or no end.
    Panicked,
}

impl Outcome {
    /// All of them, as the tables show them.
    pub const ALL: [Self; 8] = [
        Self::Held,
        Self::FellBack,
        Self::AboveTruth,
        Self::Empty,
        Self::WouldNotOpen,
        Self::WouldNotStore,
        Self::LostNext,
        Self::Panicked,
    ];
}

/// How often each outcome came.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Verdict {
    /// By [`Outcome::ALL`].
    pub counts: [u64; 8],
    /// Images that did not hold although the tear reached no byte but those being written:
    /// what makers of stores for flash promise to survive.
    pub failures_within: u64,
    /// Checkpoints that were cut.
    pub checkpoints: u64,
    /// Bus bytes that the cuts stand for.
    pub bus_bytes: u64,
    /// Program cycles that were torn.
    pub cycles: u64,
}

impl Verdict {
    /// How often `outcome` came.
    #[must_use]
    pub fn of(&self, outcome: Outcome) -> u64 {
        self.counts[outcome as usize]
    }

    /// Images tried.
    #[must_use]
    pub fn cases(&self) -> u64 {
        self.counts.iter().sum()
    }

    /// Images that did not hold.
    #[must_use]
    pub fn failures(&self) -> u64 {
        self.cases() - self.of(Outcome::Held)
    }
}

impl AddAssign for Verdict {
    fn add_assign(&mut self, other: Self) {
        for (count, more) in self.counts.iter_mut().zip(other.counts) {
            *count += more;
        }
        self.failures_within += other.failures_within;
        self.checkpoints += other.checkpoints;
        self.bus_bytes += other.bus_bytes;
        self.cycles += other.cycles;
    }
}

/// The checkpoints of `run` that are cut: those around the costliest, so that a whole
/// collection is among them, and `scattered` others by `seed`; all, if that is as many.
#[must_use]
pub fn sample(run: &Run, scattered: usize, seed: u64) -> Vec<usize> {
    let count = run.checkpoints.len();
    if scattered >= count {
        return (0..count).collect();
    }
    let from = WORN_IN.min(count / 2);
    let cost = |place: &usize| run.checkpoints[*place].cycles.len();
    // The first of the costliest.
    let costliest = (from..count).rev().max_by_key(cost).unwrap_or(0);
    let first = costliest.saturating_sub(BESIDE);
    let mut places: Vec<usize> = (first..count.min(costliest + BESIDE + 1)).collect();
    let mut rng = Pcg32::new(seed, 0x5A3);
    places.extend((0..scattered).map(|_| rng.next_u32() as usize % count.max(1)));
    places.sort_unstable();
    places.dedup();
    places.retain(|place| *place < count);
    places
}

/// Cuts the checkpoints at `places` of `run`, which rise, in every way, on all cores.
#[must_use]
pub fn judge<S: CounterStore>(run: &Run, places: &[usize], seed: u64) -> Verdict {
    let mut image = vec![0xFF; Geometry::REFERENCE.size_bytes as usize];
    let mut sum = Verdict::default();
    let mut works = Vec::new();
    let mut places = places.iter().copied().peekable();
    for (place, checkpoint) in run.checkpoints.iter().enumerate() {
        if places.next_if_eq(&place).is_some() {
            works.push((place, image.clone()));
        }
        for cycle in &checkpoint.cycles {
            page(&mut image, cycle.page).copy_from_slice(&cycle.after);
        }
        // No more images at a time than memory has room for.
        if works.len() == WORKS_MAX || place + 1 == run.checkpoints.len() {
            let verdicts: Vec<Verdict> = std::mem::take(&mut works)
                .into_par_iter()
                .map(|(place, image)| {
                    let seed = seed ^ (place as u64) << 20;
                    cut_everywhere::<S>(&run.checkpoints[place], image, seed)
                })
                .collect();
            for verdict in verdicts {
                sum += verdict;
            }
        }
    }
    sum
}

fn page(image: &mut [u8], page: usize) -> &mut [u8] {
    &mut image[page * PAGE_BYTES..(page + 1) * PAGE_BYTES]
}

/// Cuts one checkpoint that began on `image`.
fn cut_everywhere<S: CounterStore>(checkpoint: &Checkpoint, image: Vec<u8>, seed: u64) -> Verdict {
    let mut verdict = Verdict {
        checkpoints: 1,
        bus_bytes: checkpoint.bus_bytes,
        cycles: checkpoint.cycles.len() as u64,
        ..Verdict::default()
    };
    // Several tears may leave the same bytes: those are judged once.
    let mut known: HashMap<(usize, Vec<u8>), Outcome> = HashMap::new();
    each_image(checkpoint, image, seed, |number, tear, torn| {
        let place = checkpoint.cycles[number].page;
        let key = (number, page(torn, place).to_vec());
        let outcome = *known.entry(key).or_insert_with(|| {
            let acknowledged = checkpoint.before.as_ref();
            power_up_on::<S>(torn.to_vec(), acknowledged, &checkpoint.counters, seed)
        });
        verdict.counts[outcome as usize] += 1;
        let reaches_all = matches!(tear, Tear::Erased | Tear::Garbage(_));
        verdict.failures_within += u64::from(outcome != Outcome::Held && !reaches_all);
    });
    verdict
}

/// Gives every image that a cut in `checkpoint`, which began on `image`, can leave to
/// `see`, with the number of the cycle that was cut, and how.
pub fn each_image(
    checkpoint: &Checkpoint,
    mut image: Vec<u8>,
    seed: u64,
    mut see: impl FnMut(usize, Tear, &mut [u8]),
) {
    for (number, cycle) in checkpoint.cycles.iter().enumerate() {
        let old = page(&mut image, cycle.page).to_vec();
        for tear in Tear::every(PAGE_BYTES as u16, DRAWS, seed ^ number as u64) {
            tear.apply(page(&mut image, cycle.page), &cycle.after);
            see(number, tear, &mut image);
            page(&mut image, cycle.page).copy_from_slice(&old);
        }
        page(&mut image, cycle.page).copy_from_slice(&cycle.after);
    }
}

/// What comes of a power-up on `image`, which a cut left while `handed` was being stored
/// and `acknowledged` had been.
///
/// # Panics
/// When `image` is not as long as the reference part. A panic of the store is an outcome.
#[must_use]
pub fn power_up_on<S: CounterStore>(
    image: Vec<u8>,
    acknowledged: Option<&Counters>,
    handed: &Counters,
    seed: u64,
) -> Outcome {
    let part = Part::from_image(image, Geometry::REFERENCE).expect("a reference image");
    let mut bus = Bus::new(part, Timing::FAST_MODE, seed);
    bus.advance_to(seed & 0xFFFF_FFFF);
    quietly(|| recover::<S>(&mut bus, acknowledged, handed)).unwrap_or(Outcome::Panicked)
}

fn recover<S: CounterStore>(
    bus: &mut Bus,
    acknowledged: Option<&Counters>,
    handed: &Counters,
) -> Outcome {
    let Ok((mut store, found)) = S::power_up(&mut Pages::new(bus)) else {
        return Outcome::WouldNotOpen;
    };
    match (&found, acknowledged) {
        (None, Some(_)) => return Outcome::Empty,
        (Some(found), _) if !found.at_most(handed) => return Outcome::AboveTruth,
        (Some(found), Some(least)) if !least.at_most(found) => return Outcome::FellBack,
        _ => {}
    }
    let mut next = handed.plus(&Counters {
        powered_ms: crate::workload::INTERVAL_MS,
        running_ms: crate::workload::INTERVAL_MS,
        ..Counters::default()
    });
    next.needle_stitches[0] += 150;
    if store.store(&mut Pages::new(bus), &next).is_err() {
        return Outcome::WouldNotStore;
    }
    drop(store);
    bus.power_cycle(Tear::New);
    bus.advance_to(bus.now_ns() + 1_000_000_000);
    match S::power_up(&mut Pages::new(bus)) {
        Ok((_, Some(found))) if found == next => Outcome::Held,
        _ => Outcome::LostNext,
    }
}

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Does `work`; `None` when it panicked, of which nothing is printed.
fn quietly<T>(work: impl FnOnce() -> T) -> Option<T> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let loud = take_hook();
        set_hook(Box::new(move |info| {
            if !QUIET.get() {
                loud(info);
            }
        }));
    });
    QUIET.set(true);
    let done = catch_unwind(AssertUnwindSafe(work)).ok();
    QUIET.set(false);
    done
}
