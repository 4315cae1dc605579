//! Part of proof 2: warnings to which no cut belongs. A supply that dips again and again, a
//! warning's line that bounces, and a record that took long to get onto the part: what is promised
//! of a cut holds behind each of them.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::input::{Input, Level};
use shaftbook_drivers::memory::PartKind;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{Bench, Meant, any_needle};
use shaftbook_world::bus::Tear;
use shaftbook_world::judge::{Bounds, answer_us};

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
    // The whole firmware's panel has its own work at a standstill, and an FRAM keeps what it
    // receives at once.
    if !D::HAS_PANEL && start.bus.part().kind() == PartKind::Eeprom {
        run.case(|| {
            late_record(&mut start.clone(), seed).map_err(|what| format!("a late record: {what}"))
        });
    }
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

/// At a standstill the part is write-protected while a record is on its way, so that the
/// record is some time old when it is stored. The cut comes just before the next is: no more is
/// lost than is promised.
fn late_record<D: Device>(bench: &mut Bench<D>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    bench.rest(&mut |_| {});
    let begun = stand_until(bench, |bench| bench.bus.page_under_way().is_some());
    *bench = begun.ok_or("nothing is written in two minutes")?;
    bench.bus.part_mut().set_write_protected(true);
    bench.pass_to(bench.now_us + u64::from(rng.next_u32()) % 1_000_000, &mut |_| {});
    bench.bus.part_mut().set_write_protected(false);
    for _ in 0..2 {
        let acknowledged = bench.acknowledged;
        let before = stand_until(bench, |bench| bench.acknowledged != acknowledged);
        let mut before = before.ok_or("nothing is stored in two minutes")?;
        let truth = before.truth();
        before.cut_and_power_up(Tear::Old);
        let past = before.board().past().copied().ok_or("the past is lost")?;
        let lost = truth.since(&past);
        if !Bounds::PROMISED.hold(&lost) {
            return Err(format!("{} ms of standstill are lost", lost.powered_ms));
        }
    }
    Ok(())
}

/// Time passes, at most two minutes, until `is_over`: the world one poll before that.
fn stand_until<D: Device>(
    bench: &mut Bench<D>,
    is_over: impl Fn(&Bench<D>) -> bool,
) -> Option<Bench<D>> {
    let until_us = bench.now_us + 120_000_000;
    while bench.now_us < until_us {
        let before = bench.clone();
        let polled = bench.poll_once(&mut |_| {});
        if is_over(bench) {
            return Some(before);
        }
        if polled.effect.is_none() {
            bench.now_us = bench.now_us.max(polled.deadline.as_us().min(until_us));
        }
    }
    None
}
