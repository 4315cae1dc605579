//! Part of proof 1: a supply that flaps, and never stays long enough for a snapshot. The past
//! must not be lost by that. Once the supply stays, everything is stored again, and so is what
//! a power-fail warning asks for.

use rand_core::SeedableRng;
use rand_pcg::Pcg32;
use shaftbook_core::fault::Fault;
use shaftbook_core::medium::Geometry;
use shaftbook_core::serial::Lap;
use shaftbook_core::settings::Settings;
use shaftbook_drivers::memory::{PartKind, WiredPart};

use super::Run;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::{BOARD, Bench, any_needle};
use shaftbook_world::bus::{Bus, Part, Tear, Timing};
use shaftbook_world::judge::{is_durable, neither_lost_nor_invented};

/// Power-ups, one after the other, each cut when its first record is in its slot.
const FLAPS: u32 = 200;
/// Bytes of a record.
const RECORD_BYTES: u16 = 64;
/// Polls of a power-up, at most.
const POLLS_MAX: u32 = 3_000;
/// How long a power-up lasts at most, ms: its first record is due long before.
const POWERED_MS: u64 = 1_000;

/// The reference part; small pages, of which a record takes four; and the smallest ring.
const PARTS: [Geometry; 3] = [
    Geometry::REFERENCE,
    Geometry { size_bytes: 8_192, page_bytes: 16 },
    Geometry { size_bytes: 8_192, page_bytes: 128 },
];

/// A case for each part.
pub fn flapping<D: Device>(run: &mut Run) {
    let seed = run.seed;
    for geometry in PARTS {
        let Geometry { size_bytes, page_bytes } = geometry;
        run.case(|| {
            flaps::<D>(seed, geometry).map_err(|what| {
                format!("flapping supply, {size_bytes} bytes in pages of {page_bytes}: {what}")
            })
        });
    }
}

fn flaps<D: Device>(seed: u64, geometry: Geometry) -> Result<(), String> {
    let wired =
        WiredPart::new(PartKind::Eeprom, 0x50, geometry).ok_or("a part that the driver takes")?;
    let powered = |part: Part, seed| {
        let bus = Bus::new(part, Timing::FAST_MODE, seed);
        Bench::<D>::wired(bus, BOARD, wired, Settings::default())
    };
    let blank = Part::blank(geometry).map_err(|e| e.to_string())?;
    let mut bench: Bench<D> = Bench::fitted_on(blank, seed, BOARD, wired, Lap::new(0));
    let mut rng = Pcg32::seed_from_u64(seed);
    // The ring is nearly round: a new snapshot is due soon.
    let slots = geometry.size_bytes / u32::from(geometry.page_bytes.max(RECORD_BYTES));
    while u32::from(bench.board().store().head().slot) < slots * 5 / 8 {
        bench.sew(any_needle(&mut rng), 6, 1_999_000, &mut |_| {});
    }
    bench.warn();
    bench.rest(&mut |_| {});
    let acknowledged = bench.acknowledged;
    let (mut image, mut truth) = (Vec::new(), bench.truth());
    let cycles = u64::from((RECORD_BYTES / geometry.page_bytes).max(1));
    for flap in 0..FLAPS {
        bench.cut_image(Tear::New, &mut image);
        let part = Part::from_image(image.clone(), geometry).map_err(|e| e.to_string())?;
        bench = powered(part, seed ^ u64::from(flap));
        for _ in 0..POLLS_MAX {
            let polled = bench.poll_once(&mut |_| {});
            bench.now_us = bench.now_us.max(polled.deadline.as_us().min(POWERED_MS * 1_000));
            if bench.bus.tally().cycles >= cycles && bench.bus.page_under_way().is_none() {
                break;
            }
        }
        if bench.bus.tally().cycles < cycles {
            return Err(format!("nothing is stored in power-up {flap}: {:?}", named(&bench)));
        }
        truth.power_ups += 1;
        truth.powered_ms += POWERED_MS;
        let past = bench.board().past().copied();
        let past = past
            .ok_or_else(|| format!("the past is lost at power-up {flap}: {:?}", named(&bench)))?;
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
    Err(format!("nothing is stored any more, though the supply stays: {:?}", named(&bench)))
}

fn named<D: Device>(bench: &Bench<D>) -> Vec<Fault> {
    bench.board().faults().iter().collect()
}
