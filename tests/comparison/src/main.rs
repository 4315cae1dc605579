//! Measures all stores on workload W and cuts each at every bus byte.

use clap::Parser;
use comparison::figures::{self, Work};
use comparison::hosted::Hosted;
use comparison::lent::Lent;
use comparison::littlefs::LittleFs;
use comparison::ours::Ours;
use comparison::workload;
use comparison_stores::ekv::Ekv;
use comparison_stores::ring::Ring;
use comparison_stores::sequential::{Sequential256, Sequential1024};

use comparison_stores::tick::Tick;

const STORES: &[Work] = &[
    figures::measure::<Ours>,
    figures::measure::<Hosted<Ring<Lent>>>,
    figures::measure::<Hosted<Sequential1024<Lent>>>,
    figures::measure::<Hosted<Sequential256<Lent>>>,
    figures::measure::<Hosted<Ekv<Lent>>>,
    figures::measure::<Hosted<LittleFs>>,
    figures::measure::<Hosted<Tick<Lent>>>,
];

/// Compares stores of counters on one workload.
#[derive(Debug, Parser)]
struct Options {
    /// What everything is drawn from.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Only this many checkpoints of the workload.
    #[arg(long, default_value_t = workload::CHECKPOINTS)]
    checkpoints: usize,
}

fn main() {
    let options = Options::parse();
    let steps = workload::steps(options.seed, options.checkpoints);
    for figures in figures::measure_all(STORES, &steps, 8, options.seed) {
        println!("{figures:?}");
    }
}
