//! The proofs: for each thing that must never happen, a search for a case in which it does.
//!
//! They drive boards on `shaftbook_world::bench`, and `shaftbook_world::judge` judges them.
//! Most runs are made on the bare core, one in [`FIRMWARE_RUNS`] on the whole firmware.
//!
//! - [`cuts`], [`needles`], [`roll_over`], [`bad_page`], [`heals`], [`garbage`], [`wear`],
//!   [`refit`], [`reset`], [`main_loop`], [`agreement`], [`small_scope`], [`images`],
//!   [`whole_days`], [`as_documented`], [`says_what_is`]: the proofs
//! - [`edges`], [`warnings`], [`drivers`], [`signs`]: parts of some of them, in files of their own
//! - [`schedule`]: when the supply goes, for any workload
//! - [`sabotage`]: boards that are broken on purpose, to show that each proof can fail
//! - [`junit`]: the results as JUnit cases
//! - this file: what a proof is, how its runs are spread over the cores, and how a failing case
//!   is named and replayed
//!
//! Invariants: the same seed gives the same cases, the same figures and, if one fails, the same
//! failing case, on any number of cores; a proof holds only if every case holds.

pub mod agreement;
pub mod as_documented;
pub mod bad_page;
pub mod cuts;
pub mod drivers;
pub mod edges;
pub mod garbage;
pub mod heals;
pub mod images;
pub mod junit;
pub mod main_loop;
pub mod needles;
pub mod refit;
pub mod reset;
pub mod roll_over;
pub mod sabotage;
pub mod says_what_is;
pub mod schedule;
pub mod signs;
pub mod small_scope;
mod two_lives;
pub mod warnings;
pub mod wear;
pub mod whole_days;
mod worn_out;

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;
use shaftbook_tools::inspect::rules::ReadingRules;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::under_test::UnderTest;

/// One run in so many is made on the whole firmware, with its main loop, panel and display;
/// the others on the bare core, which is much faster.
pub const FIRMWARE_RUNS: u64 = 8;

/// A proof, by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Proof {
    /// 1: no lifetime figure goes down or above the truth.
    NeverBackwards,
    /// 2: a cut loses no more than the bound.
    LossBound,
    /// 3: a service or renewal is wholly before or wholly after, once.
    WholeService,
    /// 4: the needles' stitches and the unattributed ones are the stitches.
    NeedlesAddUp,
    /// 5: no counter wraps unseen.
    RollOver,
    /// 6: one bad page costs no more than the record in it.
    OneBadPage,
    /// 7: garbage, blank, foreign, missing and stuck parts are named, and counting
    /// goes on.
    GarbageBoots,
    /// 8: wear is even and the part lasts.
    EvenWear,
    /// 9: no service without the engineer, and no guessing.
    NoFreeReset,
    /// 10: the loop that ships counts and tells what its core does.
    MainLoop,
    /// 11: whole days of sewing, with signals as bad as they come.
    WholeDays,
    /// 12: a new fitting keeps what still means the same, and nothing else.
    RefitKeeps,
    /// 13: after damage that left a choice redundancy is whole again soon, so that the next
    /// damage costs no more.
    Heals,
    /// 14: in a small scope, everything is tried and nothing drawn.
    SmallScope,
    /// 15: what is read from a spoilt image is right, or says what is missing.
    SaysWhatIsMissing,
    /// 16: what a board counts, says and keeps is what the documents say.
    AsDocumented,
    /// 17: what panel, code, lamp and port say is the ledger's truth.
    SaysWhatIs,
}

impl Proof {
    /// All of them, in the order of the table.
    pub const ALL: [Self; 17] = [
        Self::NeverBackwards,
        Self::LossBound,
        Self::WholeService,
        Self::NeedlesAddUp,
        Self::RollOver,
        Self::OneBadPage,
        Self::GarbageBoots,
        Self::EvenWear,
        Self::NoFreeReset,
        Self::MainLoop,
        Self::WholeDays,
        Self::RefitKeeps,
        Self::Heals,
        Self::SmallScope,
        Self::SaysWhatIsMissing,
        Self::AsDocumented,
        Self::SaysWhatIs,
    ];

    /// Its name on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::NeverBackwards => "never-backwards",
            Self::LossBound => "loss-bound",
            Self::WholeService => "whole-service",
            Self::NeedlesAddUp => "needles-add-up",
            Self::RollOver => "roll-over",
            Self::OneBadPage => "one-bad-page",
            Self::GarbageBoots => "garbage-boots",
            Self::EvenWear => "even-wear",
            Self::NoFreeReset => "no-free-reset",
            Self::MainLoop => "main-loop",
            Self::WholeDays => "whole-days",
            Self::RefitKeeps => "refit-keeps",
            Self::Heals => "heals",
            Self::SmallScope => "small-scope",
            Self::SaysWhatIsMissing => "says-what-is-missing",
            Self::AsDocumented => "as-documented",
            Self::SaysWhatIs => "says-what-is",
        }
    }

    /// What it claims, in one line.
    #[must_use]
    pub const fn claim(self) -> &'static str {
        match self {
            Self::NeverBackwards => {
                "after any cut, nested too, no lifetime figure is below the acknowledged or above the truth"
            }
            Self::LossBound => {
                "with hold-up a cut loses nothing; without, at most 10 s of running, 64 trims, 60 s of standstill"
            }
            Self::WholeService => {
                "after any cut a service or renewal is wholly before or wholly after, and never twice"
            }
            Self::NeedlesAddUp => {
                "needles and unattributed add up to the stitches fed in; no needle gets another's"
            }
            Self::RollOver => {
                "timers of 16 and 32 bits, laps of the ring and figures of 100 years pass their wraps unseen"
            }
            Self::OneBadPage => {
                "any one page bad in any way costs at most the record in it, and the board goes on"
            }
            Self::GarbageBoots => {
                "garbage, blank, foreign, wrong-sized, missing, stuck: a named fault, no panic, counting goes on"
            }
            Self::EvenWear => "hottest over mean page at most 1.05; the part outlasts 100 years",
            Self::NoFreeReset => {
                "no service by a guessed, used, stale or foreign reply, or one for something else; a cut gives no free try"
            }
            Self::MainLoop => {
                "the whole firmware counts and tells what its core does, warnings first, no press lost, its display right"
            }
            Self::RefitKeeps => {
                "a changed profile keeps what still means the same and nothing else, and a cut leaves the old or the new one"
            }
            Self::WholeDays => {
                "in days of sewing with bounce, spikes and failing sensors no figure is above the truth, not by 1 µs"
            }
            Self::Heals => {
                "2 s after a power-up all that one bad page took is there twice again: the next costs no more"
            }
            Self::SmallScope => {
                "on the smallest ring every short path of records, cuts and tears leaves a store that is right and goes on"
            }
            Self::SaysWhatIsMissing => {
                "an image cut, mirrored, blanked, spliced or rolled back: the same figures, or what is missing, at most how much"
            }
            Self::AsDocumented => {
                "beside a model written from the documents alone, all that can be seen of a board is what that says"
            }
            Self::SaysWhatIs => {
                "what panel, read-out code, lamp and port say is the ledger's truth, at each limit and either side of it"
            }
        }
    }

    /// Runs the proof on a board with rules `R`.
    pub fn run<R: UnderTest + ReadingRules>(
        self,
        plan: &SearchPlan,
        progress: &(impl Fn(u64, u64) + Sync),
    ) -> ProofOutcome {
        self.run_after::<R>(plan, progress, &|| {})
    }

    /// The same; `before_each` is called before each run, on the thread of that run.
    fn run_after<R: UnderTest + ReadingRules>(
        self,
        plan: &SearchPlan,
        progress: &(impl Fn(u64, u64) + Sync),
        before_each: &(impl Fn() + Sync),
    ) -> ProofOutcome {
        spread(self, plan, progress, |run| {
            before_each();
            // Even wear has two runs: one on each.
            let every = if self == Self::EvenWear { 2 } else { FIRMWARE_RUNS };
            if self == Self::AsDocumented {
                if run.number % every == every - 1 {
                    as_documented::as_documented::<Firmware<R>>(run);
                } else {
                    as_documented::as_documented::<Core<R>>(run);
                }
            } else if run.number % every == every - 1 {
                self.search::<Firmware<R>>(run);
            } else {
                self.search::<Core<R>>(run);
            }
        })
    }

    fn search<D: Device<Rules: ReadingRules>>(self, run: &mut Run) {
        match self {
            Self::NeverBackwards => cuts::never_backwards::<D>(run),
            Self::LossBound => cuts::loss_bound::<D>(run),
            Self::WholeService => cuts::whole_service::<D>(run),
            Self::NeedlesAddUp => needles::needles_add_up::<D>(run),
            Self::RollOver => roll_over::roll_over::<D>(run),
            Self::OneBadPage => bad_page::one_bad_page::<D>(run),
            Self::GarbageBoots => garbage::garbage_boots::<D>(run),
            Self::EvenWear => wear::even_wear::<D>(run),
            Self::NoFreeReset => reset::no_free_reset::<D>(run),
            Self::MainLoop => main_loop::main_loop::<D::Rules>(run),
            Self::RefitKeeps => refit::refit_keeps::<D>(run),
            Self::WholeDays => whole_days::whole_days::<D>(run),
            Self::Heals => heals::heals::<D>(run),
            Self::SmallScope => small_scope::small_scope::<D::Rules>(run),
            Self::SaysWhatIsMissing => images::says_what_is_missing::<D>(run),
            Self::SaysWhatIs => says_what_is::says_what_is::<D::Rules>(run),
            // It needs what only one kind of device can be asked.
            Self::AsDocumented => {}
        }
    }

    /// What bounds its search, if that is all of something and nothing is drawn.
    #[must_use]
    pub fn bounds(self, quick: bool) -> Option<String> {
        (self == Self::SmallScope).then(|| small_scope::scope::bounds(quick))
    }

    /// How many runs a plan takes of it.
    #[must_use]
    pub const fn runs(self, quick: bool) -> u64 {
        match (self, quick) {
            (Self::EvenWear, _) => 2,
            (Self::SmallScope, _) => small_scope::starts::Start::ALL.len() as u64,
            (Self::AsDocumented, true) => 256,
            (Self::NeverBackwards | Self::WholeService, true) => 64,
            (Self::NeverBackwards | Self::WholeService, false) => 80,
            (Self::RollOver | Self::MainLoop | Self::SaysWhatIsMissing, true) => 16,
            (Self::SaysWhatIs, true) => 40,
            (Self::RollOver | Self::SaysWhatIsMissing, false) => 400,
            (Self::WholeDays, true) => 12,
            (Self::WholeDays, false) => 600,
            (Self::OneBadPage | Self::Heals, true) => 32,
            (Self::OneBadPage | Self::MainLoop | Self::Heals | Self::SaysWhatIs, false) => 1_000,
            (_, true) => 128,
            (_, false) => 4_000,
        }
    }
}

impl FromStr for Proof {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        Self::ALL.into_iter().find(|proof| proof.name() == text).ok_or_else(|| {
            let names = Self::ALL.map(Self::name).join(", ");
            format!("there is no proof `{text}`; there are {names}")
        })
    }
}

/// A case, as it is printed and replayed: `proof:seed:run:case`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CaseId {
    /// The proof.
    pub proof: Proof,
    /// The seed of the whole.
    pub seed: u64,
    /// The run.
    pub run: u64,
    /// The case in the run.
    pub case: u64,
}

impl fmt::Display for CaseId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}:{}", self.proof.name(), self.seed, self.run, self.case)
    }
}

impl FromStr for CaseId {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let form =
            || format!("`{text}` is not an id: give NAME:SEED:RUN:CASE as a proof printed it");
        let mut parts = text.split(':');
        let proof = parts.next().ok_or_else(form)?.parse()?;
        let mut number = || parts.next().and_then(|p| p.parse().ok()).ok_or_else(form);
        let id = Self { proof, seed: number()?, run: number()?, case: number()? };
        if parts.next().is_some() { Err(form()) } else { Ok(id) }
    }
}

/// What to run.
#[derive(Clone, Copy, Debug)]
pub struct SearchPlan {
    /// Seed of everything.
    pub seed: u64,
    /// Few runs.
    pub quick: bool,
    /// One case only.
    pub replay: Option<CaseId>,
    /// So many runs of each proof, instead of [`Proof::runs`].
    pub runs: Option<u64>,
}

impl SearchPlan {
    /// All cases of the quick or the full search with `seed`.
    #[must_use]
    pub const fn new(seed: u64, quick: bool) -> Self {
        Self { seed, quick, replay: None, runs: None }
    }
}

/// A case that does not hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FailedCase {
    /// Which.
    pub id: CaseId,
    /// What was seen.
    pub seen: String,
}

impl FailedCase {
    /// The command that runs this case alone. `plan` is that of the search: its size decides
    /// what the cases are. `board` is the broken board that it failed on, if it was one.
    #[must_use]
    pub fn replay(&self, plan: &SearchPlan, board: Option<&str>) -> String {
        let size = if plan.quick { "" } else { " --full" };
        let runs = plan.runs.map(|runs| format!(" --runs {runs}")).unwrap_or_default();
        let board = board.map(|name| format!(" --board {name}")).unwrap_or_default();
        format!("shaftbook prove{size}{runs}{board} --replay {}", self.id)
    }
}

/// The result of a proof.
#[derive(Clone, Debug)]
pub struct ProofOutcome {
    /// Which.
    pub proof: Proof,
    /// Cases tried.
    pub cases: u64,
    /// Cases up to the first that failed, that one counted, in the order of runs: as many
    /// as one core would have tried.
    pub cases_to_failure: Option<u64>,
    /// The worst figure seen, in words.
    pub worst: String,
    /// The first failing case, in the order of runs.
    pub failure: Option<FailedCase>,
}

impl ProofOutcome {
    /// Whether every case held.
    #[must_use]
    pub fn held(&self) -> bool {
        self.failure.is_none()
    }
}

/// One run of a proof: counts its cases, skips all but one on replay, keeps the first
/// failure and the worst figures.
#[derive(Debug)]
pub struct Run {
    /// Seed of this run alone.
    pub seed: u64,
    /// Number of this run.
    pub number: u64,
    /// Few cases.
    pub quick: bool,
    id: CaseId,
    only: Option<u64>,
    cases: u64,
    failure: Option<FailedCase>,
    worst: std::collections::BTreeMap<&'static str, f64>,
    /// The lowest number of a run that failed, of all of the proof.
    first_failed: Arc<AtomicU64>,
}

impl Run {
    /// Tries a case, unless another one is being replayed or one has failed already.
    pub fn case(&mut self, case: impl FnOnce() -> Result<(), String>) {
        if self.failure.is_some() || self.is_superseded() {
            return;
        }
        let number = self.cases;
        self.cases += 1;
        if self.only.is_some_and(|only| only != number) {
            return;
        }
        if let Err(seen) = case() {
            let id = CaseId { case: number, ..self.id };
            self.failure = Some(FailedCase { id, seen });
            self.first_failed.fetch_min(self.number, Ordering::Relaxed);
        }
    }

    /// Whether a run before this one has failed: nothing of this one is told then.
    fn is_superseded(&self) -> bool {
        self.first_failed.load(Ordering::Relaxed) < self.number
    }

    /// Notes a figure of which the largest is shown.
    pub fn figure(&mut self, name: &'static str, value: f64) {
        let worst = self.worst.entry(name).or_insert(f64::MIN);
        *worst = worst.max(value);
    }

    /// Whether there is no point in going on.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.failure.is_some()
            || self.is_superseded()
            || self.only.is_some_and(|only| self.cases > only)
    }
}

fn spread(
    proof: Proof,
    plan: &SearchPlan,
    progress: &(impl Fn(u64, u64) + Sync),
    run: impl Fn(&mut Run) + Sync,
) -> ProofOutcome {
    let seed = plan.replay.map_or(plan.seed, |id| id.seed);
    let runs = plan.runs.unwrap_or(proof.runs(plan.quick));
    let numbers = plan.replay.map_or(0..runs, |id| id.run..id.run + 1);
    let first_failed = Arc::new(AtomicU64::new(u64::MAX));
    let done = AtomicU64::new(0);
    let one = |number: u64| {
        let mut it = Run {
            // Spread over the seeds by the golden ratio, so that runs do not resemble.
            seed: seed.wrapping_add(number.wrapping_mul(0x9E37_79B9_7F4A_7C15)),
            number,
            quick: plan.quick,
            id: CaseId { proof, seed, run: number, case: 0 },
            only: plan.replay.map(|id| id.case),
            cases: 0,
            failure: None,
            worst: std::collections::BTreeMap::new(),
            first_failed: Arc::clone(&first_failed),
        };
        if !it.is_superseded() {
            run(&mut it);
        }
        progress(done.fetch_add(1, Ordering::Relaxed) + 1, runs);
        it
    };
    let mut results: Vec<Run> = numbers.into_par_iter().map(one).collect();
    // Every run before the first that failed was run to its end; those after it were not,
    // and how far they came depends on the cores: they do not count.
    let first_failed = first_failed.load(Ordering::Relaxed);
    results.retain(|run| run.number <= first_failed);
    let mut outcome = ProofOutcome {
        proof,
        cases: 0,
        cases_to_failure: None,
        worst: String::new(),
        failure: None,
    };
    let mut worst = std::collections::BTreeMap::new();
    for result in results {
        outcome.cases += match result.only {
            Some(only) => u64::from(result.cases > only),
            None => result.cases,
        };
        if let Some(failure) = result.failure {
            outcome.cases_to_failure = Some(outcome.cases);
            outcome.failure = Some(failure);
        }
        for (name, value) in result.worst {
            let entry = worst.entry(name).or_insert(f64::MIN);
            *entry = value.max(*entry);
        }
    }
    let figures: Vec<String> =
        worst.iter().map(|(name, value)| format!("{name} {}", Figure(*value))).collect();
    outcome.worst = figures.join(", ");
    outcome
}

/// A figure with as many digits as it needs.
struct Figure(f64);

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.fract() == 0.0 { write!(f, "{}", self.0) } else { write!(f, "{:.3}", self.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: SearchPlan = SearchPlan::new(1, true);

    /// Seven cases a run; in run 5 the third and in every run from 9 on the first fails.
    fn outcome(threads: usize) -> ProofOutcome {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| {
            spread(Proof::LossBound, &PLAN, &|_, _| {}, |run| {
                for case in 0..7 {
                    let number = run.number;
                    run.figure("seen", number as f64);
                    run.case(|| match (number, case) {
                        (5, 2) => Err("the one that counts".into()),
                        (9.., 0) => Err(format!("run {number}")),
                        _ => Ok(()),
                    });
                }
            })
        })
    }

    #[test]
    fn the_first_failure_in_the_order_of_runs_is_told_on_any_number_of_cores() {
        for threads in 1..=8 {
            let outcome = outcome(threads);
            let failure = outcome.failure.expect("it fails");
            assert_eq!(failure.id.to_string(), "loss-bound:1:5:2", "{threads} threads");
            assert_eq!(failure.seen, "the one that counts");
            assert_eq!((outcome.cases_to_failure, outcome.cases), (Some(5 * 7 + 3), 5 * 7 + 3));
            assert_eq!(outcome.worst, "seen 5", "{threads} threads");
        }
    }
}
