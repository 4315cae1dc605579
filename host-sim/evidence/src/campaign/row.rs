//! One row for each run: what is kept of it, in the stream on disk and in the Parquet
//! file.

use serde::{Deserialize, Serialize};

use super::kind::KindSet;
use super::run::Ran;
use super::script::Script;
use super::state::{MetState, StateSet};
use super::tally::Named;

/// One run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunRow {
    /// Its number, from 0.
    pub run: u64,
    /// Its seed.
    pub seed: u64,
    /// Its scenario, as a place in the plan's list.
    pub shop: u32,
    /// Kinds of fault that came.
    pub kinds: KindSet,
    /// States that a fault met.
    pub states: StateSet,
    /// Faults that the board named.
    pub named: Named,
    /// Steps; working days of a life.
    pub steps: u32,
    /// Faults drawn.
    pub faults: u32,
    /// Cuts judged: the cases of the run.
    pub cuts: u32,
    /// Most running time lost at a cut without warning, bus and part being sound, ms.
    pub lost_running_ms: u32,
    /// Most trims lost at such a cut.
    pub lost_trims: u32,
    /// Most powered time lost at such a cut, ms.
    pub lost_powered_ms: u32,
    /// Stitches lost at cuts with a long enough warning.
    pub warned_lost_stitches: u32,
    /// Longest boot, µs.
    pub boot_us: u32,
    /// Most bytes read at a boot.
    pub boot_bytes: u32,
    /// Program cycles.
    pub programs: u32,
    /// Program cycles of the page with the most.
    pub hottest_page: u32,
    /// What did not hold, if anything.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen: Option<String>,
}

impl RunRow {
    /// The row of run `run`.
    #[must_use]
    pub fn of(run: u64, seed: u64, shop: usize, script: &Script, ran: &Ran) -> Self {
        let tally = &ran.tally;
        let small = |figure: u64| u32::try_from(figure).unwrap_or(u32::MAX);
        let mut states = StateSet::default();
        for state in MetState::ALL {
            states.add_if(tally.hits.of_state(state) > 0, state);
        }
        Self {
            run,
            seed,
            shop: shop as u32,
            kinds: tally.kinds,
            states,
            named: tally.named,
            steps: script.length(),
            faults: script.faults_drawn(),
            cuts: small(tally.cuts),
            lost_running_ms: small(tally.lost_running_ms),
            lost_trims: small(tally.lost_trims),
            lost_powered_ms: small(tally.lost_powered_ms),
            warned_lost_stitches: small(tally.warned_lost_stitches),
            boot_us: small(tally.boot_us),
            boot_bytes: small(tally.boot_bytes),
            programs: small(tally.programs()),
            hottest_page: small(tally.hottest_page()),
            seen: ran.seen.clone(),
        }
    }
}
