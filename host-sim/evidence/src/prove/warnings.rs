//! Part of proof 2: warnings to which no cut belongs. A supply that dips again and again, and a
//! warning's line that bounces: each is answered as promised.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::input::{Input, Level};
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{Bench, Meant, any_needle};
use shaftbook_world::judge::answer_us;

use super::Run;
use super::schedule::drawn::wait_for_answer;

/// Dips that are answered at once, whatever else: fewer than a board allows without a pause.
const DIPS_AT_ONCE: u32 = 6;
/// Calm after which dips are answered at once again, with the pause before it, ms.
const CALM_MS: u64 = 12_000;

/// Its cases, each from `start` on.
pub fn warnings<D: Device>(run: &mut Run, start: &Bench<D>, rng: &mut Pcg32) {
    let seed = rng.next_u64();
    run.case(|| dips(&mut start.clone(), seed).map_err(|what| format!("dips: {what}")));
    run.case(|| bounces(&mut start.clone(), seed).map_err(|what| format!("it bounces: {what}")));
}

/// The supply dips more often than a board answers without a pause; then it is calm, and
/// then it dips three times within a second.
fn dips<D: Device>(bench: &mut Bench<D>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let dips = 9 + rng.next_u32() % 8;
    for dip in 0..dips {
        let answer = a_dip(bench, &mut rng);
        if dip < DIPS_AT_ONCE {
            answer.map_err(|what| format!("dip {dip}: {what}"))?;
        }
    }
    bench.sew(any_needle(&mut rng), CALM_MS / 100, 100_000, &mut |_| {});
    for dip in 0..3 {
        a_dip(bench, &mut rng).map_err(|what| format!("dip {dip} after the calm: {what}"))?;
    }
    bench.device.conduct()
}

/// Some stitches, a warning, its answer, and the supply is back.
fn a_dip<D: Device>(bench: &mut Bench<D>, rng: &mut Pcg32) -> Result<(), String> {
    bench.sew(any_needle(rng), 1 + u64::from(rng.next_u32() % 3), 90_000, &mut |_| {});
    let warned_us = bench.now_us;
    bench.warn();
    let answer = in_time(bench, warned_us);
    bench.pass_to(bench.now_us + u64::from(rng.next_u32() % 50_000), &mut |_| {});
    bench.feed(bench.now(), Input::PowerFail(Level::Inactive), Meant::Nothing);
    bench.pass_to(bench.now_us + 10_000, &mut |_| {});
    answer
}

/// All that had happened at `warned_us` is durable in time.
fn in_time<D: Device>(bench: &mut Bench<D>, warned_us: u64) -> Result<(), String> {
    let truth = bench.truth_at(warned_us);
    let page_bytes = bench.bus.part().geometry().page_bytes;
    match wait_for_answer(bench, &truth).0.map(|us| us - warned_us) {
        Some(took_us) if took_us <= answer_us(page_bytes) => Ok(()),
        Some(took_us) => Err(format!("{took_us} µs from the warning to durable")),
        None => Err("not all is durable 100 ms after the warning".into()),
    }
}

/// The warning's line goes active again without having been seen to be inactive: an edge
/// between was lost.
fn bounces<D: Device>(bench: &mut Bench<D>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    bench.sew(any_needle(&mut rng), 5, 150_000, &mut |_| {});
    let warned_us = bench.now_us;
    bench.warn();
    for _ in 0..rng.next_u32() % 4 {
        bench.poll_once(&mut |_| {});
    }
    bench.warn();
    in_time(bench, warned_us)
}
