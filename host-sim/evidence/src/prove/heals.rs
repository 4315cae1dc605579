//! Proof 13: a board makes good what it finds missing, before it is cut again.
//!
//! One page is damaged, the board boots, has power for `HEALED_US` and is cut; another page is
//! damaged, and the board boots again. The second damage may cost what the proof
//! `one-bad-page` allows of a board that was whole, and no more: whatever the first one left
//! without its spare has one again.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::codec::frame::{Header, RecordKind};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::serial::Lap;
use shaftbook_drivers::memory::WiredPart;

use super::Run;
use super::bad_page::{DAMAGES, check, damage};
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{Bench, CommandFigures, Recovered, any_needle, parts};
use shaftbook_world::bus::Tear;

/// A board that had power for so long has made good what one bad page took, µs: a recovery
/// that reads every slot of the reference part (0.8 s), and a snapshot of the largest size.
const HEALED_US: u64 = 2_000_000;
/// First damages of a run, and second ones after each.
const DAMAGES_OF_A_RUN: (usize, usize) = (14, 10);
/// Bytes of a page of the reference part, and its pages.
const PAGE: usize = 64;
const PAGES: usize = 512;

/// Proof 13.
pub fn heals<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let bench = a_board_with_a_journal::<D>(run, &mut rng);
    let mut sound = Vec::new();
    bench.cut_image(Tear::New, &mut sound);
    let truth = bench.truth();
    let needed = needed_pages(&sound);
    for _ in 0..DAMAGES_OF_A_RUN.0 {
        if run.is_over() {
            return;
        }
        let (page, kind) = (drawn_page(&needed, &mut rng), rng.next_u32() as usize % DAMAGES);
        let mut image = sound.clone();
        damage(&mut image, PAGE, page, kind, &mut rng);
        let mut first: Bench<D> = Bench::on_image(WiredPart::REFERENCE, image, rng.next_u64());
        let mut whole_us = 0;
        first.pass_to(HEALED_US, &mut |bench: &Bench<D>| {
            if !bench.board().is_ready() || bench.board().store().is_busy() {
                whole_us = bench.now_us;
            }
        });
        run.figure("whole again, ms:", whole_us as f64 / 1_000.0);
        let mut healed = Vec::new();
        first.cut_image(Tear::Old, &mut healed);
        let past = first.acknowledged;
        let most = truth.plus(&first.truth());
        let figures = CommandFigures::of(first.board().ledger());
        let needed = needed_pages(&healed);
        for _ in 0..DAMAGES_OF_A_RUN.1 {
            let second = (drawn_page(&needed, &mut rng), rng.next_u32() as usize % DAMAGES);
            let seed = rng.next_u64();
            run.case(|| {
                let mut image = healed.clone();
                let mut rng = Pcg32::seed_from_u64(seed);
                damage(&mut image, PAGE, second.0, second.1, &mut rng);
                let after = Recovered::<D>::from_image_of(WiredPart::REFERENCE, image, seed);
                let named = || {
                    let (page_2, kind_2) = second;
                    format!("page {page}, damage {kind}; then page {page_2}, damage {kind_2}")
                };
                check(&after, &past, &most, &figures)
                    .map_err(|what| format!("{}: {what}", named()))?;
                Ok(())
            });
        }
    }
}

/// A board with entries since its snapshot; in a third of the runs it stands where the ring
/// begins again and its lap's number wraps.
fn a_board_with_a_journal<D: Device>(run: &Run, rng: &mut Pcg32) -> Bench<D> {
    let wraps = run.number.is_multiple_of(3);
    let lap = if wraps { (1 << 21) - 1 } else { rng.next_u32() % 1_000 };
    let wired = WiredPart::REFERENCE;
    let end = if wraps { parts::ring(wired).slots() - 12 } else { (rng.next_u32() % 300) as u16 };
    Bench::with_past_on(wired, run.seed, Lap::new(lap), |core| {
        for _ in 0..PAGES {
            if core.board().store().head().slot >= end {
                break;
            }
            core.sew(any_needle(rng), 6, 1_999_000, &mut |_| {});
        }
        for _ in 0..2 + rng.next_u32() % 8 {
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
