//! Proof 13: a board makes good what it finds missing, before it is cut again.
//!
//! One page is damaged (`First`), the board boots, has power for `HEALED_US` and is cut;
//! another page is damaged, and the board boots again. The second damage may cost what the
//! proof `one-bad-page` allows of a board that was whole, and no more: whatever the first one
//! left without its spare has one again. In half of the cases the newest record before the
//! second damage is an entry whose growth no checkpoint holds.
//!
//! - [`hours_apart`]: troubles of a board that stays powered for hours

pub mod hours_apart;

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::codec::frame::{Header, RecordKind};
use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::serial::Lap;
use shaftbook_drivers::memory::WiredPart;

use super::Run;
use super::bad_page::{DAMAGES, check, damage};
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{Bench, CommandFigures, Recovered, any_needle, parts};
use shaftbook_world::bus::{Stuck, Tear};

/// A board that had power for so long has made good what one bad page took, µs: a recovery
/// that reads every slot of the reference part (0.8 s), and a snapshot of the largest size.
const HEALED_US: u64 = 2_000_000;
/// First damages of a run, and second ones after each.
const DAMAGES_OF_A_RUN: (usize, usize) = (14, 10);
/// Bytes of a page of the reference part, and its pages.
const PAGE: usize = 64;
const PAGES: usize = 512;

/// The first damage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum First {
    /// A page goes bad at rest.
    AtRest,
    /// The same, and it takes no program any more.
    AtRestForGood,
    /// The next slot to be written takes no program; its note stands in the journal, which may
    /// just be full, and the board is cut without having booted in between.
    InUse,
    /// A write lands on another page than it was meant for.
    Misdirected,
}

/// What has been healed, and what is known of it.
struct Healed<D: Device> {
    bench: Bench<D>,
    /// What truly happened.
    truth: Counters,
    /// What was sewn on each needle when the newest entry was asked for.
    sewn: Option<[u64; NEEDLES_MAX]>,
    retired: Vec<u16>,
    named: String,
}

/// Proof 13.
pub fn heals<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let bench = a_board_with_a_journal::<D>(run, &mut rng);
    for number in 0..DAMAGES_OF_A_RUN.0 {
        if run.is_over() {
            return;
        }
        let first = match number % 7 {
            4 => First::AtRestForGood,
            5 => First::InUse,
            6 => First::Misdirected,
            _ => First::AtRest,
        };
        let healed = healed(run, &bench, first, &mut rng);
        second_damages(run, &healed, &mut rng);
    }
    let hours_apart: [fn(u64) -> Result<(), String>; 3] = [
        hours_apart::refusals::<D::Rules>,
        hours_apart::slots_fail::<D::Rules>,
        hours_apart::neighbours_fail::<D::Rules>,
    ];
    for case in hours_apart {
        let seed = rng.next_u64();
        run.case(|| case(seed));
    }
}

/// The first damage, and two seconds of power.
fn healed<D: Device>(run: &mut Run, bench: &Bench<D>, first: First, rng: &mut Pcg32) -> Healed<D> {
    let mut bench = bench.clone();
    let mut truth = bench.truth();
    let mut named = format!("{first:?}");
    match first {
        First::AtRest | First::AtRestForGood => {
            let mut image = image_of(&bench);
            let page = drawn_page(&needed_pages(&image), rng);
            let kind = rng.next_u32() as usize % DAMAGES;
            damage(&mut image, PAGE, page, kind, rng);
            bench = powered_on(&bench, &image);
            if first == First::AtRestForGood {
                bench.bus.part_mut().stick_page(page, Stuck::KeepsOld);
            }
            named = format!("{named}: page {page}, damage {kind}");
        }
        First::InUse => {
            let head = usize::from(bench.board().store().head().slot);
            let how = if rng.next_u32().is_multiple_of(2) {
                Stuck::KeepsOld
            } else {
                Stuck::Reads(rng.next_u32() as u8)
            };
            bench.bus.part_mut().stick_page(head, how);
            bench.sew(any_needle(rng), 6, 1_999_000, &mut |_| {});
            named = format!("{named}: slot {head}, {how:?}");
        }
        First::Misdirected => {
            let page = drawn_page(&needed_pages(&image_of(&bench)), rng);
            bench.bus.part_mut().misdirect(rng.next_u32() % 3, page);
            bench.sew(any_needle(rng), 24, 1_999_000, &mut |_| {});
            truth = bench.truth();
            bench = bench.powered_again(Tear::Old);
            named = format!("{named} to page {page}");
        }
    }
    let mut whole_us = 0;
    let begun_us = bench.now_us;
    bench.pass_to(begun_us + HEALED_US, &mut |bench: &Bench<D>| {
        if !bench.board().is_ready() || bench.board().store().is_busy() {
            whole_us = bench.now_us - begun_us;
        }
    });
    run.figure("whole again, ms:", whole_us as f64 / 1_000.0);
    let mut sewn = None;
    if rng.next_u32().is_multiple_of(2) && bench.board().is_ready() {
        bench.sew(any_needle(rng), 1 + u64::from(rng.next_u32() % 4), 700_000, &mut |_| {});
        let past = bench.board().past().copied().unwrap_or_default();
        let set = ComponentSet(1 << (rng.next_u32() % 15));
        let asked = bench.ask(Command::Renew { components: set, reply: None });
        let session = bench.board().session(bench.now());
        bench.rest(&mut |_| {});
        sewn = asked.map(|()| past.plus(&session).needle_stitches);
        named += ", an entry as the newest";
    }
    truth = match first {
        First::InUse => bench.truth(),
        _ => truth.plus(&bench.truth()),
    };
    let retired = bench.board().store().retired().iter().collect();
    Healed { bench, truth, sewn, retired, named }
}

/// Second damages, each on its own.
fn second_damages<D: Device>(run: &mut Run, healed: &Healed<D>, rng: &mut Pcg32) {
    let image = image_of(&healed.bench);
    let needed = needed_pages(&image);
    let past = healed.bench.acknowledged;
    let figures = CommandFigures::of(healed.bench.board().ledger());
    for _ in 0..DAMAGES_OF_A_RUN.1 {
        let (page, kind) = (drawn_page(&needed, rng), rng.next_u32() as usize % DAMAGES);
        let seed = rng.next_u64();
        run.case(|| {
            let mut image = image.clone();
            damage(&mut image, PAGE, page, kind, &mut Pcg32::seed_from_u64(seed));
            let mut bench = powered_on(&healed.bench, &image);
            let rested = bench.rest(&mut |_| {});
            let after = Recovered { bench, rested, between: Counters::default() };
            check(&after, &past, &healed.truth, &figures)
                .and_then(|_| nothing_forgotten(&after, healed))
                .map_err(|what| {
                    format!("{}; then page {page}, damage {kind}: {what}", healed.named)
                })
        });
    }
}

/// The slots that were retired still are, and what was sewn up to an entry stands in it.
fn nothing_forgotten<D: Device>(after: &Recovered<D>, healed: &Healed<D>) -> Result<(), String> {
    let retired = after.bench.board().store().retired();
    if let Some(slot) = healed.retired.iter().find(|slot| !retired.contains(**slot)) {
        return Err(format!("slot {slot} was retired and is not any more"));
    }
    let found = after.past().unwrap_or_default().needle_stitches;
    match healed.sewn {
        Some(sewn) if sewn.iter().zip(&found).any(|(sewn, found)| found < sewn) => {
            Err(format!("stitches {found:?}, and at an entry that is durable {sewn:?}"))
        }
        _ => Ok(()),
    }
}

/// What the part of `bench` holds if the supply goes now.
fn image_of<D: Device>(bench: &Bench<D>) -> Vec<u8> {
    let mut image = Vec::new();
    bench.cut_image(Tear::New, &mut image);
    image
}

/// The next power-up on the same part, which now holds `image`, but for pages that take nothing.
fn powered_on<D: Device>(bench: &Bench<D>, image: &[u8]) -> Bench<D> {
    let mut next = bench.powered_again(Tear::New);
    next.bus.part_mut().damage(0, image);
    next
}

/// A board with entries since its snapshot, in some runs as many as make a new one due; in a
/// third of the runs it stands where the ring begins again and its lap's number wraps.
fn a_board_with_a_journal<D: Device>(run: &Run, rng: &mut Pcg32) -> Bench<D> {
    let wraps = run.number.is_multiple_of(3);
    let lap = if wraps { (1 << 21) - 1 } else { rng.next_u32() % 1_000 };
    let wired = WiredPart::REFERENCE;
    let before_the_end = 4 + (rng.next_u32() % 44) as u16;
    let drawn = (rng.next_u32() % 300) as u16;
    let end = if wraps { parts::ring(wired).slots() - before_the_end } else { drawn };
    Bench::with_past_on(wired, run.seed, Lap::new(lap), |core| {
        for _ in 0..PAGES {
            if core.board().store().head().slot >= end {
                break;
            }
            core.sew(any_needle(rng), 6, 1_999_000, &mut |_| {});
        }
        for _ in 0..2 + rng.next_u32() % 11 {
            let set = ComponentSet(1 << (rng.next_u32() % 15));
            let _ = core.ask(Command::Renew { components: set, reply: None });
            core.rest(&mut |_| {});
            core.sew(any_needle(rng), u64::from(rng.next_u32() % 8), 1_999_000, &mut |_| {});
        }
        core.rest(&mut |_| {});
    })
}

/// The pages that hold snapshot members and entries: where there is a spare to lose.
fn needed_pages(image: &[u8]) -> Vec<usize> {
    let is_needed = |page: &usize| {
        let kind = Header::decode(&image[page * PAGE..]).map(|header| header.kind);
        matches!(kind, Some(RecordKind::Snapshot | RecordKind::Entry))
    };
    (0..PAGES).filter(is_needed).collect()
}

/// One of the newest pages of `needed` mostly, else any.
fn drawn_page(needed: &[usize], rng: &mut Pcg32) -> usize {
    let draw = rng.next_u32() as usize;
    match needed.len() {
        0 => draw % PAGES,
        _ if draw.is_multiple_of(8) => draw / 8 % PAGES,
        count => needed[draw / 8 % count],
    }
}
