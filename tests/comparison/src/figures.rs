//! The figures of one store, from its run and the judge's verdict.

use rayon::iter::{IntoParallelIterator, ParallelIterator};
use shaftbook_evidence::campaign::store::CounterStore;

use crate::judge::{self, Verdict};
use crate::run::{self, Run};
use crate::workload::{HOURS, Step};

/// Cycles that a page is good for, by datasheets of 24-series parts.
const ENDURANCE_CYCLES: f64 = 1_000_000.0;
/// Hours of sewing in a year of hard use (assumption).
const HOURS_A_YEAR: f64 = 2_000.0;

/// Mean and worst of something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Mean.
    pub mean: f64,
    /// Worst.
    pub worst: f64,
}

impl Spread {
    fn of(values: impl Iterator<Item = f64> + Clone) -> Self {
        let count = values.clone().count().max(1) as f64;
        Self { mean: values.clone().sum::<f64>() / count, worst: values.fold(0.0, f64::max) }
    }
}

/// Everything that is measured of one store.
#[derive(Clone, Debug)]
pub struct Figures {
    /// The store.
    pub name: &'static str,
    /// Page programs a checkpoint.
    pub programs: Spread,
    /// Bytes programmed a checkpoint.
    pub bytes: f64,
    /// Hottest page over the mean of all pages of the part.
    pub hottest_over_mean: f64,
    /// Bytes read at power-up.
    pub boot_bytes: Spread,
    /// Time from power-up to the counters, ms.
    pub boot_ms: Spread,
    /// Years until the hottest page has reached 1,000,000 cycles.
    pub life_years: f64,
    /// Cut survival.
    pub verdict: Verdict,
}

/// Measures `S` on `steps`, cutting `scattered` checkpoints beside those of the collection.
///
/// # Errors
/// As [`run::run`].
pub fn measure<S: CounterStore>(
    steps: &[Step],
    scattered: usize,
    seed: u64,
) -> Result<Figures, String> {
    let run = run::run::<S>(steps, seed)?;
    let places = judge::sample(&run, scattered, seed);
    let verdict = judge::judge::<S>(&run, &places, seed);
    Ok(of(S::NAME, &run, steps.len(), verdict))
}

fn of(name: &'static str, run: &Run, steps: usize, verdict: Verdict) -> Figures {
    let hottest = f64::from(run.page_cycles.iter().copied().max().unwrap_or(0));
    let all: u64 = run.page_cycles.iter().map(|cycles| u64::from(*cycles)).sum();
    let hours = f64::from(HOURS) * steps as f64 / crate::workload::CHECKPOINTS as f64;
    let checkpoints = run.checkpoints.iter();
    Figures {
        name,
        programs: Spread::of(checkpoints.clone().map(|c| c.cycles.len() as f64)),
        bytes: Spread::of(checkpoints.map(|c| c.bytes_programmed as f64)).mean,
        hottest_over_mean: hottest * run.page_cycles.len() as f64 / all as f64,
        boot_bytes: Spread::of(run.boots.iter().map(|boot| boot.bytes_read as f64)),
        boot_ms: Spread::of(run.boots.iter().map(|boot| boot.ns as f64 / 1e6)),
        life_years: ENDURANCE_CYCLES / (hottest / hours) / HOURS_A_YEAR,
        verdict,
    }
}

/// A measurement still to be made.
pub type Work = fn(&[Step], usize, u64) -> Result<Figures, String>;

/// Measures all of `works` side by side, in their order.
#[must_use]
pub fn measure_all(
    works: &[Work],
    steps: &[Step],
    scattered: usize,
    seed: u64,
) -> Vec<Result<Figures, String>> {
    works.to_vec().into_par_iter().map(|work| work(steps, scattered, seed)).collect()
}
