//! How fast the generator makes edges, and how fast a life goes through generator, board,
//! driver and bus. Run: `cargo bench -p host-sim --bench sewing`.

use std::ops::ControlFlow;

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use shaftbook_core::input::{Input, Level};
use shaftbook_tools::sew::run::run;
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::{Sewing, SewingEvent};

const RISE: SewingEvent = SewingEvent::Input(Input::Shaft(Level::Active));
const EDGES: u64 = 4_000_000;

const LIFE: &str = r#"
name = "Twenty years"
seed = 1
[hours]
working_days = 5000
shifts = [{ start = "08:00", end = "16:00" }]
[machine]
needles = 15
stitches_per_min = 900
[[designs]]
name = "Leaf"
pieces = 10
blocks = [
  { needle = 3, stitches = 4000, jumps = 10, trims = 5 },
  { needle = 9, stitches = 2500, jumps = 5, trims = 4 },
]
"#;

const BOUNCE: &str =
    "[faults]\ncontact_bounce_us = 4000\nshaft_bounce_us = 30\nglitch_probability = 0.001\n";

fn main() {
    divan::main();
}

fn edges(bencher: Bencher<'_, '_>, extra: &str) {
    let scenario = Scenario::parse("bench", &format!("{LIFE}{extra}")).expect("a good scenario");
    bencher.counter(ItemsCount::new(EDGES)).bench_local(|| {
        let mut sewing = Sewing::new(&scenario, 1);
        let mut sum_us = 0_u64;
        let mut left = EDGES;
        sewing.drive(|timed| {
            let level = u64::from(timed.event == RISE);
            sum_us = sum_us.rotate_left(1) ^ timed.at_us ^ level;
            left -= 1;
            if left == 0 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        });
        black_box(sum_us)
    });
}

#[divan::bench(sample_count = 20, sample_size = 1)]
fn undisturbed(bencher: Bencher<'_, '_>) {
    edges(bencher, "");
}

#[divan::bench(sample_count = 20, sample_size = 1)]
fn with_bounce_and_glitches(bencher: Bencher<'_, '_>) {
    edges(bencher, BOUNCE);
}

/// Stitches a second through everything, on one core: ten working days.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn whole_board(bencher: Bencher<'_, '_>) {
    stitches(bencher, "");
}

/// The same with some nine edges of the shaft sensor for each stitch.
#[divan::bench(sample_count = 5, sample_size = 1)]
fn whole_board_with_bounce_and_glitches(bencher: Bencher<'_, '_>) {
    stitches(bencher, BOUNCE);
}

fn stitches(bencher: Bencher<'_, '_>, extra: &str) {
    let text = format!("{LIFE}{extra}");
    let text = text.replace("working_days = 5000", "working_days = 10");
    let scenario = Scenario::parse("bench", &text).expect("a good scenario");
    let sew = || run(&scenario, 1, &mut (), |_| {}).expect("a run");
    let stitches = sew().truth.counters().stitches();
    bencher.counter(ItemsCount::new(stitches)).bench_local(sew);
}
