//! Proof 6: one bad page, wherever it is and whatever is wrong with it.

use std::ops::Range;

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::codec::frame::{Header, RecordKind};
use shaftbook_core::codec::snapshot;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::journal::{ComponentSet, Event};
use shaftbook_core::ledger::HistoryLine;
use shaftbook_core::medium::Geometry;
use shaftbook_core::serial::Lap;
use shaftbook_core::service::Authorised;

use super::Run;
use super::worn_out::worn_out;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{Bench, CommandFigures, Recovered, any_needle, parts};
use shaftbook_world::bus::{Part, Stuck, Tear};

const PAGE: usize = 64;
const PAGES: usize = 512;

/// Proof 6.
pub fn one_bad_page<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let mut bench = a_used_board::<D>(run, &mut rng);
    at_rest(run, &bench, &mut rng, 0..PAGES, 0..DAMAGES);
    in_use(run, &mut bench, &mut rng);
    // The first records of a life: nothing older stands behind them.
    let fitted: Bench<D> = Bench::fitted(run.seed, Lap::new(1));
    at_rest(run, &fitted, &mut rng, 0..40, 0..1);
    run.case(|| worn_out(fitted).map_err(|what| format!("worn out: {what}")));
    let seed = rng.next_u64();
    draft_over_draft(run, &mut bench, seed);
    on_any_part::<D>(run, &mut rng);
}

/// Pages drawn of a part that is drawn.
const DRAWN_PAGES: usize = 60;

/// Drawn pages of a part of any shape, each damaged in a drawn way, before a boot.
fn on_any_part<D: Device>(run: &mut Run, rng: &mut Pcg32) {
    let wired = parts::any_part(rng);
    let lap = Lap::new(rng.next_u32() % 1_000);
    let slots = u32::from(parts::ring(wired).slots());
    let mut bench: Bench<D> = Bench::with_past_on(wired, run.seed, lap, |core| {
        for _ in 0..rng.next_u32() % (slots / 2) {
            core.sew(any_needle(rng), 6, 1_999_000, &mut |_| {});
        }
        let set = ComponentSet(1 << (rng.next_u32() % 15));
        let _ = core.ask(Command::Renew { components: set, reply: None });
        core.rest(&mut |_| {});
    });
    bench.rest(&mut |_| {});
    let mut sound = Vec::new();
    bench.cut_image(Tear::New, &mut sound);
    let reference = Recovered::<D>::from_image_of(wired, sound.clone(), run.seed);
    let named = parts::named(wired);
    let Some(past) = reference.past() else {
        run.case(|| Err(format!("{named}the sound part does not boot")));
        return;
    };
    let figures = CommandFigures::of(reference.bench.board().ledger());
    let truth = bench.truth();
    let pages = sound.len() / parts::page_bytes(wired);
    for _ in 0..DRAWN_PAGES {
        let (page, kind) = (rng.next_u32() as usize % pages, rng.next_u32() as usize % DAMAGES);
        let seed = rng.next_u64();
        run.case(|| {
            let mut image = sound.clone();
            let mut rng = Pcg32::seed_from_u64(seed);
            damage(&mut image, parts::page_bytes(wired), page, kind, &mut rng);
            let after = Recovered::<D>::from_image_of(wired, image, seed);
            check(&after, &past, &truth, &figures)
                .map_err(|what| format!("{named}page {page}, damage {kind}: {what}"))?;
            Ok(())
        });
    }
}

/// A board somewhere in its second lap or later, with services and renewals.
fn a_used_board<D: Device>(run: &Run, rng: &mut Pcg32) -> Bench<D> {
    let mut bench: Bench<D> = Bench::fitted(run.seed, Lap::new(rng.next_u32() % 1_000));
    for _ in 0..14 + rng.next_u32() % 30 {
        let needle = any_needle(rng);
        bench.sew(needle, 20 + u64::from(rng.next_u32() % 200), 1_990_000, &mut |_| {});
        match rng.next_u32() % 4 {
            0 => {
                let set = ComponentSet(1 << (rng.next_u32() % 15));
                let _ = bench.ask(Command::Renew { components: set, reply: None });
            }
            1 => {
                let reply = bench.right_reply(Authorised::Service);
                let _ = bench.ask(Command::Service { reply });
            }
            2 => {
                bench.cut_and_power_up(Tear::New);
            }
            _ => {}
        }
        bench.rest(&mut |_| {});
    }
    bench
}

/// What can be wrong with a page that is only read.
pub(super) const DAMAGES: usize = 8;

/// Damages a page of `length` bytes in the way `kind`, 0 to [`DAMAGES`] − 1.
pub(super) fn damage(image: &mut [u8], length: usize, page: usize, kind: usize, rng: &mut Pcg32) {
    let pages = image.len() / length;
    let other = (page + 1 + rng.next_u32() as usize % (pages - 1)) % pages;
    let copy = image[other * length..][..length].to_vec();
    let bytes = &mut image[page * length..][..length];
    match kind {
        0 => bytes.fill(0xFF),
        1 => bytes.fill(0),
        2 => bytes.iter_mut().for_each(|b| *b = rng.next_u32() as u8),
        3 => bytes[rng.next_u32() as usize % length] ^= 1 << (rng.next_u32() % 8),
        // A write that was meant for another page.
        4 => bytes.copy_from_slice(&copy),
        // Half of another page: a torn write to a wrong address.
        5 => bytes[..length / 2].copy_from_slice(&copy[..length / 2]),
        // A header that looks newer than everything.
        6 => {
            let word = u32::from_le_bytes([copy[0], copy[1], copy[2], 0]).wrapping_add(8);
            bytes[..3].copy_from_slice(&word.to_le_bytes()[..3]);
        }
        // Bytes of another board's part.
        _ => {
            bytes.copy_from_slice(&copy);
            bytes[length / 3 - 1] ^= 0x55;
        }
    }
}

/// Every page, damaged in every way, before a boot.
fn at_rest<D: Device>(
    run: &mut Run,
    bench: &Bench<D>,
    rng: &mut Pcg32,
    pages: Range<usize>,
    damages: Range<usize>,
) {
    let mut sound = Vec::new();
    bench.cut_image(Tear::New, &mut sound);
    let reference = Recovered::<D>::from_image(sound.clone(), run.seed);
    let Some(past) = reference.past() else {
        run.case(|| Err("the sound part does not boot".into()));
        return;
    };
    let figures = CommandFigures::of(reference.bench.board().ledger());
    let truth = bench.truth();
    let mut most_lost = Counters::default();
    for page in pages {
        for kind in damages.clone() {
            let seed = rng.next_u64();
            if run.is_over() {
                return;
            }
            run.case(|| {
                let mut image = sound.clone();
                damage(&mut image, PAGE, page, kind, &mut Pcg32::seed_from_u64(seed));
                let after = Recovered::<D>::from_image(image, seed);
                let lost = check(&after, &past, &truth, &figures)
                    .map_err(|what| format!("page {page}, damage {kind}: {what}"))?;
                most_lost = most_lost.most(&lost);
                Ok(())
            });
        }
    }
    run.figure("running lost with a page, s:", most_lost.running_ms as f64 / 1_000.0);
    run.figure("trims:", most_lost.trims as f64);
}

/// No figure above the truth; nothing lost but what stood in one checkpoint; services
/// and baselines as they were. Gives what was lost.
pub(super) fn check<D: Device>(
    after: &Recovered<D>,
    past: &Counters,
    truth: &Counters,
    figures: &CommandFigures,
) -> Result<Counters, String> {
    if !after.rested {
        return Err("the board does not come to rest".into());
    }
    let now = after.past().ok_or_else(|| {
        format!("the past is lost: {:?}", after.bench.board().faults().iter().collect::<Vec<_>>())
    })?;
    let truth = Counters { power_ups: truth.power_ups + 1, ..*truth };
    if !now.at_most(&truth) {
        return Err(format!("above the truth by {:?}", now.since(&truth)));
    }
    let lost = past.since(&now);
    if lost.running_ms > 10_000 || lost.trims > 64 || lost.powered_ms > 60_000 {
        return Err(format!("more than one checkpoint lost: {lost:?}"));
    }
    let now = CommandFigures::of(after.bench.board().ledger());
    if now != *figures {
        return Err(format!("services or baselines changed: {now:?} from {figures:?}"));
    }
    Ok(lost)
}

/// A page goes bad while the board works: it retires it, says nothing wrong, and
/// remembers it.
fn in_use<D: Device>(run: &mut Run, bench: &mut Bench<D>, rng: &mut Pcg32) {
    for kind in 0..3 {
        if run.is_over() {
            return;
        }
        let head = usize::from(bench.board().store().head().slot);
        let page = (head + 1 + rng.next_u32() as usize % 30) % PAGES;
        let other = (head + 3 + rng.next_u32() as usize % (PAGES - 5)) % PAGES;
        match kind {
            0 => bench.bus.part_mut().stick_page(page, Stuck::KeepsOld),
            1 => bench.bus.part_mut().stick_page(page, Stuck::Reads(0xA5)),
            _ => bench.bus.part_mut().misdirect(1 + rng.next_u32() % 20, other),
        }
        let mut image = Vec::new();
        for _ in 0..3 {
            let needle = any_needle(rng);
            bench.sew(needle, 120, 1_990_000, &mut |bench: &Bench<D>| {
                // A cut while it is found out that a page keeps what it held.
                if kind != 0 || bench.bus.page_under_way().is_none() || run.is_over() {
                    return;
                }
                run.case(|| {
                    bench.cut_image(Tear::New, &mut image);
                    let after = Recovered::<D>::from_image(image.clone(), bench.now_us);
                    let past = after.past().ok_or("the past is lost at a bad page")?;
                    if !bench.acknowledged.at_most(&past) || !past.at_most(&bench.truth()) {
                        let acknowledged = &bench.acknowledged;
                        return Err(format!("cut at a bad page: {past:?}, {acknowledged:?}"));
                    }
                    Ok(())
                });
            });
        }
        let truth = bench.truth();
        let retired: Vec<u16> = bench.board().store().retired().iter().collect();
        let faults: Vec<Fault> = bench.board().faults().iter().collect();
        let figures = bench.figures.clone();
        bench.cut_image(Tear::Old, &mut image);
        let seed = rng.next_u64();
        run.case(|| {
            if !faults.is_empty() {
                return Err(format!("one bad page raised {faults:?}"));
            }
            if kind < 2 && !retired.contains(&(page as u16)) {
                return Err(format!("stuck page {page} was not retired: {retired:?}"));
            }
            let part = Part::from_image(image, Geometry::REFERENCE).map_err(|e| e.to_string())?;
            let mut again: Bench<D> = Bench::new(part, seed);
            if !again.rest(&mut |_| {}) {
                return Err("the board does not come to rest".into());
            }
            let past = again.board().past().copied().ok_or("the past is lost")?;
            let lost = truth.since(&past);
            if !past.at_most(&truth) || lost.running_ms > 10_000 {
                return Err(format!("lost {lost:?} with a bad page in use"));
            }
            if CommandFigures::of(again.board().ledger()) != figures {
                let now = CommandFigures::of(again.board().ledger());
                return Err(format!("with a bad page in use {figures:?} became {now:?}"));
            }
            let remembered: Vec<u16> = again.board().store().retired().iter().collect();
            if remembered != retired {
                return Err(format!("retired {retired:?}, remembered {remembered:?}"));
            }
            let mut journal = again.board().ledger().history.iter();
            let names = |line: &HistoryLine| {
                line.event == Event::SlotRetired && usize::from(line.subject) == page
            };
            if kind < 2 && !journal.any(names) {
                return Err(format!("the journal does not say that slot {page} was retired"));
            }
            Ok(())
        });
    }
}

/// Renewals after which a new snapshot is written, and some.
const RENEWALS: u32 = 14;

/// The board is cut when a snapshot is written but not committed; the next one goes over
/// it, and one page of it keeps what it held: a member of the snapshot that was cut.
fn draft_over_draft<D: Device>(run: &mut Run, bench: &mut Bench<D>, seed: u64) {
    let start = bench.clone();
    let mut whole = None;
    for _ in 0..RENEWALS {
        let _ = bench.ask(Command::Renew { components: ComponentSet(1), reply: None });
        bench.rest(&mut |bench: &Bench<D>| {
            if whole.is_none() && is_uncommitted(bench) {
                whole = Some(bench.clone());
            }
        });
        if whole.is_some() {
            break;
        }
    }
    let Some(cut) = whole else {
        run.case(|| Err("no snapshot was written".into()));
        return;
    };
    let head = usize::from(cut.board().store().head().slot);
    for back in [3, 9, 15, 21] {
        let mut bench = start.clone();
        bench.bus.part_mut().stick_page((head + PAGES - back) % PAGES, Stuck::KeepsOld);
        old_lap_under_draft(run, &mut bench);
    }
    let (acknowledged, truth) = (cut.acknowledged, cut.truth());
    let mut image = Vec::new();
    cut.cut_image(Tear::New, &mut image);
    for back in 0..26 {
        if run.is_over() {
            return;
        }
        run.case(|| {
            let page = (head + PAGES - back) % PAGES;
            let mut part =
                Part::from_image(image.clone(), Geometry::REFERENCE).map_err(|e| e.to_string())?;
            part.stick_page(page, Stuck::KeepsOld);
            let mut second: Bench<D> = Bench::new(part, seed);
            if !second.rest(&mut |_| {}) {
                return Err("the board does not come to rest".into());
            }
            let figures = CommandFigures::of(second.board().ledger());
            let mut image = Vec::new();
            second.cut_image(Tear::New, &mut image);
            let after = Recovered::<D>::from_image(image, seed);
            let faults: Vec<Fault> = after.bench.board().faults().iter().collect();
            let past = after.past().ok_or("the past is lost")?;
            let mut most = truth.plus(&second.truth());
            most.power_ups += 1;
            if !faults.is_empty() || !acknowledged.at_most(&past) || !past.at_most(&most) {
                return Err(format!("a snapshot over one that was cut: {faults:?}, {past:?}"));
            }
            if CommandFigures::of(after.bench.board().ledger()) != figures {
                return Err("a snapshot over one that was cut: other services or baselines".into());
            }
            Ok(())
        });
    }
}

/// A page in the middle of a snapshot under way keeps a record of the lap before; the board
/// is cut at every moment of that snapshot.
fn old_lap_under_draft<D: Device>(run: &mut Run, bench: &mut Bench<D>) {
    let mut image = Vec::new();
    for _ in 0..RENEWALS {
        let _ = bench.ask(Command::Renew { components: ComponentSet(1), reply: None });
        bench.rest(&mut |bench: &Bench<D>| {
            if bench.bus.page_under_way().is_none() || run.is_over() {
                return;
            }
            run.case(|| {
                bench.cut_image(Tear::New, &mut image);
                let after = Recovered::<D>::from_image(image.clone(), bench.now_us);
                let past = after.past().ok_or("an old lap under a snapshot: the past is lost")?;
                if !bench.acknowledged.at_most(&past) || !past.at_most(&bench.truth()) {
                    let acknowledged = &bench.acknowledged;
                    return Err(format!("an old lap under a snapshot: {past:?}, {acknowledged:?}"));
                }
                Ok(())
            });
        });
    }
}

/// Whether the newest record is the last member of a snapshot.
fn is_uncommitted<D: Device>(bench: &Bench<D>) -> bool {
    let newest = (usize::from(bench.board().store().head().slot) + PAGES - 1) % PAGES;
    let mut image = Vec::new();
    bench.cut_image(Tear::New, &mut image);
    let Some(record) = image[newest * PAGE..].first_chunk::<PAGE>() else { return false };
    let is_member = Header::decode(record).is_some_and(|h| h.kind == RecordKind::Snapshot);
    is_member && snapshot::member_place(record).is_some_and(|place| place.index == place.count)
}
