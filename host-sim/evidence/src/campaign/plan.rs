//! A campaign file: which scenarios, how many runs, which faults. Schema: `docs/CAMPAIGN.md`.
//!
//! Invariant: a [`CampaignPlan`] is complete. It contains what it needs of its scenarios, so that the
//! results of a campaign can be merged, replayed and shrunk without its files.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};
use shaftbook_core::medium::Geometry;

use super::kind::FaultKind;
use super::least_most::LeastMost;
use super::life_plan::LifePlan;
use super::shop::{PlanBlock, Shop};
use super::state::MetState;
use shaftbook_world::checked_file;
use shaftbook_world::input_error::InputError;
use shaftbook_world::scenario::{PartKindName, Scenario};

/// Most runs of a campaign.
const RUNS_MAX: u64 = 100_000_000;
/// Most steps of a run.
const STEPS_MAX: u32 = 400;

/// A campaign file as it is written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    name: String,
    #[serde(default)]
    description: String,
    #[serde(default = "one")]
    seed: u64,
    runs: u64,
    #[serde(default)]
    steps: LeastMost,
    #[serde(default = "default_starts")]
    starts: u32,
    #[serde(default = "three")]
    most_of_a_kind: u32,
    #[serde(default = "one_in_five")]
    other_parts: f64,
    scenarios: Vec<ScenarioEntry>,
    faults: BTreeMap<FaultKind, f64>,
    #[serde(default)]
    coverage: Coverage,
    #[serde(default)]
    lives: Option<LifePlan>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ScenarioEntry {
    file: String,
    #[serde(default = "one_weight")]
    weight: u32,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Coverage {
    #[serde(default)]
    required: Vec<String>,
}

const fn one() -> u64 {
    1
}

const fn one_weight() -> u32 {
    1
}

const fn three() -> u32 {
    3
}

const fn one_in_five() -> f64 {
    0.2
}

const fn default_starts() -> u32 {
    24
}

/// A campaign, complete.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CampaignPlan {
    /// Its name.
    pub name: String,
    /// What it is for.
    pub description: String,
    /// Seed of everything random.
    pub seed: u64,
    /// Runs.
    pub runs: u64,
    /// Steps of a run.
    pub steps: LeastMost,
    /// Boards of different age that runs start from, at most.
    pub starts: u32,
    /// Most faults of a kind in a run.
    pub most_of_a_kind: u32,
    /// The chance of a run to have a part of another shape than the reference part, 0 to 1.
    #[serde(default)]
    pub other_parts: f64,
    /// The chance of each kind to be in a run's mix, 0 to 1.
    pub faults: BTreeMap<FaultKind, f64>,
    /// States without which the campaign does not hold.
    pub required: Vec<String>,
    /// What is sewn.
    pub shops: Vec<Shop>,
    /// Each run is a whole life.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lives: Option<LifePlan>,
}

impl CampaignPlan {
    /// Reads the campaign file at `path`, and its scenarios, which it names relative to
    /// its own folder.
    ///
    /// # Errors
    /// An [`InputError`] that names file, line and column.
    pub fn load(path: &Path) -> Result<Self, InputError> {
        let (name, text) = checked_file::read(path)?;
        let file: File = checked_file::parse(&name, &text, check)?;
        let folder = path.parent().unwrap_or(Path::new("."));
        let shops = file.scenarios.iter().map(|entry| {
            let path = folder.join(&entry.file);
            shop(&path, &Scenario::load(&path)?, entry.weight)
        });
        Ok(Self {
            shops: shops.collect::<Result<_, _>>()?,
            name: file.name,
            description: file.description,
            seed: file.seed,
            runs: file.runs,
            steps: file.steps,
            starts: file.starts,
            most_of_a_kind: file.most_of_a_kind,
            other_parts: file.other_parts,
            faults: file.faults,
            lives: file.lives,
            required: match file.coverage.required.as_slice() {
                [all] if all == "all" => {
                    MetState::ALL.iter().map(|state| state.name().to_owned()).collect()
                }
                some => some.to_vec(),
            },
        })
    }
}

/// Runs of a chunk, where runs are short.
pub const CHUNK_RUNS: u64 = 256;

impl CampaignPlan {
    /// Runs of a chunk: few where each is a life.
    #[must_use]
    pub fn chunk_runs(&self) -> u64 {
        self.lives.as_ref().map_or(CHUNK_RUNS, |lives| lives.chunk)
    }
}

fn check(file: &File) -> Result<(), (String, String)> {
    let wrong = |key: &str, what: String| Err((key.to_owned(), what));
    if file.name.trim().is_empty() {
        return wrong("name", "is empty".into());
    }
    if !(1..=RUNS_MAX).contains(&file.runs) {
        return wrong("runs", format!("{} is not 1 to {RUNS_MAX}", file.runs));
    }
    let LeastMost { least, most } = file.steps;
    if least == 0 || least > most || most > STEPS_MAX {
        return wrong("steps", format!("least 1, most {STEPS_MAX}, least at most most"));
    }
    if !(1..=200).contains(&file.starts) {
        return wrong("starts", format!("{} is not 1 to 200", file.starts));
    }
    if !(1..=20).contains(&file.most_of_a_kind) {
        return wrong("most_of_a_kind", format!("{} is not 1 to 20", file.most_of_a_kind));
    }
    if !(0.0..=1.0).contains(&file.other_parts) {
        return wrong("other_parts", format!("{} is not 0 to 1", file.other_parts));
    }
    if file.scenarios.is_empty() {
        return wrong("scenarios", "there is none".into());
    }
    if file.scenarios.iter().all(|entry| entry.weight == 0) {
        return wrong("scenarios", "no one has a weight".into());
    }
    for (kind, chance) in &file.faults {
        if !(0.0..=1.0).contains(chance) {
            return wrong(&format!("faults.{}", kind.name()), format!("{chance} is not 0 to 1"));
        }
    }
    if let Some(lives) = &file.lives {
        lives.check()?;
    }
    for (place, name) in file.coverage.required.iter().enumerate() {
        let is_all = name == "all" && file.coverage.required.len() == 1;
        if !is_all && MetState::named(name).is_none() {
            let names: Vec<_> = MetState::ALL.iter().map(|state| state.name()).collect();
            let key = format!("coverage.required[{place}]");
            let what = format!("there is no state \"{name}\"; there are {}", names.join(", "));
            return wrong(&key, what);
        }
    }
    Ok(())
}

fn shop(path: &Path, scenario: &Scenario, weight: u32) -> Result<Shop, InputError> {
    let part = &scenario.part;
    if part.geometry() != Geometry::REFERENCE || part.kind != PartKindName::Eeprom {
        let what = "a campaign needs the reference part: an EEPROM of 32,768 bytes in pages of 64";
        return Err(InputError::new(path.display().to_string(), what));
    }
    let machine = &scenario.machine;
    let needles = usize::from(machine.needles.min(15)).max(1);
    let breaks: f64 = (0..needles).map(|n| machine.breaks_per_100k.at(n)).sum();
    let block = |block: &shaftbook_world::scenario::Block| PlanBlock {
        needle: block.needle.min(15),
        stitches: block.stitches,
        jumps: if machine.jump_wired { block.jumps } else { 0 },
        trims: block.trims,
    };
    Ok(Shop {
        name: scenario.name.clone(),
        weight,
        period_ms: 60_000 / machine.stitches_per_min,
        breaks_per_100k: breaks / needles as f64,
        frame_change_s: machine.frame_change_s,
        designs: scenario
            .designs
            .iter()
            .map(|design| design.blocks.iter().map(block).collect())
            .collect(),
    })
}
