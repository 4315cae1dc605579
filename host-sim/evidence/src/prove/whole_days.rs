//! Proof 11: whole days of sewing, as `shaftbook sew` makes them of a scenario: with contacts and
//! sensors that bounce, spikes, pulses that are missed, sensors that fail, and the supply cut at
//! the end of each shift. No figure is above the truth. Running time is held to it in the signals'
//! own unit, µs, with no tolerance.
//!
//! The run's number says which of the scenarios of `host-sim/scenarios/` it is; the seed is drawn.
//! The whole firmware lives the ten minutes only, unless the search is the full one.

use std::sync::LazyLock;

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_tools::sew::run::run_fitted;
use shaftbook_world::bench::device::Device;
use shaftbook_world::fitting::plain_fitting;
use shaftbook_world::scenario::Scenario;

use super::Run;

/// The scenarios: name of the file, its text.
const FILES: [(&str, &str); 6] = [
    ("ten-minute-head", include_str!("../../../scenarios/ten-minute-head.toml")),
    ("six-needle-shop", include_str!("../../../scenarios/six-needle-shop.toml")),
    ("hobby-machine", include_str!("../../../scenarios/hobby-machine.toml")),
    ("failing-sensor", include_str!("../../../scenarios/failing-sensor.toml")),
    ("fifteen-needle-contract", include_str!("../../../scenarios/fifteen-needle-contract.toml")),
    ("ten-needle-two-shifts", include_str!("../../../scenarios/ten-needle-two-shifts.toml")),
];

/// The same, read, each of one day.
static DAYS: LazyLock<Vec<Scenario>> = LazyLock::new(|| {
    FILES
        .into_iter()
        .map(|(name, text)| {
            let mut scenario = Scenario::parse(name, text).expect("a scenario that is tested");
            scenario.hours.working_days = 1;
            scenario
        })
        .collect()
});

/// Proof 11.
pub fn whole_days<D: Device>(run: &mut Run) {
    let is_short = D::HAS_PANEL && run.quick;
    let place = if is_short { 0 } else { run.number as usize % FILES.len() };
    let seed = Pcg32::seed_from_u64(run.seed).next_u64() >> 1;
    run.case(|| day::<D>(place, seed));
}

fn day<D: Device>(place: usize, seed: u64) -> Result<(), String> {
    let (name, _) = FILES[place];
    let scenario = &DAYS[place];
    let outcome =
        run_fitted::<D>(scenario, seed, plain_fitting(scenario.settings()), &mut (), |_| {})
            .map_err(|error| error.to_string())?;
    match outcome.broken.first() {
        None => Ok(()),
        Some(what) => Err(format!("{what} (shaftbook sew {name}.toml --seed {seed} --days 1)")),
    }
}
