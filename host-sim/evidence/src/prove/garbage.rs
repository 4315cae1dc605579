//! Proof 7: a part that holds nothing sensible, or is not there. The board names
//! what is wrong, does not hang, claims no past, and counts on.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::counters::Needle;
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::journal::Event;
use shaftbook_core::ledger::HistoryLine;
use shaftbook_core::medium::Geometry;
use shaftbook_core::serial::Lap;
use shaftbook_drivers::memory::{PartKind, WiredPart};

use super::Run;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::{BOARD, Bench};
use shaftbook_world::bus::{Answers, Bus, Part, Tear, Timing};
use shaftbook_world::judge::neither_lost_nor_invented;

/// Another board, whose part gets into ours.
const STRANGER: BoardId = BoardId(0x0DD_B0A2D);

/// Proof 7.
pub fn garbage_boots<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let used = used_image::<D>(run.seed);
    for kind in 0..KINDS {
        let seed = rng.next_u64();
        if run.is_over() {
            return;
        }
        run.case(|| case::<D>(kind, seed, &used).map_err(|what| format!("kind {kind}: {what}")));
    }
    let seed = rng.next_u64();
    run.case(|| exchanged::<D>(seed, &used).map_err(|what| format!("exchanged: {what}")));
    // Only the core lets a case say which faults there are.
    if !D::HAS_PANEL {
        run.case(|| every_fault_is_journalled::<D::Rules>(seed));
    }
    for page_bytes in [16, 32, 128, 256] {
        run.case(|| {
            other_pages::<D>(seed, page_bytes)
                .map_err(|what| format!("pages of {page_bytes}: {what}"))
        });
    }
}

const KINDS: usize = 12;

/// Our own board's part after some use.
fn used_image<D: Device>(seed: u64) -> Vec<u8> {
    let mut bench: Bench<D> = Bench::fitted(seed, Lap::new(3));
    bench.sew(Needle::new(2).expect("needle 2"), 400, 1_990_000, &mut |_| {});
    bench.warn();
    bench.rest(&mut |_| {});
    let mut image = Vec::new();
    bench.cut_image(Tear::New, &mut image);
    image
}

fn case<D: Device>(kind: usize, seed: u64, used: &[u8]) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let garbage = |rng: &mut Pcg32, size: usize| -> Vec<u8> {
        (0..size).map(|_| rng.next_u32() as u8).collect()
    };
    let size = 32_768;
    let mut expected = vec![Fault::MemoryUnreadable];
    let mut answers = Answers::Part;
    let image = match kind {
        0 => garbage(&mut rng, size),
        1 => {
            expected = vec![Fault::NotFitted];
            vec![0xFF; size]
        }
        2 => vec![0; size],
        3 => {
            expected = vec![Fault::ForeignMemory];
            foreign::<D>(seed)
        }
        // Garbage in most of a part that was ours.
        4 => {
            let mut image = used.to_vec();
            for page in image.chunks_mut(64) {
                if !rng.next_u32().is_multiple_of(40) {
                    page.copy_from_slice(&garbage(&mut rng, 64));
                }
            }
            image
        }
        // Every header right and every CRC wrong.
        5 => {
            let mut image = used.to_vec();
            image.chunks_mut(64).for_each(|page| page[30] ^= 1);
            image
        }
        // One byte all over, but not the blank part's.
        6 => vec![(rng.next_u32() % 0xFF) as u8; size],
        7 | 8 => {
            answers = Answers::Nobody;
            expected = vec![Fault::MemoryNoAnswer];
            used.to_vec()
        }
        9 => {
            answers = Answers::BusHeld;
            expected = vec![Fault::BusStuck];
            used.to_vec()
        }
        10 => {
            answers = Answers::Stranger;
            used.to_vec()
        }
        // A part of half the size answers with wrapped addresses.
        _ => {
            let half = used[..size / 2].to_vec();
            [half.clone(), half].concat()
        }
    };
    let part = Part::from_image(image, Geometry::REFERENCE).map_err(|e| e.to_string())?;
    let mut bus = Bus::new(part, Timing::FAST_MODE, seed);
    bus.set_answers(answers);
    let mut bench: Bench<D> = Bench::on(bus, BOARD);
    bench.pass_to(3_000_000, &mut |_| {});
    let seen: Vec<Fault> = bench.board().faults().iter().collect();
    let past = bench.board().past().copied();
    // A part that was partly ours may still give a past, but never a false one.
    let may_have_past = matches!(kind, 4 | 11);
    if !may_have_past && past.is_some() {
        return Err(format!("claims a past of {past:?}"));
    }
    if past.is_some_and(|p| p.stitches() > 400) {
        return Err(format!("invents counts: {past:?}"));
    }
    if past.is_none() && !expected.iter().any(|fault| seen.contains(fault)) && !may_have_past {
        return Err(format!("shows {seen:?}, not {expected:?}"));
    }
    if past.is_none() && seen.is_empty() {
        return Err("no past and no fault".into());
    }
    let before = bench.board().session(bench.now()).stitches();
    bench.sew(Needle::new(3).ok_or("needle 3")?, 50, 70_000, &mut |_| {});
    let counted = bench.board().session(bench.now()).stitches() - before;
    // The last stitch's edge may not be debounced yet.
    if !(49..=50).contains(&counted) {
        return Err(format!("of 50 stitches it counted {counted}"));
    }
    if kind == 8 || kind == 9 {
        return comes_back(&mut bench);
    }
    Ok(())
}

/// The part answers again: the past is found and what was counted is added.
fn comes_back<D: Device>(bench: &mut Bench<D>) -> Result<(), String> {
    bench.bus.set_answers(Answers::Part);
    bench.pass_to(bench.now_us + 3_000_000, &mut |_| {});
    let lifetime = bench.board().lifetime(bench.now()).ok_or("the past is not found again")?;
    if !(449..=450).contains(&lifetime.stitches()) {
        return Err(format!("400 + 50 stitches came to {}", lifetime.stitches()));
    }
    if !bench.board().faults().is_empty() {
        return Err(format!("still shows {:?}", bench.board().faults().iter().collect::<Vec<_>>()));
    }
    Ok(())
}

/// Another board's part gets into the socket while the board works; the board is cut,
/// and powered up on that part, then on its own.
fn exchanged<D: Device>(seed: u64, used: &[u8]) -> Result<(), String> {
    let part =
        |image: Vec<u8>| Part::from_image(image, Geometry::REFERENCE).map_err(|e| e.to_string());
    let mut bench: Bench<D> = Bench::new(part(used.to_vec())?, seed);
    bench.rest(&mut |_| {});
    let needle = Needle::new(1 + (seed % 15) as u8).ok_or("a needle")?;
    bench.bus.exchange(part(foreign::<D>(seed))?);
    bench.sew(needle, 20 + seed % 3_000, 1_990_000, &mut |_| {});
    // What is fed in since, and what its own part held before.
    let truth = bench.truth().stitches() + 400;
    let mut image = Vec::new();
    bench.cut_image(Tear::draw(seed, 64), &mut image);
    let mut again: Bench<D> = Bench::new(part(image)?, seed);
    again.pass_to(3_000_000, &mut |_| {});
    match again.board().past() {
        None if again.board().faults().is_empty() => return Err("no past and no fault".into()),
        Some(past) if past.stitches() > truth => {
            return Err(format!("{} stitches of {truth} on the other part", past.stitches()));
        }
        _ => {}
    }
    let mut own: Bench<D> = Bench::new(part(used.to_vec())?, seed);
    own.rest(&mut |_| {});
    match own.board().past().map(shaftbook_core::counters::Counters::stitches) {
        Some(400) => Ok(()),
        other => Err(format!("back on its own part it has {other:?} of 400 stitches")),
    }
}

/// More faults at once than the journal has room for at once: each gets its line.
fn every_fault_is_journalled<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut bench: Bench<Core<R>> = Bench::fitted(seed, Lap::new(1));
    let faults: Vec<Fault> =
        Fault::ALL.into_iter().filter(|_| !rng.next_u32().is_multiple_of(5)).collect();
    for fault in &faults {
        bench.device.board_mut().raise(*fault);
    }
    bench.rest(&mut |_| {});
    bench.cut_and_power_up(Tear::New);
    let history = &bench.board().ledger().history;
    for fault in faults {
        let is_it =
            |line: &HistoryLine| line.event == Event::FaultSeen && line.subject == fault.number();
        if !history.iter().any(is_it) {
            return Err(format!("{fault:?} was there, and is not in the journal"));
        }
    }
    Ok(())
}

/// A sound part of pages other than the reference's: a record takes several program cycles
/// or half a page. Sews, is cut, and loses nothing that was acknowledged.
fn other_pages<D: Device>(seed: u64, page_bytes: u16) -> Result<(), String> {
    let geometry = Geometry { page_bytes, ..Geometry::REFERENCE };
    let wired =
        WiredPart::new(PartKind::Eeprom, 0x50, geometry).ok_or("a part that the driver takes")?;
    let part = Part::blank(geometry).map_err(|e| e.to_string())?;
    let mut bench: Bench<D> = Bench::fitted_on(part, seed, BOARD, wired, Lap::new(0));
    bench.sew(Needle::new(4).ok_or("needle 4")?, 40 + seed % 40, 1_990_000, &mut |_| {});
    let (truth, acknowledged) = (bench.truth(), bench.acknowledged);
    bench.cut_and_power_up(Tear::draw(seed, page_bytes));
    let faults: Vec<Fault> = bench.board().faults().iter().collect();
    if !faults.is_empty() {
        return Err(format!("shows {faults:?}"));
    }
    let past = bench.board().past().copied().ok_or("the past is lost")?;
    if acknowledged.stitches() == 0 {
        return Err("nothing was acknowledged".into());
    }
    neither_lost_nor_invented(&acknowledged, &past, &truth)
}

/// The part of another board.
fn foreign<D: Device>(seed: u64) -> Vec<u8> {
    let mut bench: Bench<D> = Bench::fitted_as(seed, Lap::new(5), STRANGER);
    bench.sew(Needle::new(1).expect("needle 1"), 900, 1_990_000, &mut |_| {});
    let mut image = Vec::new();
    bench.cut_image(Tear::New, &mut image);
    image
}
