//! A supply that flaps, and never stays long enough for a snapshot. The past must not be lost
//! to it, and once the supply stays all is stored again, also what a power-fail warning asks
//! for.

use shaftbook_core::codec::frame::RECORD_BYTES;
use shaftbook_core::fault::Fault;
use shaftbook_core::medium::Geometry;

use shaftbook_drivers::memory::PartKind;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::session::wired_to;
use shaftbook_world::bench::{Bench, parts};
use shaftbook_world::bus::Tear;
use shaftbook_world::judge::{is_durable, neither_lost_nor_invented};

/// Polls of a power-up, at most.
const POLLS_MAX: u32 = 3_000;
/// How long a power-up lasts at most, ms: its first record is due long before.
const POWERED_MS: u64 = 1_000;

/// Warns and cuts `bench`; `power_ups` times, one after the other, the supply comes and goes
/// when the first record is in its slot; then it stays, but for a warning that comes at once.
///
/// # Errors
/// What did not hold, and at which power-up.
pub fn flaps<D: Device>(bench: &mut Bench<D>, power_ups: u32, seed: u64) -> Result<(), String> {
    let Geometry { size_bytes, page_bytes } = bench.bus.part().geometry();
    flaps_on(bench, power_ups, seed).map_err(|what| {
        format!("flapping supply, {size_bytes} bytes in pages of {page_bytes}: {what}")
    })
}

fn flaps_on<D: Device>(bench: &mut Bench<D>, power_ups: u32, seed: u64) -> Result<(), String> {
    let wired = wired_to(&bench.bus).ok_or("no part that the driver takes")?;
    bench.warn();
    bench.rest(&mut |_| {});
    let acknowledged = bench.acknowledged;
    let (mut image, mut truth) = (Vec::new(), bench.truth());
    let cycles = RECORD_BYTES.div_ceil(parts::page_bytes(wired)) as u64;
    for flap in 0..power_ups {
        bench.cut_image(Tear::New, &mut image);
        *bench = Bench::on_image(wired, image.clone(), seed ^ u64::from(flap));
        // An FRAM has no cycles: a record is one transaction.
        let is_stored = |bench: &Bench<D>| match wired.kind() {
            PartKind::Eeprom => bench.bus.tally().cycles >= cycles,
            PartKind::Fram => bench.bus.part().cells() != image,
        };
        for _ in 0..POLLS_MAX {
            let polled = bench.poll_once(&mut |_| {});
            bench.now_us = bench.now_us.max(polled.deadline.as_us().min(POWERED_MS * 1_000));
            if is_stored(bench) && bench.bus.page_under_way().is_none() {
                break;
            }
        }
        if !is_stored(bench) {
            return Err(format!("nothing is stored in power-up {flap}: {:?}", named(bench)));
        }
        truth.power_ups += 1;
        truth.powered_ms += POWERED_MS;
        let past = bench.board().past().copied();
        let past =
            past.ok_or_else(|| format!("the past is lost at power-up {flap}: {:?}", named(bench)))?;
        neither_lost_nor_invented(&acknowledged, &past, &truth)
            .map_err(|what| format!("power-up {flap}: {what}"))?;
    }
    // The supply stays, but not for long: the warning comes at once.
    bench.found(bench.board().past().copied().as_ref());
    let truth = bench.truth();
    bench.warn();
    bench.rest(&mut |_| {});
    if bench.board().faults().is_empty() && is_durable(&truth, &bench.acknowledged) {
        return Ok(());
    }
    let lost = truth.since(&bench.acknowledged);
    let faults = named(bench);
    Err(format!("nothing is stored any more, though the supply stays: {faults:?}, {lost:?}"))
}

fn named<D: Device>(bench: &Bench<D>) -> Vec<Fault> {
    bench.board().faults().iter().collect()
}
