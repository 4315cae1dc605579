//! Proof 5: counters that wrap. Timers of 16 and 32 bits, the laps of the ring, and
//! lifetime figures as large as after a hundred years.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Effect;
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::serial::Lap;

use super::Run;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::under_test::{ExtendedTimer, UnderTest};
use shaftbook_world::bench::written::written;
use shaftbook_world::bench::{BOARD, Bench, Recovered, any_needle};
use shaftbook_world::bus::{Answers, Tear};
use shaftbook_world::judge::{ANSWER_US, Delta, is_durable, neither_lost_nor_invented};

/// Proof 5.
pub fn roll_over<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let seed = rng.next_u64();
    run.case(|| ticks::<D, 32>(seed, 40 * 60 * 1_000_000 / 2));
    run.case(|| ticks::<D, 16>(seed, 32_000));
    laps::<D>(run, &mut rng);
    run.case(|| hundred_years::<D>(seed));
    run.case(|| full_fields::<D>(seed));
    // The main loop never sleeps for hours, and its turns are too many to be lived through.
    run.case(|| away_for_hours::<D::Rules>(seed));
}

/// Stamps at drawn gaps, some of them overtaken by the main loop, over 50 wraps and
/// more of a timer of `BITS` bits.
fn ticks<D: Device, const BITS: u32>(seed: u64, longest_gap_us: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut clock = ExtendedTimer::default();
    let mut true_us = 0_u64;
    while true_us >> BITS < 50 {
        true_us += 1 + rng.next_u64() % longest_gap_us;
        let seen = D::Rules::extend(&mut clock, BITS, (true_us & ((1 << BITS) - 1)) as u32).as_us();
        if seen != true_us {
            return Err(format!("a {BITS}-bit timer: {true_us} µs came out as {seen}"));
        }
        let early_us = true_us - (rng.next_u64() % 500).min(true_us);
        let seen =
            D::Rules::extend(&mut clock, BITS, (early_us & ((1 << BITS) - 1)) as u32).as_us();
        if seen != early_us {
            return Err(format!(
                "a {BITS}-bit timer: a late stamp {early_us} µs came out as {seen}"
            ));
        }
    }
    Ok(())
}

/// More breaks, jumps and trims since a snapshot than a checkpoint has room for: after a
/// warning all of them are durable.
fn full_fields<D: Device>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut bench: Bench<D> = Bench::fitted(seed, Lap::new(1));
    for kind in 0..3 {
        match kind {
            0 => (0..28 + rng.next_u32() % 10).for_each(|_| {
                bench.thread_break(any_needle(&mut rng), &mut |_| {});
                // As fast as anybody can thread a needle, and faster.
                bench.pass_to(bench.now_us + 1_000_000, &mut |_| {});
            }),
            // Through the panel's loop it would take too long.
            1 if !D::HAS_PANEL => {
                bench.jump(true, &mut |_| {});
                (0..66_000 + rng.next_u32() % 1_000)
                    .for_each(|_| bench.revolution(None, 31_000, &mut |_| {}));
                bench.jump(false, &mut |_| {});
            }
            1 => {}
            _ if !D::HAS_PANEL => {
                (0..4_100 + rng.next_u32() % 300).for_each(|_| bench.trim(&mut |_| {}));
            }
            _ => bench.trim(&mut |_| {}),
        }
        let truth = bench.truth();
        // What has to be written before a warning has been by now.
        bench.pass_to(bench.now_us + 1_000_000, &mut |_| {});
        bench.warn();
        bench.pass_to(bench.now_us + 2 * ANSWER_US, &mut |_| {});
        bench.cut_and_power_up(Tear::Old);
        let past = bench.board().past().copied().ok_or("the past is lost")?;
        if !is_durable(&truth, &past) {
            return Err(format!("full fields: lost {:?}", Delta(&truth.since(&past))));
        }
    }
    bench.device.conduct()
}

/// Laps just below the wrap of their 21 bits: sews through it, with a cut at every
/// lap's end.
fn laps<D: Device>(run: &mut Run, rng: &mut Pcg32) {
    let mut bench: Bench<D> = Bench::fitted(run.seed, Lap::new((1 << 21) - 2));
    let rounds = if run.quick { 28 } else { 60 };
    for _ in 0..rounds {
        if run.is_over() {
            return;
        }
        let needle = any_needle(rng);
        // 50 checkpoints.
        bench.sew(needle, 260, 1_950_000, &mut |_| {});
        let truth = bench.truth();
        let acknowledged = bench.acknowledged;
        let mut image = Vec::new();
        bench.cut_image(Tear::Old, &mut image);
        run.case(|| {
            let recovered = Recovered::<D>::from_image(image, run_seed(&truth));
            let past = recovered.past().ok_or("the past is lost")?;
            neither_lost_nor_invented(&acknowledged, &past, &truth)
                .map_err(|what| format!("after the wrap {what}"))
        });
    }
    run.figure(
        "laps crossed:",
        f64::from(bench.board().store().head().lap.get().wrapping_add(3) % (1 << 21)),
    );
    let wrapped = bench.board().store().head().lap.get() < 100;
    run.case(|| if wrapped { Ok(()) } else { Err("the laps did not reach their wrap".into()) });
}

fn run_seed(truth: &Counters) -> u64 {
    truth.powered_ms
}

/// What a machine shows after 100 years of 8,760 powered and 2,000 sewing hours at
/// 1,200 stitches a minute, a trim every 40 stitches.
fn figures_of_a_century() -> Counters {
    let stitches = 100 * 2_000 * 60 * 1_200_u64;
    Counters {
        powered_ms: 100 * 8_760 * 3_600_000,
        running_ms: 100 * 2_000 * 3_600_000,
        // All on one needle: the worst for a field's width.
        needle_stitches: core::array::from_fn(|n| if n == 4 { stitches } else { 17 }),
        unattributed_stitches: stitches / 7,
        jumps: stitches / 3,
        trims: stitches / 40,
        needle_breaks: [120_000; 16],
        unattributed_breaks: 5,
        power_ups: 100 * 366 * 4,
        glitches: 1_000_000,
        missed_edges: 1_000,
    }
}

/// A part that holds the figures of a century: boots, counts on, is cut, boots.
fn hundred_years<D: Device>(seed: u64) -> Result<(), String> {
    let old = figures_of_a_century();
    let ledger = Bench::<D>::fitted(seed, Lap::new(1)).board().ledger().clone();
    let image = written::<D::Rules>(BOARD, &old, &ledger);
    let mut bench = Recovered::<D>::from_image(image, seed).bench;
    let past = bench.board().past().copied().ok_or("the past is lost")?;
    if past != old {
        return Err(format!("a century came back as {past:?}"));
    }
    let needle = Needle::new(5).ok_or("needle 5")?;
    bench.sew(needle, 100, 100_000, &mut |_| {});
    bench.warn();
    bench.work(&mut |_| {});
    bench.cut_and_power_up(Tear::New);
    let past = bench.board().past().ok_or("the past is lost")?;
    if past.stitches() != old.stitches() + 100 || past.powered_ms <= old.powered_ms {
        return Err(format!("a century and 100 stitches came back as {past:?}"));
    }
    Ok(())
}

/// The part does not answer for so long that the delta since its snapshot is too large
/// for a checkpoint's field (9.3 h of powered time). It comes back just as the power fails:
/// the one checkpoint for which there is time must not be below what was acknowledged.
fn away_for_hours<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut bench: Bench<Core<R>> = Bench::fitted(seed, Lap::new(1));
    bench.sew(any_needle(&mut rng), 300, 1_990_000, &mut |_| {});
    bench.bus.set_answers(Answers::Nobody);
    bench.pass_to(bench.now_us + 10_000_000, &mut |_| {});
    // 2^25 ms since the snapshot and a little more.
    bench.now_us = ((1 << 25) + u64::from(rng.next_u32() % 100_000)) * 1_000;
    bench.pass_to(bench.now_us + 2_000_000, &mut |_| {});
    bench.bus.set_answers(Answers::Part);
    bench.warn();
    for _ in 0..20_000 {
        if bench
            .poll_once(&mut |_| {})
            .effect
            .is_some_and(|e| matches!(e, Effect::CheckpointDurable(_)))
        {
            break;
        }
        bench.now_us += 100;
    }
    let (truth, acknowledged) = (bench.truth(), bench.acknowledged);
    let mut image = Vec::new();
    bench.cut_image(Tear::Old, &mut image);
    let past = Recovered::<Core<R>>::from_image(image, seed).past().ok_or("the past is lost")?;
    neither_lost_nor_invented(&acknowledged, &past, &truth)
        .map_err(|what| format!("away for hours: {what}"))
}
