//! A campaign's report for programs. Its schema: `docs/schemas/campaign.schema.json`.
//!
//! The page for people takes its figures from this report, so that the two cannot differ.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::median_bin;
use super::names::{fault_name, fault_names, kind_name, kind_names, state_name, state_names};
use crate::campaign::kind::FaultKind;
use crate::campaign::results::{FAILURES_KEPT, Results, RunCount};
use crate::campaign::row::RunRow;
use crate::campaign::state::MetState;
use crate::campaign::tally::{BOOT_BIN_US, LOST_BIN_MS, Named};
use shaftbook_world::judge::Bounds;

/// Version of the report's form: it counts up when a reader must change.
pub const REPORT_FORMAT: u32 = 1;

/// The report of a campaign, or of a part of one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(
    title = "Report of a campaign",
    extend("$id" = "urn:shaftbook:campaign-report:1")
)]
pub struct Report {
    /// Version of this form: 1.
    #[schemars(range(min = 1, max = 1))]
    pub format: u32,
    /// What was run.
    pub campaign: Campaign,
    /// How it came out.
    pub verdict: Verdict,
    /// By scenario, in the order of the campaign file.
    pub scenarios: Vec<ScenarioRuns>,
    /// By kind of fault: the runs in which it came.
    pub fault_kinds: Vec<KindRuns>,
    /// Which fault met which state.
    pub coverage: Coverage,
    /// Worst and typical figures.
    pub figures: Figures,
    /// How losses and boot times are spread.
    pub histograms: Histograms,
    /// Program cycles of the pages.
    pub wear: Wear,
    /// Faults that the subject named in some run.
    #[schemars(schema_with = "fault_names")]
    pub faults_named: Vec<String>,
    /// The first runs that failed, at most 50; `verdict.runs_failed` says how many there are.
    #[schemars(length(max = 50))]
    pub failures: Vec<Failure>,
}

/// What was run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Campaign {
    /// Name of the campaign file.
    pub name: String,
    /// What it is for.
    pub description: String,
    /// What was worked on: `shaftbook` is our own board.
    pub subject: String,
    /// Version of the simulator.
    pub version: String,
    /// Seed of everything random.
    pub seed: u64,
    /// Which part of the campaign this is, from 1.
    #[schemars(range(min = 1))]
    pub part: u64,
    /// Of how many parts.
    #[schemars(range(min = 1))]
    pub parts: u64,
}

/// How it came out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Verdict {
    /// No run failed and, if the campaign is complete, every required state was met.
    pub held: bool,
    /// All planned runs are there.
    pub complete: bool,
    /// Runs planned for this part.
    pub runs_planned: u64,
    /// Runs done.
    pub runs_done: u64,
    /// Runs that failed.
    pub runs_failed: u64,
    /// Cuts and resets, each judged.
    pub cases: u64,
}

/// Runs of a scenario.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScenarioRuns {
    /// The scenario's name.
    pub name: String,
    /// How often it is drawn, beside the others.
    pub weight: u32,
    /// Runs.
    pub runs: u64,
    /// Of them failed.
    pub failed: u64,
}

/// Runs in which a kind of fault came.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KindRuns {
    /// The kind.
    #[schemars(schema_with = "kind_name")]
    pub kind: String,
    /// Runs.
    pub runs: u64,
    /// Of them failed.
    pub failed: u64,
}

/// Which fault met which state.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Coverage {
    /// Kinds of fault: the columns of `hits`.
    #[schemars(schema_with = "kind_names")]
    pub kinds: Vec<String>,
    /// States, each with what met it.
    pub states: Vec<StateHits>,
    /// States that no fault met.
    #[schemars(schema_with = "state_names")]
    pub unvisited: Vec<String>,
    /// States that the campaign requires and that no cut or reset met. Of a part of a
    /// campaign nothing is required.
    #[schemars(schema_with = "state_names")]
    pub missing: Vec<String>,
}

/// What met a state.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StateHits {
    /// The state.
    #[schemars(schema_with = "state_name")]
    pub state: String,
    /// What it is.
    pub meaning: String,
    /// The campaign does not hold without it.
    pub required: bool,
    /// How often a fault of any kind met it.
    pub all: u64,
    /// How often a cut or reset met it.
    pub cuts: u64,
    /// How often each kind met it, in the order of `kinds`.
    pub hits: Vec<u64>,
}

/// A figure beside what it may be at most.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Bounded {
    /// The worst seen.
    pub worst: u64,
    /// The bound.
    pub bound: u64,
}

/// Worst and typical figures.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Figures {
    /// Cuts without warning on a sound part: what the losses below are of.
    pub unwarned_cuts: u64,
    /// Running time lost at one such cut, ms.
    pub lost_running_ms: Bounded,
    /// Trims lost at one such cut.
    pub lost_trims: Bounded,
    /// Powered time lost at one such cut, ms.
    pub lost_powered_ms: Bounded,
    /// Cuts on a sound part with a warning that was long enough.
    pub warned_cuts: u64,
    /// Stitches lost at all of them together: must be 0.
    pub warned_lost_stitches: u64,
    /// Longest time from power-up until writing could begin, µs.
    pub boot_worst_us: u64,
    /// From here on begins the bin that holds the median of boot times, µs; null if there
    /// was none.
    pub boot_median_from_us: Option<u64>,
    /// And here it ends.
    pub boot_median_below_us: Option<u64>,
    /// Most bytes read from the part until then.
    pub boot_bytes: u64,
}

/// How often each bin was hit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Histogram {
    /// Width of a bin: ms for losses, µs for boot times.
    #[schemars(range(min = 1))]
    pub bin_width: u64,
    /// How often, from 0 upwards; the last bin also takes all that is above it.
    pub counts: Vec<u64>,
}

/// How losses and boot times are spread.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Histograms {
    /// Running time lost at cuts without warning on a sound part; bins in ms.
    pub lost_running_ms: Histogram,
    /// Time from power-up until writing could begin; bins in µs.
    pub boot_us: Histogram,
}

/// Program cycles of the pages, all runs added.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Wear {
    /// Of all pages.
    pub programs: u64,
    /// Of the page with the most.
    pub hottest_page_programs: u64,
    /// Of a page on average.
    pub mean_page_programs: f64,
    /// Hottest over mean; null if nothing was programmed.
    pub hottest_over_mean: Option<f64>,
    /// Of each page, page 0 first.
    pub page_programs: Vec<u64>,
}

/// A run that failed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Failure {
    /// Its number, from 0.
    pub run: u64,
    /// Its seed.
    pub seed: u64,
    /// Its scenario.
    pub scenario: String,
    /// Kinds of fault that came.
    #[schemars(schema_with = "kind_names")]
    pub kinds: Vec<String>,
    /// States that a fault met.
    #[schemars(schema_with = "state_names")]
    pub states: Vec<String>,
    /// What did not hold.
    pub seen: String,
    /// The command that plays it again.
    pub replay: String,
}

/// The report as a JSON value; `file` as for [`Report::of`].
#[must_use]
pub fn json(results: &Results, file: &str) -> serde_json::Value {
    serde_json::to_value(Report::of(results, file)).unwrap_or_default()
}

/// Named faults, as reports name them.
pub(super) fn named(faults: Named) -> Vec<String> {
    faults.iter().map(fault_name).collect()
}

impl Report {
    /// The report of `results`; `file` is the campaign file, for the commands in it.
    #[must_use]
    pub fn of(results: &Results, file: &str) -> Self {
        let (header, tally) = (&results.header, &results.tally);
        let plan = &header.plan;
        let names =
            |states: Vec<MetState>| states.iter().map(|state| state.name().into()).collect();
        Self {
            format: REPORT_FORMAT,
            campaign: Campaign {
                name: plan.name.clone(),
                description: plan.description.clone(),
                subject: header.subject.clone(),
                version: header.version.clone(),
                seed: plan.seed,
                part: header.shard.index,
                parts: header.shard.of,
            },
            verdict: verdict(results),
            scenarios: plan.shops.iter().zip(&results.shops).map(scenario).collect(),
            fault_kinds: FaultKind::ALL.into_iter().zip(&results.kinds).map(kind).collect(),
            coverage: Coverage {
                kinds: FaultKind::ALL.iter().map(|kind| kind.name().into()).collect(),
                states: MetState::ALL.into_iter().map(|state| hits(results, state)).collect(),
                unvisited: names(results.unvisited()),
                missing: names(results.missing()),
            },
            figures: figures(results),
            histograms: Histograms {
                lost_running_ms: Histogram {
                    bin_width: LOST_BIN_MS,
                    counts: tally.lost_bins.clone(),
                },
                boot_us: Histogram { bin_width: BOOT_BIN_US, counts: tally.boot_bins.clone() },
            },
            wear: wear(&tally.wear),
            faults_named: named(tally.named),
            failures: results
                .failures
                .iter()
                .take(FAILURES_KEPT)
                .map(|row| failure(results, row, file))
                .collect(),
        }
    }
}

fn verdict(results: &Results) -> Verdict {
    let header = &results.header;
    let chunks = (0..header.chunks()).filter(|chunk| header.shard.has(*chunk));
    let planned = chunks.map(|chunk| {
        let runs = header.runs(chunk);
        runs.end - runs.start
    });
    Verdict {
        held: results.held(),
        complete: results.is_complete(),
        runs_planned: planned.sum(),
        runs_done: results.all.runs,
        runs_failed: results.all.failed,
        cases: results.tally.cuts,
    }
}

fn scenario((shop, count): (&crate::campaign::shop::Shop, &RunCount)) -> ScenarioRuns {
    let RunCount { runs, failed } = *count;
    ScenarioRuns { name: shop.name.clone(), weight: shop.weight, runs, failed }
}

fn kind((kind, count): (FaultKind, &RunCount)) -> KindRuns {
    KindRuns { kind: kind.name().into(), runs: count.runs, failed: count.failed }
}

fn hits(results: &Results, state: MetState) -> StateHits {
    let hits = &results.tally.hits;
    StateHits {
        state: state.name().into(),
        meaning: state.meaning().into(),
        required: results.header.plan.required.iter().any(|name| name == state.name()),
        all: hits.of_state(state),
        cuts: hits.of_cuts(state),
        hits: FaultKind::ALL.into_iter().map(|kind| hits.of(kind, state)).collect(),
    }
}

fn figures(results: &Results) -> Figures {
    let (tally, bounds) = (&results.tally, Bounds::PROMISED);
    let median = median_bin(&tally.boot_bins).map(|bin| bin as u64 * BOOT_BIN_US);
    Figures {
        unwarned_cuts: tally.lost_bins.iter().sum(),
        lost_running_ms: Bounded { worst: tally.lost_running_ms, bound: bounds.running_ms },
        lost_trims: Bounded { worst: tally.lost_trims, bound: bounds.trims },
        lost_powered_ms: Bounded { worst: tally.lost_powered_ms, bound: bounds.powered_ms },
        warned_cuts: tally.warned_cuts,
        warned_lost_stitches: tally.warned_lost_stitches,
        boot_worst_us: tally.boot_us,
        boot_median_from_us: median,
        boot_median_below_us: median.map(|from_us| from_us + BOOT_BIN_US),
        boot_bytes: tally.boot_bytes,
    }
}

/// `figure` to three places: as much as reports show.
fn rounded(figure: f64) -> f64 {
    (figure * 1_000.0).round() / 1_000.0
}

fn wear(pages: &[u64]) -> Wear {
    let programs: u64 = pages.iter().sum();
    let hottest = pages.iter().copied().max().unwrap_or(0);
    let mean = programs as f64 / pages.len().max(1) as f64;
    Wear {
        programs,
        hottest_page_programs: hottest,
        mean_page_programs: rounded(mean),
        hottest_over_mean: (programs > 0).then(|| rounded(hottest as f64 / mean)),
        page_programs: pages.to_vec(),
    }
}

fn failure(results: &Results, row: &RunRow, file: &str) -> Failure {
    let shop = results.header.plan.shops.get(row.shop as usize);
    Failure {
        run: row.run,
        seed: row.seed,
        scenario: shop.map_or_else(String::new, |shop| shop.name.clone()),
        kinds: row.kinds.iter().map(|kind| kind.name().into()).collect(),
        states: row.states.iter().map(|state| state.name().into()).collect(),
        seen: row.seen.clone().unwrap_or_default(),
        replay: results.replay(row, file),
    }
}
