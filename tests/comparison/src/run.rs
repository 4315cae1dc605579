//! Takes a store through the workload, uncut: what it costs, and every program cycle of it.
//!
//! A store that loses a value without any cut ends the run with an error, because its figures
//! would mean nothing.

use std::panic::{AssertUnwindSafe, catch_unwind};

use shaftbook_core::counters::Counters;
use shaftbook_core::medium::Geometry;
use shaftbook_evidence::campaign::store::{CounterStore, Pages};
use shaftbook_world::bus::{Bus, Part, RecordedCycle, Tear, Timing};

use crate::workload::Step;

/// One checkpoint as it went over the bus.
#[derive(Clone, Debug)]
pub struct Checkpoint {
    /// What was stored before: acknowledged when the checkpoint began.
    pub before: Option<Counters>,
    /// What was to be stored.
    pub counters: Counters,
    /// Its program cycles, in turn; those of a power-up right before it too.
    pub cycles: Vec<RecordedCycle>,
    /// Bytes on the bus, of every kind.
    pub bus_bytes: u64,
    /// Bytes that its cycles altered.
    pub bytes_programmed: u64,
    /// Whether the board had been switched off and on before it.
    pub reboots: bool,
}

/// One power-up.
#[derive(Clone, Copy, Debug)]
pub struct Boot {
    /// Data bytes read until the counters were known.
    pub bytes_read: u64,
    /// How long that took, ns.
    pub ns: u64,
}

/// A whole run.
#[derive(Clone, Debug)]
pub struct Run {
    /// Each checkpoint.
    pub checkpoints: Vec<Checkpoint>,
    /// Each power-up but the first, on the blank part.
    pub boots: Vec<Boot>,
    /// Program cycles of each page.
    pub page_cycles: Vec<u32>,
}

/// Runs `S` through `steps` on a blank reference part. `seed` decides cycle times.
///
/// # Errors
/// What went wrong, in words: an error or a panic of the store, or a power-up that found
/// other counters than were stored.
///
/// # Panics
/// Never: the reference part can be made.
pub fn run<S: CounterStore>(steps: &[Step], seed: u64) -> Result<Run, String> {
    let part = Part::blank(Geometry::REFERENCE).expect("the reference part is supported");
    let mut bus = Bus::new(part, Timing::FAST_MODE, seed);
    bus.record_cycles();
    let mut run = Run { checkpoints: Vec::new(), boots: Vec::new(), page_cycles: Vec::new() };
    catch_unwind(AssertUnwindSafe(|| sew::<S>(steps, &mut bus, &mut run)))
        .unwrap_or_else(|_| Err("it panicked".to_owned()))
        .map_err(|why| format!("{} at checkpoint {}: {why}", S::NAME, run.checkpoints.len()))?;
    run.page_cycles = bus.part().wear().page_cycles().to_vec();
    Ok(run)
}

fn sew<S: CounterStore>(steps: &[Step], bus: &mut Bus, run: &mut Run) -> Result<(), String> {
    let (mut store, found) = S::power_up(&mut Pages::new(bus)).map_err(|why| why.to_string())?;
    if found.is_some() {
        return Err("counters on a blank part".to_owned());
    }
    let mut before = None;
    let mut tally = bus.tally();
    for step in steps {
        if step.reboots {
            bus.power_cycle(Tear::New);
            let (bytes_read, since_ns) = (bus.tally().bytes_read, bus.now_ns());
            let found;
            (store, found) = S::power_up(&mut Pages::new(bus)).map_err(|why| why.to_string())?;
            if found != before {
                return Err("a power-up found other counters than were stored".to_owned());
            }
            run.boots.push(Boot {
                bytes_read: bus.tally().bytes_read - bytes_read,
                ns: bus.now_ns() - since_ns,
            });
        }
        store.store(&mut Pages::new(bus), &step.counters).map_err(|why| why.to_string())?;
        let now = bus.tally();
        run.checkpoints.push(Checkpoint {
            before,
            counters: step.counters,
            cycles: bus.take_recorded_cycles(),
            bus_bytes: now.bytes - tally.bytes,
            bytes_programmed: now.bytes_programmed - tally.bytes_programmed,
            reboots: step.reboots,
        });
        before = Some(step.counters);
        tally = now;
        // The rest of the ten seconds; the part has long been ready.
        bus.advance_to(bus.now_ns() + 9_000_000_000);
    }
    Ok(())
}
