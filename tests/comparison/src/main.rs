//! Measures all stores on workload W, and cuts a sample of each store's checkpoints at every
//! bus byte.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser;
use comparison::figures::{self, Work};
use comparison::hosted::Hosted;
use comparison::lent::Lent;
use comparison::littlefs::LittleFs;
use comparison::ours::Ours;
use comparison::{table, workload};
use comparison_stores::ekv::Ekv;
use comparison_stores::ring::Ring;
use comparison_stores::sequential::{Sequential256, Sequential1024};
use comparison_stores::tick::Tick;

/// Each store, and the probe that weighs it.
const STORES: [(&str, Work); 7] = [
    ("ours", figures::measure::<Ours>),
    ("ring", figures::measure::<Hosted<Ring<Lent>>>),
    ("sequential", figures::measure::<Hosted<Sequential1024<Lent>>>),
    ("sequential_256", figures::measure::<Hosted<Sequential256<Lent>>>),
    ("littlefs", figures::measure::<Hosted<LittleFs>>),
    ("tick", figures::measure::<Hosted<Tick<Lent>>>),
    ("ekv", figures::measure::<Hosted<Ekv<Lent>>>),
];
/// Checkpoints that are cut beside those of the costliest collection.
const SCATTERED: usize = 51;
/// The same for `--quick`, and its checkpoints.
const QUICK: (usize, usize) = (0, 1_000);

/// Compares stores of counters on one workload: what each costs, and what is left when it
/// is cut at every bus byte. Exits with 1 when docs/COMPARISON.md shows other figures.
#[derive(Debug, Parser)]
struct Options {
    /// What everything is drawn from.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Runs this many seeds, from --seed on, one table each; compares with no document.
    #[arg(long, default_value_t = 1)]
    seeds: u64,
    /// A look in some seconds: the first 1,000 checkpoints, fewer cut; compares with no
    /// document.
    #[arg(long)]
    quick: bool,
    /// Cuts every checkpoint; compares with no document. For one store some minutes, for
    /// `ekv` hours.
    #[arg(long)]
    every: bool,
    /// Only the store of this name: ours, ring, sequential, `sequential_256`, littlefs, tick,
    /// ekv. Compares with no document.
    #[arg(long)]
    only: Option<String>,
    /// Writes the tables into the document.
    #[arg(long, conflicts_with_all = ["quick", "seeds", "every", "only"])]
    update: bool,
    /// Sizes on thumbv6m, as .ci/compare measures them.
    #[arg(long)]
    sizes: Option<PathBuf>,
}

fn main() -> ExitCode {
    match compare(&Options::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("comparison: {why}");
            ExitCode::FAILURE
        }
    }
}

fn compare(options: &Options) -> Result<(), String> {
    let sizes = match &options.sizes {
        None => Vec::new(),
        Some(path) => table::sizes(&read(path)?)?,
    };
    let (scattered, checkpoints) =
        if options.quick { QUICK } else { (SCATTERED, workload::CHECKPOINTS) };
    let scattered = if options.every { checkpoints } else { scattered };
    let stores: Vec<_> = STORES
        .into_iter()
        .filter(|(name, _)| options.only.as_ref().is_none_or(|only| only == name))
        .collect();
    let is_documented = options.seeds == 1
        && options.seed == 1
        && !options.quick
        && !options.every
        && options.only.is_none()
        && options.sizes.is_some();
    for seed in options.seed..options.seed + options.seeds {
        println!("seed {seed}, {checkpoints} checkpoints\n");
        let steps = workload::steps(seed, checkpoints);
        let works: Vec<Work> = stores.iter().map(|(_, work)| *work).collect();
        let mut rows = Vec::new();
        for ((probe, _), figures) in
            stores.iter().zip(figures::measure_all(&works, &steps, scattered, seed))
        {
            rows.push((*probe, figures?));
        }
        let made = table::text(&rows, &sizes);
        println!("{made}");
        if is_documented {
            hold_against(&made, options.update)?;
        }
    }
    Ok(())
}

fn hold_against(made: &str, update: bool) -> Result<(), String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/COMPARISON.md");
    let document = read(&path)?;
    let no_markers = || "docs/COMPARISON.md has no markers for the tables".to_owned();
    if update {
        let changed = table::with(&document, made).ok_or_else(no_markers)?;
        return std::fs::write(&path, changed).map_err(|why| why.to_string());
    }
    if table::shown(&document).ok_or_else(no_markers)? == made {
        println!("docs/COMPARISON.md shows these figures");
        return Ok(());
    }
    Err("docs/COMPARISON.md shows other figures; .ci/compare --update writes these".to_owned())
}

fn read(path: &Path) -> Result<String, String> {
    std::fs::read_to_string(path).map_err(|why| format!("{}: {why}", path.display()))
}
