//! How fast a life and a cut are simulated, through the whole core, driver and bus.
//!
//! Run: `cargo bench -p host-sim --bench speed`. Both figures are of one core.

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use shaftbook_core::counters::Needle;
use shaftbook_core::rules::Sound;
use shaftbook_core::serial::Lap;
use shaftbook_tools::sew::run::run;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::{Bench, Recovered};
use shaftbook_world::bus::Tear;
use shaftbook_world::scenario::Scenario;

fn main() {
    divan::main();
}

/// Steady sewing at 900 stitches a minute on 15 needles, eight hours a day.
fn steady(days: u32) -> Scenario {
    let text = format!(
        r#"
name = "Steady work"
seed = 1
[hours]
working_days = {days}
shifts = [{{ start = "08:00", end = "16:00" }}]
[machine]
needles = 15
stitches_per_min = 900
[[designs]]
name = "Leaf"
pieces = 10
blocks = [
  {{ needle = 3, stitches = 4000, jumps = 10, trims = 5 }},
  {{ needle = 9, stitches = 2500, jumps = 5, trims = 4 }},
  {{ needle = 14, stitches = 5500, jumps = 5, trims = 4 }},
]
"#
    );
    Scenario::parse("bench", &text).expect("a good scenario")
}

/// Stitches a second: a 20-year life of 2,000 h a year is 2.16 billion of them.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn life_in_stitches(bencher: Bencher<'_, '_>) {
    let scenario = steady(100);
    let stitches = run(&scenario, 1, &mut (), |_| {}).expect("it runs").truth.counters().stitches();
    bencher.counter(ItemsCount::new(stitches)).bench_local(|| {
        let outcome = run(&scenario, 1, &mut (), |_| {}).expect("it runs");
        assert!(outcome.broken.is_empty());
        black_box(outcome.counted.stitches())
    });
}

/// Cuts a second: fork, tear the page, boot a new board on the bytes, recover, write
/// the boot record.
#[divan::bench(sample_count = 20, sample_size = 1)]
fn cuts_with_full_recovery(bencher: Bencher<'_, '_>) {
    const CUTS: u64 = 2_000;
    let mut bench: Bench<Core<Sound>> = Bench::fitted(1, Lap::new(7));
    bench.sew(Needle::new(4).expect("needle 4"), 3_000, 1_900_000, &mut |_| {});
    // Stop in the middle of a program cycle.
    bench.warn();
    while bench.bus.page_under_way().is_none() {
        bench.poll_once(&mut |_| {});
    }
    let tears: Vec<Tear> = (0..CUTS).map(|n| Tear::draw(n, 64)).collect();
    let mut image = Vec::new();
    bencher.counter(ItemsCount::new(CUTS)).bench_local(|| {
        for tear in &tears {
            bench.cut_image(*tear, &mut image);
            let recovered = Recovered::<Core<Sound>>::from_image(image.clone(), 1);
            assert!(recovered.past().is_some());
        }
    });
}
