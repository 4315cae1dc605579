//! The images that the judge tries are those that a cut at each bus byte really leaves.

use std::collections::HashSet;

use comparison::hosted::Hosted;
use comparison::judge::each_image;
use comparison::lent::Lent;
use comparison::ours::Ours;
use comparison::{run, workload};
use comparison_stores::ring::Ring;
use comparison_stores::sequential::Sequential1024;
use shaftbook_core::medium::Geometry;
use shaftbook_evidence::campaign::store::{CounterStore, Pages};
use shaftbook_world::bus::{Bus, Part, Tear, Timing};

const SEED: u64 = 5;

/// Runs `S` through the first steps and cuts the last one at every bus byte, for real.
fn compare<S: CounterStore>(count: usize) {
    let steps: Vec<_> = workload::steps(SEED, workload::CHECKPOINTS)
        .into_iter()
        .filter(|step| !step.reboots)
        .take(count)
        .collect();
    let run = run::run::<S>(&steps, SEED).expect("it runs");
    let last = run.checkpoints.last().expect("there are some");
    let mut image = vec![0xFF; 32_768];
    for cycle in run.checkpoints[..count - 1].iter().flat_map(|checkpoint| &checkpoint.cycles) {
        image[cycle.page * 64..][..64].copy_from_slice(&cycle.after);
    }
    let mut judged = HashSet::new();
    each_image(last, image, SEED, |_, _, torn| {
        judged.insert(torn.to_vec());
    });

    let part = Part::blank(Geometry::REFERENCE).expect("supported");
    let mut seen = HashSet::new();
    let mut cuts = 0;
    for bytes in 0..last.bus_bytes {
        let mut bus = Bus::new(part.clone(), Timing::FAST_MODE, SEED);
        let (mut store, _) = S::power_up(&mut Pages::new(&mut bus)).expect("a blank part");
        for step in &steps[..count - 1] {
            store.store(&mut Pages::new(&mut bus), &step.counters).expect("no cut yet");
            bus.advance_to(bus.now_ns() + 9_000_000_000);
        }
        bus.cut_after_bytes(bytes);
        let stored = store.store(&mut Pages::new(&mut bus), &steps[count - 1].counters);
        assert!(stored.is_err() && bus.is_cut(), "{}: cut after {bytes} bytes", S::NAME);
        for tear in Tear::every(64, 0, 0) {
            let left = bus.cut_image(tear);
            assert!(judged.contains(&left), "{}: after {bytes} bytes, {tear}", S::NAME);
            seen.insert(left);
        }
        cuts += 1;
    }
    assert!(cuts > 100 && seen.len() > 2, "{}: {cuts} cuts, {} images", S::NAME, seen.len());
}

#[test]
fn cuts_leave_what_is_judged() {
    compare::<Hosted<Ring<Lent>>>(9);
    // The eighth value of a block of seven: a block is erased and another begun.
    compare::<Hosted<Sequential1024<Lent>>>(8);
    compare::<Ours>(9);
}
