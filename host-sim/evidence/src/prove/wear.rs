//! Proof 8: even wear and a long life, on the reference workload: 40 hours of sewing
//! at 900 stitches a minute on 16 needles, cut and powered up 199 times.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Effect;
use shaftbook_core::counters::Needle;
use shaftbook_core::serial::Lap;

use super::Run;
use shaftbook_world::bench::Bench;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bus::Tear;

const SEWING_H: u64 = 40;
const PERIOD_US: u64 = 66_667;
const POWER_UPS: u64 = 200;
/// Program cycles a page is specified for (24-series datasheets, page mode, 25 °C).
const ENDURANCE: f64 = 1_000_000.0;
/// Sewing hours in a year of the workload.
const HOURS_A_YEAR: f64 = 2_000.0;

/// What the workload cost.
#[derive(Clone, Copy, Debug)]
pub struct Cost {
    /// Checkpoints made durable.
    pub checkpoints: u64,
    /// Program cycles in all.
    pub cycles: u64,
    /// Program cycles a checkpoint.
    pub cycles_a_checkpoint: f64,
    /// Bytes programmed a checkpoint.
    pub bytes_a_checkpoint: f64,
    /// Cycles of the hottest page over the mean of all pages.
    pub hottest_over_mean: f64,
    /// Years until the hottest page reaches its endurance.
    pub years: f64,
    /// Longest bus time from power-up to the lifetime counters, ms.
    pub lifetime_known_ms: f64,
    /// Longest bus time from power-up to everything known, ms.
    pub ready_ms: f64,
    /// Most bytes read at a boot.
    pub boot_bytes: u64,
}

/// Runs the reference workload.
///
/// # Panics
/// When the board cannot be fitted.
#[must_use]
pub fn reference_workload<D: Device>(seed: u64) -> Cost {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut bench: Bench<D> = Bench::fitted(seed, Lap::new(1));
    let before = bench.bus.tally();
    let start = bench.bus.part().wear().cycles();
    let mut checkpoints = 0;
    let (mut lifetime_known_ms, mut ready_ms, mut boot_bytes) = (0.0_f64, 0.0_f64, 0);
    let stitches_a_session = SEWING_H * 3_600_000_000 / PERIOD_US / POWER_UPS;
    for session in 0..POWER_UPS {
        if session > 0 {
            bench.bus.power_cycle(Tear::Old);
            let boot = boot::<D>(&bench);
            lifetime_known_ms = lifetime_known_ms.max(boot.0);
            ready_ms = ready_ms.max(boot.1);
            boot_bytes = boot_bytes.max(boot.2);
            bench.cut_and_power_up(Tear::Old);
            checkpoints += count(&bench);
            bench.effects.clear();
        }
        let mut left = stitches_a_session;
        while left > 0 {
            let block = (300 + u64::from(rng.next_u32() % 1_500)).min(left);
            let needle = Needle::new(1 + (rng.next_u32() % 16) as u8).expect("1 to 16");
            bench.sew(needle, block, PERIOD_US, &mut |_| {});
            left -= block;
        }
        checkpoints += count(&bench);
        bench.effects.clear();
    }
    let wear = bench.bus.part().wear();
    let cycles = wear.cycles() - start;
    let bytes = bench.bus.tally().bytes_programmed - before.bytes_programmed;
    let hottest = f64::from(wear.hottest_page_cycles());
    Cost {
        checkpoints,
        cycles,
        cycles_a_checkpoint: cycles as f64 / checkpoints as f64,
        bytes_a_checkpoint: bytes as f64 / checkpoints as f64,
        hottest_over_mean: wear.hottest_over_mean(0..512),
        years: ENDURANCE / hottest * SEWING_H as f64 / HOURS_A_YEAR,
        lifetime_known_ms,
        ready_ms,
        boot_bytes,
    }
}

fn count<D: Device>(bench: &Bench<D>) -> u64 {
    let is_checkpoint =
        |e: &&Effect| matches!(e, Effect::CheckpointDurable(_) | Effect::LedgerDurable(_));
    bench.effects.iter().filter(is_checkpoint).count() as u64
}

/// Bus time to the lifetime counters and to everything, ms, and the bytes read.
fn boot<D: Device>(bench: &Bench<D>) -> (f64, f64, u64) {
    let mut next: Bench<D> = Bench::on(bench.bus.clone(), bench.board().id());
    let start = next.bus.tally();
    let (mut known_ms, mut ready_ms, mut bytes) = (f64::MAX, f64::MAX, u64::MAX);
    next.rest(&mut |bench: &Bench<D>| {
        let spent_ms = (bench.bus.tally().bus_ns - start.bus_ns) as f64 / 1e6;
        let has = |f: fn(&Effect) -> bool| bench.effects.last().is_some_and(f);
        if has(|e| matches!(e, Effect::LifetimeKnown(_))) {
            known_ms = known_ms.min(spent_ms);
        }
        if has(|e| matches!(e, Effect::Ready)) {
            ready_ms = ready_ms.min(spent_ms);
            bytes = bytes.min(bench.bus.tally().bytes_read - start.bytes_read);
        }
    });
    (known_ms, ready_ms, bytes)
}

/// Proof 8.
pub fn even_wear<D: Device>(run: &mut Run) {
    let cost = reference_workload::<D>(run.seed);
    run.figure("hottest/mean", cost.hottest_over_mean);
    run.figure("cycles a checkpoint", cost.cycles_a_checkpoint);
    run.figure("years", cost.years);
    run.figure("lifetime back, ms:", cost.lifetime_known_ms);
    run.figure("all back, ms:", cost.ready_ms);
    run.case(|| {
        if cost.hottest_over_mean > 1.05 {
            return Err(format!("hottest over mean page is {:.3}", cost.hottest_over_mean));
        }
        Ok(())
    });
    run.case(|| {
        if cost.years < 100.0 {
            return Err(format!("the part lasts {:.0} years", cost.years));
        }
        Ok(())
    });
    run.case(|| {
        if cost.cycles_a_checkpoint > 1.1 {
            return Err(format!("{:.3} page programs a checkpoint", cost.cycles_a_checkpoint));
        }
        Ok(())
    });
    run.case(|| {
        if cost.lifetime_known_ms > 26.0 || cost.ready_ms > 100.0 {
            return Err(format!(
                "{:.1} ms and {:.1} ms to boot",
                cost.lifetime_known_ms, cost.ready_ms
            ));
        }
        Ok(())
    });
}
