//! Part of proof 2: warnings to which no cut belongs. A supply that dips again and again, one that
//! dips when the part was away, a warning at every moment of a checkpoint, on pages of every length,
//! and a warning's line that bounces: each is answered as promised.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::counters::Needle;
use shaftbook_core::fault::Fault;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::ledger::HISTORY_MAX;
use shaftbook_core::medium::Geometry;
use shaftbook_core::serial::Lap;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::PartKind;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::{Bench, Meant, OPERATORS, any_needle, fitting, parts};
use shaftbook_world::bus::{Answers, Tear};
use shaftbook_world::judge::answer_us;

use super::Run;
use super::edges::fitted;
use super::schedule::drawn::wait_for_answer;

/// One run in so many lives a lap of the smallest ring.
const MID_SNAPSHOT_EVERY: u64 = 8;
/// Dips that are answered at once, whatever else: fewer than a board allows without a pause.
const DIPS_AT_ONCE: u32 = 6;
/// Pause after which one more dip is answered, and some, µs.
const PAUSE_US: u64 = 1_050_000;
/// Calm after which dips are answered at once again, with the pause before it, ms.
const CALM_MS: u64 = 12_000;

/// Its cases, each from `start` on.
pub fn warnings<D: Device>(run: &mut Run, start: &Bench<D>, rng: &mut Pcg32) {
    let seed = rng.next_u64();
    run.case(|| dips(&mut start.clone(), seed).map_err(|what| format!("dips: {what}")));
    // One kind of device is enough for the core's rule; the other is fitted with one pulse.
    if !D::HAS_PANEL {
        run.case(|| pulse_before::<D::Rules>(seed));
        at_every_moment::<D::Rules>(run, seed);
        if run.number.is_multiple_of(MID_SNAPSHOT_EVERY) {
            run.case(|| {
                mid_snapshot::<D::Rules>(seed).map_err(|what| format!("mid-snapshot: {what}"))
            });
        }
    }
    run.case(|| away(&mut start.clone(), seed).map_err(|what| format!("it was away: {what}")));
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
    // No calm, but the pause between two answers.
    bench.pass_to(bench.now_us + PAUSE_US + u64::from(rng.next_u32() % 1_000_000), &mut |_| {});
    a_dip(bench, &mut rng).map_err(|what| format!("a dip after a pause: {what}"))?;
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
    answer_time(bench, warned_us).map(|_| ())
}

/// The same; how long it took, µs.
fn answer_time<D: Device>(bench: &mut Bench<D>, warned_us: u64) -> Result<u64, String> {
    let truth = bench.truth_at(warned_us);
    let page_bytes = bench.bus.part().geometry().page_bytes;
    match wait_for_answer(bench, &truth).0.map(|us| us - warned_us) {
        Some(took_us) if took_us <= answer_us(page_bytes) => Ok(took_us),
        Some(took_us) => {
            Err(format!("{took_us} µs from the warning to durable, pages of {page_bytes} bytes"))
        }
        None => Err("not all is durable 100 ms after the warning".into()),
    }
}

/// The shaft gives several pulses a revolution and stops in the middle of one, a drawn time before
/// the warning: the running time of its last pulse is durable in time, too.
fn pulse_before<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let settings = Settings { pulses_per_revolution: 8, ..fitting().settings };
    let mut bench = fitted::<R>(seed, settings)?;
    bench.pass_to(bench.now_us + 100_000, &mut |_| {});
    let debounce_us = u64::from(settings.shaft_debounce_us);
    for _ in 0..2 + rng.next_u32() % 12 {
        let begun_us = bench.now_us;
        bench.feed(bench.now(), Input::Shaft(Level::Active), Meant::Nothing);
        bench.pass_to(begun_us + 4_000, &mut |_| {});
        bench.feed(bench.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
        bench.pass_to(begun_us + 8_000, &mut |_| {});
    }
    // The last one, from just before the warning to well before it.
    bench.feed(bench.now(), Input::Shaft(Level::Active), Meant::Nothing);
    let pulse_us = bench.now_us;
    if rng.next_u32().is_multiple_of(2) {
        bench.now_us += u64::from(rng.next_u32()) % (2 * debounce_us);
        bench.warn();
    } else {
        // It bounces: at the warning the sensor is back for a moment.
        bench.now_us += 1 + u64::from(rng.next_u32()) % (debounce_us - 1);
        bench.feed(bench.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
        let back_us = bench.now_us;
        bench.pass_to(back_us + u64::from(rng.next_u32()) % (debounce_us - 1), &mut |_| {});
        bench.warn();
        bench.pass_to(back_us + debounce_us - 1, &mut |_| {});
        bench.feed(bench.now(), Input::Shaft(Level::Active), Meant::Nothing);
    }
    bench.pass_to(pulse_us + answer_us(Geometry::REFERENCE.page_bytes), &mut |_| {});
    let counted_ms = bench.board().session_running_us() / 1_000;
    let past_ms = bench.board().past().map_or(0, |past| past.running_ms);
    let durable_ms = bench.acknowledged.running_ms - past_ms;
    if durable_ms == counted_ms {
        return Ok(());
    }
    Err(format!("a pulse before a warning: {durable_ms} of {counted_ms} ms of running are durable"))
}

/// A warning at every moment of a checkpoint or a renewal under way, as the program cycles are as
/// long as they may be: the slowest answer of the run's page length.
fn at_every_moment<R: UnderTest>(run: &mut Run, seed: u64) {
    let page_bytes = parts::PAGES_BYTES[run.number as usize % parts::PAGES_BYTES.len()];
    let mut slowest_us = 0;
    run.case(|| {
        let wired = parts::part(PartKind::Eeprom, 16_384, page_bytes).ok_or("no such part")?;
        let mut bench: Bench<Core<R>> = Bench::with_past_on(wired, seed, Lap::new(1), |_| {});
        bench.bus.slowest_cycles();
        bench.sew(any_needle(&mut Pcg32::seed_from_u64(seed)), 4, 100_000, &mut |_| {});
        if seed.is_multiple_of(2) {
            let renew = Command::Renew { components: ComponentSet(OPERATORS), reply: None };
            bench.request(renew).map_err(|refused| format!("{refused:?}"))?;
        } else {
            // As many breaks as make a checkpoint due.
            for _ in 0..2 {
                bench.thread_break(any_needle(&mut Pcg32::seed_from_u64(seed)), &mut |_| {});
            }
            bench.feed(bench.now(), Input::ThreadBreak(Level::Active), Meant::Nothing);
        }
        let end_us = bench.now_us + 150_000;
        while bench.now_us < end_us {
            let begun_us = bench.now_us;
            let polled = bench.poll_once(&mut |_| {});
            let mut fork = bench.clone();
            // Just after this poll had begun.
            fork.feed(Instant::from_us(begun_us), Input::PowerFail(Level::Active), Meant::Nothing);
            slowest_us = slowest_us.max(answer_time(&mut fork, begun_us)?);
            if polled.effect.is_none() {
                bench.now_us = bench.now_us.max(polled.deadline.as_us().min(end_us));
            }
        }
        Ok(())
    });
    let name = match page_bytes {
        16 => "slowest on pages of 16, ms:",
        32 => "slowest on pages of 32, ms:",
        64 => "slowest on pages of 64, ms:",
        128 => "slowest on pages of 128, ms:",
        _ => "slowest on pages of 256, ms:",
    };
    run.figure(name, slowest_us as f64 / 1_000.0);
}

/// On the smallest ring a warning comes in the middle of a snapshot, at each of its polls, and then
/// a cut. The answer stands in the way of what is written of the snapshot; the next power-up must
/// still have room for a whole one.
fn mid_snapshot<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let wired = parts::part(PartKind::Eeprom, 8_192, 128).ok_or("no such part")?;
    // A full journal: snapshots as long as a life makes them.
    let mut bench: Bench<Core<R>> = Bench::with_past_on(wired, seed, Lap::new(1), |core| {
        for _ in 0..HISTORY_MAX {
            let _ = core.ask(Command::Renew { components: ComponentSet(OPERATORS), reply: None });
            core.rest(&mut |_| {});
        }
    });
    let needle = any_needle(&mut rng);
    bench.select(needle, &mut |_| {});
    let mut tried = 0;
    // A lap and more: every sixth stitch, 12 s, a checkpoint is due.
    for edge in 0..900_u64 {
        let (level, meant) = match edge % 2 {
            0 => (Level::Active, Meant::Stitch(needle)),
            _ => (Level::Inactive, Meant::Nothing),
        };
        let end_us = bench.now_us + 999_000;
        bench.feed(bench.now(), Input::Shaft(level), meant);
        while bench.now_us < end_us {
            bench.turn(end_us, &mut |_| {});
            if bench.board().store().activity().snapshot && rng.next_u32().is_multiple_of(8) {
                tried += 1;
                after_cut_in_snapshot(&mut bench.clone(), needle)?;
            }
        }
    }
    if tried == 0 { Err("no snapshot was met".into()) } else { bench.device.conduct() }
}

/// A warning, its answer, a cut; then as much sewing as takes another snapshot.
fn after_cut_in_snapshot<D: Device>(bench: &mut Bench<D>, needle: Needle) -> Result<(), String> {
    let warned_us = bench.now_us;
    bench.warn();
    in_time(bench, warned_us)?;
    let is_at_rest = bench.cut_and_power_up(Tear::New);
    bench.sew(needle, 240, 1_999_000, &mut |_| {});
    let faults = bench.board().faults();
    if is_at_rest && faults.is_empty() {
        return Ok(());
    }
    Err(format!("a sound part goes on with {faults:?}"))
}

/// The part does not answer for so long that the board asks it now and then only; it is back, and
/// before the board knows that the supply fails: the warning does not wait for the next time.
fn away<D: Device>(bench: &mut Bench<D>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed ^ 1);
    bench.bus.set_answers(Answers::Nobody);
    bench.sew(any_needle(&mut rng), 7, 1_900_000, &mut |_| {});
    if !bench.board().faults().contains(Fault::MemoryNoAnswer) {
        return Err("a part that does not answer is not named".into());
    }
    bench.pass_to(bench.now_us + u64::from(rng.next_u32() % 1_000_000), &mut |_| {});
    bench.bus.set_answers(Answers::Part);
    let warned_us = bench.now_us;
    bench.warn();
    in_time(bench, warned_us)?;
    bench.pass_to(bench.now_us + 10_000, &mut |_| {});
    if bench.board().faults().contains(Fault::MemoryNoAnswer) {
        return Err("a part that answers again is still named".into());
    }
    bench.device.conduct()
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
