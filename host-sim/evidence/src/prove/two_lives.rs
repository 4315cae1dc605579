//! Of proof 15: a part spliced of two lives with one identity. Both boards were fitted alike and
//! did the same at the same times, each with its own needle: their records stand in the same
//! slots, with the same laps, and every one of them is whole.
//!
//! What is found must be one life's, never a sum of both: a board starts from one of them and goes
//! on, `inspect` gives the same and says that something is missing unless it is all of one life.
//!
//! Records that add to the *first* snapshot, of the fitting, cannot be told apart: both lives have
//! the same one. So the splices leave those before the second as one life wrote them.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::codec::checkpoint::Pointers;
use shaftbook_core::codec::frame::{Header, RECORD_BYTES, Record, RecordKind};
use shaftbook_core::codec::snapshot::{BOUND_BYTES, binding, member_data, member_place};
use shaftbook_core::counters::{Counters, NEEDLES_MAX, Needle};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::medium::Geometry;
use shaftbook_core::rules::Sound;
use shaftbook_core::serial::Lap;
use shaftbook_drivers::memory::{PartKind, WiredPart};
use shaftbook_tools::inspect::compose::inspect_by;
use shaftbook_tools::inspect::image::Image;
use shaftbook_tools::inspect::rules::ReadingRules;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{BOARD, Bench, Recovered};
use shaftbook_world::bus::{Part, Tear};
use shaftbook_world::figures::CounterFigures;

use super::Run;

/// 256 slots: half of it is still a part that there is.
pub(super) const GEOMETRY: Geometry = Geometry { size_bytes: 16_384, page_bytes: 64 };
/// Renewals that make a new snapshot due.
const RENEWALS: u32 = 12;

/// The cases.
pub(super) fn spliced<D: Device<Rules: ReadingRules>>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed ^ 0x2);
    let rounds = if run.quick { 3 } else { 30 };
    for _ in 0..rounds {
        let pair = match Pair::live::<D>(&mut rng) {
            Ok(pair) => pair,
            Err(what) => {
                run.case(|| Err(what));
                return;
            }
        };
        for kind in 0..KINDS {
            let seed = rng.next_u64();
            if run.is_over() {
                return;
            }
            run.case(|| {
                let range = pair.range(kind, &mut Pcg32::seed_from_u64(seed));
                let [into, from] = if seed % 2 == 0 { [0, 1] } else { [1, 0] };
                pair.case::<D>(into, from, range, seed)
                    .map_err(|what| format!("slots {range:?} of life {from} in {into}: {what}"))
            });
        }
    }
}

/// One of two lives.
struct Life {
    needle: Needle,
    image: Vec<u8>,
    truth: Counters,
    /// What a board finds on it.
    found: Counters,
    /// The second snapshot: its slots, the parity's the last, and what it holds.
    members: Vec<usize>,
    stream: Vec<u8>,
}

/// Two lives that ran alike.
struct Pair {
    lives: [Life; 2],
    /// The slots that were written, of all.
    written: usize,
}

fn wired() -> Result<WiredPart, String> {
    WiredPart::new(PartKind::Eeprom, 0x50, GEOMETRY).ok_or_else(|| "a part".into())
}

fn record(image: &[u8], slot: usize) -> Record {
    let mut record = [0; RECORD_BYTES];
    record.copy_from_slice(&image[slot * RECORD_BYTES..][..RECORD_BYTES]);
    record
}

/// The kind of the record in a slot of an image that is not damaged.
fn kind(image: &[u8], slot: usize) -> Option<RecordKind> {
    Header::decode(&record(image, slot)).map(|header| header.kind)
}

/// The slots of the members from `base` on, the parity's the last; a checkpoint that was due
/// meanwhile may stand between them.
fn members(image: &[u8], base: usize) -> Vec<usize> {
    let mut members = Vec::new();
    for slot in base..image.len() / RECORD_BYTES {
        let place = member_place(&record(image, slot));
        let Some(place) = place.filter(|_| kind(image, slot) == Some(RecordKind::Snapshot)) else {
            continue;
        };
        members.push(slot);
        if place.index == place.count {
            break;
        }
    }
    members
}

/// What these members hold.
fn stream(image: &[u8], members: &[usize]) -> Vec<u8> {
    members.iter().flat_map(|slot| *member_data(&record(image, *slot))).collect()
}

impl Life {
    fn live<D: Device>(needle: Needle, stitches: u64, seed: u64) -> Result<Self, String> {
        let part = Part::blank(GEOMETRY).map_err(|e| e.to_string())?;
        let mut bench: Bench<Core<D::Rules>> =
            Bench::fitted_on(part, seed, BOARD, wired()?, Lap::new(1));
        let own = ComponentSet::only(needle.index());
        bench.sew(needle, stitches, 1_990_000, &mut |_| {});
        for _ in 0..RENEWALS {
            bench.ask_and_wait(Command::Renew { components: own, reply: None }, &mut |_| {});
        }
        bench.rest(&mut |_| {});
        for _ in 0..2 {
            bench.sew(needle, 7, 1_990_000, &mut |_| {});
            bench.ask_and_wait(Command::Renew { components: own, reply: None }, &mut |_| {});
        }
        bench.sew(needle, 12, 1_990_000, &mut |_| {});
        bench.rest(&mut |_| {});
        let truth = bench.truth();
        let mut image = Vec::new();
        bench.cut_image(Tear::New, &mut image);
        let again = Recovered::<Core<D::Rules>>::from_image_of(wired()?, image.clone(), seed);
        let found = again.past().ok_or("a part of which nothing is found")?;
        let slots = image.len() / RECORD_BYTES;
        let newest = (0..slots).rev().find(|s| kind(&image, *s) == Some(RecordKind::Checkpoint));
        let newest = newest.ok_or("a life without a checkpoint")?;
        let base = usize::from(Pointers::of(&record(&image, newest)).base_slot());
        let members = members(&image, base);
        let stream = stream(&image, &members);
        Ok(Self { needle, image, truth, found, members, stream })
    }
}

/// Ways to splice.
const KINDS: usize = 7;

impl Pair {
    fn live<D: Device>(rng: &mut Pcg32) -> Result<Self, String> {
        let first = rng.next_u32() % 15;
        let second = (first + 1 + rng.next_u32() % 14) % 15;
        let (stitches, seed) = (20 + u64::from(rng.next_u32() % 40), rng.next_u64());
        let live = |needle: u32| {
            let needle = Needle::new(1 + needle as u8).ok_or("a needle")?;
            Life::live::<D>(needle, stitches, seed)
        };
        let lives = [live(first)?, live(second)?];
        let [a, b] = &lives;
        let slots = a.image.len() / RECORD_BYTES;
        let is_alike =
            (0..slots).all(|slot| a.image[slot * 64..][..3] == b.image[slot * 64..][..3]);
        if !is_alike || a.members != b.members || a.members.first() == Some(&0) {
            return Err(format!("the lives are not alike: {:?}, {:?}", a.members, b.members));
        }
        let written = (0..slots).rev().find(|s| kind(&a.image, *s).is_some()).map_or(0, |s| s + 1);
        Ok(Self { lives, written })
    }

    /// The slots that the other life has.
    fn range(&self, how: usize, rng: &mut Pcg32) -> (usize, usize) {
        let members = &self.lives[0].members;
        let (base, end) = (members[0], members[members.len() - 1] + 1);
        let mut below = |end: usize| rng.next_u32() as usize % end;
        match how {
            // The whole snapshot; its end; its beginning.
            0 => (base, end),
            1 => (members[1 + below(members.len() - 1)], end),
            2 => (base, members[1 + below(members.len() - 1)]),
            // What counts since, from somewhere on; the last only.
            3 => (end + below(self.written - end), self.written),
            // The newest entry.
            4 => {
                let image = &self.lives[0].image;
                let entries: Vec<usize> = (end..self.written)
                    .filter(|s| kind(image, *s) == Some(RecordKind::Entry))
                    .collect();
                let place = 2 * below((entries.len() / 2).max(1));
                (entries[place], entries[place] + 2)
            }
            // All from somewhere on.
            5 => (below(self.written), self.written),
            // Any slots from the second snapshot on.
            _ => {
                let from = base + below(self.written - base);
                (from, from + 1 + below(self.written - from))
            }
        }
    }

    /// Life `from` over the slots `range` of life `into`.
    fn case<D: Device<Rules: ReadingRules>>(
        &self,
        into: usize,
        from: usize,
        range: (usize, usize),
        seed: u64,
    ) -> Result<(), String> {
        let mut image = self.lives[into].image.clone();
        for slot in (range.0..range.1).filter(|slot| !self.adds_to_first(*slot)) {
            let bytes = slot * RECORD_BYTES..(slot + 1) * RECORD_BYTES;
            image[bytes.clone()].copy_from_slice(&self.lives[from].image[bytes]);
        }
        if self.coincides(&image) {
            return Ok(());
        }
        let booted = Recovered::<D>::from_image_of(wired()?, image.clone(), seed);
        let past = booted.past();
        let Some(past) = past else {
            let has_fault = !booted.bench.board().faults().is_empty();
            return has_fault.then_some(()).ok_or_else(|| "no past and no fault".into());
        };
        let ledger = booted.bench.board().ledger();
        let baselines: Vec<u64> = ledger.components.iter().map(|fitted| fitted.baseline).collect();
        self.is_of_one_life(&past, &baselines)?;
        let mut after = Vec::new();
        booted.bench.cut_image(Tear::New, &mut after);
        let again = Recovered::<D>::from_image_of(wired()?, after, seed).past();
        if !again.is_some_and(|again| past.at_most(&again)) {
            return Err(format!("after another power-up {again:?}, not {past:?}"));
        }
        self.is_told::<D>(image, &past)
    }

    /// Whether a checkpoint that was due while the second snapshot was written is in `slot`: it
    /// adds to the first.
    fn adds_to_first(&self, slot: usize) -> bool {
        let Life { image, members, .. } = &self.lives[0];
        let is_checkpoint = kind(image, slot) == Some(RecordKind::Checkpoint);
        let base_slot = usize::from(Pointers::of(&record(image, slot)).base_slot());
        slot > members[0] && is_checkpoint && base_slot != members[0]
    }

    /// Whether one of the lives alone explains what was found.
    fn is_of_one_life(&self, past: &Counters, baselines: &[u64]) -> Result<(), String> {
        let is_in = |life: &Life| {
            let place = life.needle.index();
            past.needle_stitches[place] > 0 || baselines.get(place).is_some_and(|b| *b > 0)
        };
        let [a, b] = &self.lives;
        if is_in(a) && is_in(b) {
            return Err(format!(
                "of both lives: {:?}, baselines {baselines:?}",
                past.needle_stitches
            ));
        }
        if past.at_most(&a.truth) || past.at_most(&b.truth) {
            return Ok(());
        }
        Err(format!("{past:?}, above {:?} and {:?}", a.truth, b.truth))
    }

    /// Whether `inspect` gives `past`, and calls it complete only if it is all of a life.
    fn is_told<D: Device<Rules: ReadingRules>>(
        &self,
        image: Vec<u8>,
        past: &Counters,
    ) -> Result<(), String> {
        let image = Image::new("image", image, GEOMETRY.page_bytes).map_err(|e| e.to_string())?;
        let report = inspect_by::<D::Rules>(&image, None, true);
        if !report.differences.is_empty() {
            return Err(format!("{:?}", report.differences));
        }
        let figures = |counters: &Counters| CounterFigures::of(counters, NEEDLES_MAX as u8);
        if report.lifetime != Some(figures(past)) {
            return Err(format!("inspect gives {:?}, the board {past:?}", report.lifetime));
        }
        let is_all = self.lives.iter().any(|life| life.found == *past);
        if report.complete && !is_all {
            return Err(format!("complete, with {past:?}"));
        }
        Ok(())
    }

    /// Whether the snapshot that `image` now has is bound like one of the lives' and is another:
    /// one in 1,024 is, and no board can see it.
    fn coincides(&self, image: &[u8]) -> bool {
        let now = stream(image, &self.lives[0].members);
        let bound = |stream: &[u8]| binding::<Sound>(stream);
        self.lives.iter().any(|life| {
            bound(&now) == bound(&life.stream)
                && now.get(..BOUND_BYTES) != life.stream.get(..BOUND_BYTES)
        })
    }
}
