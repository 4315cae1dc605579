//! Proof 15: what `shaftbook inspect` reads from an image that is not as the board left it. A
//! board lives more than a lap of a small ring; every state of its part is kept. Then the last
//! state is cut short, mirrored, blanked, spliced, rolled back or damaged. The figures must be
//! those of the whole image, or something must be said to be missing, with a bound that covers
//! the difference; they are never above.
//!
//! What cannot be told is a part that is byte for byte as it once was. It is not claimed: a case
//! in which nothing is said and less is read is held against every state that there was.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::codec::frame::RECORD_BYTES;
use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::serial::Lap;
use shaftbook_drivers::memory::{PartKind, WiredPart};
use shaftbook_tools::inspect::compose::inspect_by;
use shaftbook_tools::inspect::image::Image;
use shaftbook_tools::inspect::missing::{AtMost, Cause};
use shaftbook_tools::inspect::report::ImageReport;
use shaftbook_tools::inspect::rules::ReadingRules;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{BOARD, Bench, OPERATORS, any_needle};
use shaftbook_world::bus::{Part, Tear};
use shaftbook_world::figures::CounterFigures;
use shaftbook_world::judge::neither_lost_nor_invented;

use super::two_lives::GEOMETRY;
use super::{Run, two_lives};

const SLOTS: usize = GEOMETRY.size_bytes as usize / RECORD_BYTES;
/// Smallest part that there is, bytes.
const SIZE_MIN_BYTES: usize = 8_192;
/// Step of the sizes that there are, bytes.
const SIZE_STEP_BYTES: usize = 128;

/// Proof 15.
pub fn says_what_is_missing<D: Device<Rules: ReadingRules>>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let mut life = None;
    run.case(|| {
        let lived = life.insert(Life::live::<D>(&mut rng)?);
        let report = report::<D>(&lived.last, true)?;
        lived.judge(&lived.last, &report)?;
        match report.missing {
            None => Ok(()),
            Some(missing) => Err(format!("as the board left it, and yet missing: {missing:?}")),
        }
    });
    // Another case is replayed: it needs the life all the same.
    let Some(life) = life.or_else(|| Life::live::<D>(&mut Pcg32::seed_from_u64(run.seed)).ok())
    else {
        return;
    };
    let mut rng = Pcg32::seed_from_u64(!run.seed);
    let rounds = if run.quick { 5 } else { 40 };
    for _ in 0..rounds {
        for (change, is_unbounded) in CHANGES {
            let seed = rng.next_u64();
            if run.is_over() {
                return;
            }
            let mut seen = (0.0, 0.0);
            run.case(|| {
                let bytes = change(&life, &mut Pcg32::seed_from_u64(seed));
                let report = report::<D>(&bytes, false)?;
                seen = life.shares(&report);
                let outcome = life.judge(&bytes, &report);
                let has_no_bound = report.missing.is_some_and(|m| m.at_most.is_none());
                if has_no_bound && !is_unbounded {
                    return outcome.and(Err("without a bound, and nothing was put back".into()));
                }
                outcome
            });
            run.figure("stitches missing, at most", seen.0);
            run.figure("records said to be missing, at most", seen.1);
        }
    }
    two_lives::spliced::<D>(run);
}

fn report<D: Device<Rules: ReadingRules>>(
    bytes: &[u8],
    is_whole: bool,
) -> Result<ImageReport, String> {
    let image = Image::new("image", bytes.to_vec(), GEOMETRY.page_bytes);
    Ok(inspect_by::<D::Rules>(&image.map_err(|e| e.to_string())?, None, is_whole))
}

/// A life, with every state that its part was in.
struct Life {
    /// Slots as they were written, in turn, on a blank part.
    written: Vec<(usize, [u8; RECORD_BYTES])>,
    last: Vec<u8>,
    /// What a board finds on it, and the ledger of the one that wrote it.
    found: Counters,
    ledger: Ledger,
}

/// Keeps what is written, poll by poll.
struct Watch {
    written: Vec<(usize, [u8; RECORD_BYTES])>,
    last: Vec<u8>,
}

impl Watch {
    fn see(&mut self, cells: &[u8]) {
        if self.last == cells {
            return;
        }
        // Several, where a person at the panel is not watched: in the order of writing.
        let next = self.written.last().map_or(0, |(slot, _)| slot + 1);
        for slot in (next..next + SLOTS).map(|slot| slot % SLOTS) {
            let at = slot * RECORD_BYTES;
            let (was, is) = (&mut self.last[at..][..RECORD_BYTES], &cells[at..][..RECORD_BYTES]);
            if was != is {
                was.copy_from_slice(is);
                let mut record = [0; RECORD_BYTES];
                record.copy_from_slice(is);
                self.written.push((slot, record));
            }
        }
    }
}

impl Life {
    fn live<D: Device>(rng: &mut Pcg32) -> Result<Self, String> {
        let part = Part::blank(GEOMETRY).map_err(|e| e.to_string())?;
        let wired = WiredPart::new(PartKind::Eeprom, 0x50, GEOMETRY).ok_or("a part")?;
        let mut watch = Watch { written: Vec::new(), last: vec![0xFF; part.cells().len()] };
        let seed = rng.next_u64();
        let mut core: Bench<Core<D::Rules>> =
            Bench::fitted_on(part, seed, BOARD, wired, Lap::new(1));
        // One life in four ends in its first lap, one near the end of a lap.
        let writes = match rng.next_u32() % 4 {
            0 => SLOTS / 3 + rng.next_u32() as usize % (SLOTS / 2),
            1 => 2 * SLOTS - 20,
            _ => SLOTS + rng.next_u32() as usize % (SLOTS * 3 / 2),
        };
        watch.see(core.bus.part().cells());
        while watch.written.len() < writes {
            let before = watch.written.len();
            step(&mut core, rng, &mut watch);
            if watch.written.len() == before && !core.board().is_ready() {
                return Err("the board does not live".into());
            }
        }
        // Jumps, which no entry holds, and renewals up to the first slots of the next lap.
        let is_near_end = writes == 2 * SLOTS - 20;
        while is_near_end && watch.written.len() <= 2 * SLOTS {
            let see = &mut |bench: &Bench<_>| watch.see(bench.bus.part().cells());
            jumps(&mut core, 1 + u64::from(rng.next_u32() % 20), see);
            let components = ComponentSet(rng.next_u32() & OPERATORS);
            core.ask_and_wait(Command::Renew { components, reply: None }, see);
        }
        let mut bench = D::take_over(core);
        bench.rest(&mut |bench| watch.see(bench.bus.part().cells()));
        for _ in 0..if is_near_end { 0 } else { 4 } {
            step(&mut bench, rng, &mut watch);
        }
        bench.rest(&mut |bench| watch.see(bench.bus.part().cells()));
        let ledger = bench.board().ledger().clone();
        let mut again = bench.powered_again(Tear::New);
        again.rest(&mut |_| {});
        let found = again.board().past().copied().ok_or("a part of which nothing is found")?;
        neither_lost_nor_invented(&bench.acknowledged, &found, &bench.truth())?;
        Ok(Self { written: watch.written, last: watch.last, found, ledger })
    }

    /// The part after so many slots had been written.
    fn state(&self, writes: usize) -> Vec<u8> {
        let mut bytes = vec![0xFF; self.last.len()];
        for (slot, record) in &self.written[..writes] {
            bytes[slot * RECORD_BYTES..][..RECORD_BYTES].copy_from_slice(record);
        }
        bytes
    }

    /// Any state but the last.
    fn earlier(&self, rng: &mut Pcg32) -> Vec<u8> {
        // Half of them within the last fifty records.
        let last = self.written.len() - 1;
        let back = if rng.next_u32().is_multiple_of(2) { last.min(50) } else { last };
        self.state(last - rng.next_u32() as usize % back.max(1))
    }

    /// Whether the part was ever as `bytes`.
    fn was(&self, bytes: &[u8]) -> bool {
        let mut state = vec![0xFF; self.last.len()];
        bytes.len() == state.len()
            && self.written.iter().any(|(slot, record)| {
                state[slot * RECORD_BYTES..][..RECORD_BYTES].copy_from_slice(record);
                state == bytes
            })
    }

    /// The slot that was written last but `back`.
    fn newest(&self, back: usize) -> usize {
        self.written.iter().rev().nth(back).map_or(0, |(slot, _)| *slot)
    }

    fn shares(&self, report: &ImageReport) -> (f64, f64) {
        let read = report.lifetime.as_ref().map_or(0, |figures| figures.stitches);
        let records = report.missing.as_ref().and_then(|missing| missing.records_at_most);
        (self.found.stitches().saturating_sub(read) as f64, records.unwrap_or(0) as f64)
    }

    fn judge(&self, bytes: &[u8], report: &ImageReport) -> Result<(), String> {
        let is_said = report.missing.is_some() || !report.differences.is_empty();
        if report.complete == (report.fault.is_some() || is_said) {
            return Err(format!("complete is {}, and the rest says another", report.complete));
        }
        let Some(read) = &report.lifetime else {
            // Nothing is given, and a fault says so.
            return report.fault.as_ref().map(|_| ()).ok_or_else(|| "no figures, no fault".into());
        };
        let whole = CounterFigures::of(&self.found, NEEDLES_MAX as u8);
        let short = shortfall(&whole, read)?;
        let entries = self.entries_short(report);
        let is_equal = *read == whole && entries == 0;
        let Some(missing) = &report.missing else {
            if is_equal || self.was(bytes) {
                return Ok(());
            }
            return Err(format!("{short:?} and {entries} entries less, and nothing is said"));
        };
        let is_put_back = missing
            .because
            .iter()
            .any(|c| matches!(c, Cause::PutBack { .. } | Cause::Holes { .. }));
        match &missing.at_most {
            Some(most) if covers(most, &short) && entries <= most.entries => Ok(()),
            // It was true when the part was so; what came after it cannot be told.
            Some(_) if self.was(bytes) => Ok(()),
            Some(most) => Err(format!(
                "{short:?} and {entries} entries less, and at most {most:?} is said; {:?}",
                missing.because
            )),
            None if is_put_back || !report.differences.is_empty() => Ok(()),
            None => Err(format!("no bound: {:?}", missing.because)),
        }
    }

    /// How many of the newest journal lines are missing.
    fn entries_short(&self, report: &ImageReport) -> u64 {
        let has = |number: u32| report.journal.iter().any(|line| line.number == number);
        let lines = self.ledger.history.iter();
        lines.filter(|line| !has(line.number.get())).count() as u64
    }
}

/// By how much `read` is below `whole`.
fn shortfall(whole: &CounterFigures, read: &CounterFigures) -> Result<AtMost, String> {
    let needles = whole.needle_stitches.iter().zip(&read.needle_stitches);
    let breaks = whole.needle_breaks.iter().zip(&read.needle_breaks);
    let is_above = read.powered_ms > whole.powered_ms
        || read.running_ms > whole.running_ms
        || read.stitches > whole.stitches
        || needles.clone().any(|(whole, read)| read > whole)
        || breaks.clone().any(|(whole, read)| read > whole)
        || read.unattributed_stitches > whole.unattributed_stitches
        || read.unattributed_breaks > whole.unattributed_breaks
        || read.jumps > whole.jumps
        || read.trims > whole.trims
        || read.power_ups > whole.power_ups
        || read.glitches > whole.glitches
        || read.missed_edges > whole.missed_edges;
    if is_above {
        return Err(format!("above the whole image: {read:?}, not {whole:?}"));
    }
    Ok(AtMost {
        powered_ms: whole.powered_ms - read.powered_ms,
        running_ms: whole.running_ms - read.running_ms,
        stitches: whole.stitches - read.stitches,
        jumps: whole.jumps - read.jumps,
        trims: whole.trims - read.trims,
        power_ups: u64::from(whole.power_ups - read.power_ups),
        entries: 0,
    })
}

fn covers(most: &AtMost, short: &AtMost) -> bool {
    short.powered_ms <= most.powered_ms
        && short.running_ms <= most.running_ms
        && short.stitches <= most.stitches
        && short.jumps <= most.jumps
        && short.trims <= most.trims
        && short.power_ups <= most.power_ups
}

fn jumps<D: Device>(bench: &mut Bench<D>, times: u64, see: &mut impl FnMut(&Bench<D>)) {
    bench.jump(true, see);
    for _ in 0..times {
        bench.revolution(None, 700_000, see);
    }
    bench.jump(false, see);
}

/// A piece of a life: a few records.
fn step<D: Device>(bench: &mut Bench<D>, rng: &mut Pcg32, watch: &mut Watch) {
    let see = &mut |bench: &Bench<D>| watch.see(bench.bus.part().cells());
    let times = 1 + u64::from(rng.next_u32() % 20);
    match rng.next_u32() % 8 {
        0 | 1 => bench.sew(any_needle(rng), 5 * times, 1_990_000, see),
        2 => bench.sew(any_needle(rng), 4 * times, 60_000, see),
        3 => bench.pass_to(bench.now_us + times * 20_000_000, see),
        4 => {
            jumps(bench, times, see);
            bench.trim(see);
            bench.thread_break(any_needle(rng), see);
        }
        5 | 6 => {
            let components = ComponentSet(rng.next_u32() & OPERATORS);
            bench.ask_and_wait(Command::Renew { components, reply: None }, see);
        }
        _ => {
            if rng.next_u32().is_multiple_of(2) {
                bench.warn();
                bench.work(see);
            }
            let mut next = bench.powered_again(Tear::New);
            see(&next);
            next.rest(see);
            let past = next.board().past().copied();
            next.found(past.as_ref());
            *bench = next;
        }
    }
}

/// What is done to an image.
type Change = fn(&Life, &mut Pcg32) -> Vec<u8>;

/// All of them, and whether what is missing may have no bound: where a slot is as it was long
/// ago, nobody can say what it was in between.
const CHANGES: [(Change, bool); 9] = [
    (cut_short, false),
    (mirrored, true),
    (blanked, true),
    (blanked_anywhere, true),
    (flipped, false),
    (zeroed_anywhere, false),
    (spliced, true),
    (one_record_of_later, true),
    (rolled_back, true),
];

fn below(rng: &mut Pcg32, end: usize) -> usize {
    rng.next_u32() as usize % end
}

/// The first bytes only.
fn cut_short(life: &Life, rng: &mut Pcg32) -> Vec<u8> {
    let steps = (life.last.len() - SIZE_MIN_BYTES) / SIZE_STEP_BYTES;
    // One in two by a few slots only.
    let least = if rng.next_u32().is_multiple_of(2) { steps - 6 } else { 0 };
    let kept = least + below(rng, steps - least);
    life.last[..SIZE_MIN_BYTES + SIZE_STEP_BYTES * kept].to_vec()
}

/// An address line is stuck while the part is read, or it is read twice.
fn mirrored(life: &Life, rng: &mut Pcg32) -> Vec<u8> {
    let line = 1_usize << (6 + rng.next_u32() % 8);
    let read = |at: usize| life.last[at];
    match rng.next_u32() % 5 {
        0 | 1 => (0..life.last.len()).map(|at| read(at & !line)).collect(),
        2 | 3 => (0..life.last.len()).map(|at| read(at | line)).collect(),
        _ => life.last.repeat(2),
    }
}

/// `count` slots from the slot `from` on, round the ring if need be, are `fill`ed.
fn fill(bytes: &mut [u8], from: usize, count: usize, fill: u8) {
    for slot in (from..from + count).map(|slot| slot % SLOTS) {
        bytes[slot * RECORD_BYTES..][..RECORD_BYTES].fill(fill);
    }
}

fn blanked(life: &Life, rng: &mut Pcg32) -> Vec<u8> {
    let mut bytes = life.last.clone();
    let count = 1 + below(rng, 60);
    fill(&mut bytes, life.newest(0) + SLOTS + 1 - count, count, 0xFF);
    bytes
}

fn blanked_anywhere(life: &Life, rng: &mut Pcg32) -> Vec<u8> {
    let mut bytes = life.last.clone();
    let count = 1 + below(rng, SLOTS / 2);
    fill(&mut bytes, below(rng, SLOTS), count, 0xFF);
    bytes
}

/// One bit in each of the newest slots.
fn flipped(life: &Life, rng: &mut Pcg32) -> Vec<u8> {
    let mut bytes = life.last.clone();
    for back in 0..=below(rng, 40) {
        let bit = below(rng, RECORD_BYTES * 8);
        bytes[life.newest(back) * RECORD_BYTES + bit / 8] ^= 1 << (bit % 8);
    }
    bytes
}

/// Zeros in some places.
fn zeroed_anywhere(life: &Life, rng: &mut Pcg32) -> Vec<u8> {
    let mut bytes = life.last.clone();
    for _ in 0..=below(rng, 4) {
        let count = 1 + below(rng, 12);
        fill(&mut bytes, below(rng, SLOTS), count, 0);
    }
    bytes
}

/// One part of the part is as it was, the other as it is.
fn spliced(life: &Life, rng: &mut Pcg32) -> Vec<u8> {
    let (mut first, mut second) = (life.earlier(rng), life.last.clone());
    if rng.next_u32().is_multiple_of(2) {
        std::mem::swap(&mut first, &mut second);
    }
    let at = (1 + below(rng, SLOTS - 1)) * RECORD_BYTES;
    [&first[..at], &second[at..]].concat()
}

/// A part as it was, with one of the newest records of what it became.
fn one_record_of_later(life: &Life, rng: &mut Pcg32) -> Vec<u8> {
    let mut bytes = life.earlier(rng);
    let at = life.newest(below(rng, 5)) * RECORD_BYTES;
    bytes[at..][..RECORD_BYTES].copy_from_slice(&life.last[at..][..RECORD_BYTES]);
    bytes
}

/// Some slots, in a row or anywhere, are as they were.
fn rolled_back(life: &Life, rng: &mut Pcg32) -> Vec<u8> {
    let (mut bytes, was) = (life.last.clone(), life.earlier(rng));
    let (from, count) = (below(rng, SLOTS), 1 + below(rng, SLOTS / 2));
    let in_a_row = rng.next_u32().is_multiple_of(2);
    for number in 0..count {
        let slot = if in_a_row { (from + number) % SLOTS } else { below(rng, SLOTS) };
        let at = slot * RECORD_BYTES;
        bytes[at..][..RECORD_BYTES].copy_from_slice(&was[at..][..RECORD_BYTES]);
    }
    bytes
}
