//! What was counted beside the truth, each difference with its causes.
//!
//! A board can only count what reaches it. What the scenario's signal faults take away or add
//! is not a mistake of the board, so the judgement allows for exactly that, and says so. It
//! allows for nothing else.

use serde::Serialize;
use shaftbook_core::counters::Counters;
use shaftbook_core::settings::NeedleSource;

use super::run::SewOutcome;
use shaftbook_world::scenario::Scenario;

/// One figure, counted and true.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ComparedRow {
    /// What it is.
    pub name: String,
    /// What the board counted.
    pub counted: u64,
    /// What truly happened; `None` where there is no truth (glitches).
    pub truth: Option<u64>,
    /// Why they differ.
    pub causes: Vec<String>,
}

impl ComparedRow {
    /// Counted minus truth.
    #[must_use]
    pub fn difference(&self) -> Option<i128> {
        self.truth.map(|truth| i128::from(self.counted) - i128::from(truth))
    }
}

/// Every figure of an outcome, with the causes of each difference.
#[must_use]
pub fn rows(scenario: &Scenario, outcome: &SewOutcome) -> Vec<ComparedRow> {
    let truth = outcome.truth.counters();
    let explain = Explain { scenario, outcome };
    let (counted, lost) = (&outcome.counted, &outcome.lost);
    let mut rows = vec![explain.row(
        "stitches",
        counted.stitches(),
        truth.stitches(),
        lost.stitches(),
        &[explain.pulses(), explain.jumps()],
    )];
    for index in 0..usize::from(outcome.settings.needles) {
        rows.push(explain.row(
            &format!("stitches, needle {}", index + 1),
            counted.needle_stitches[index],
            truth.needle_stitches[index],
            lost.needle_stitches[index],
            &[explain.pulses(), explain.needle()],
        ));
    }
    rows.push(explain.row(
        "stitches, unattributed",
        counted.unattributed_stitches,
        0,
        0,
        &[explain.needle()],
    ));
    let jumps = [explain.pulses(), explain.jumps()];
    rows.push(explain.row("jumps", counted.jumps, truth.jumps, lost.jumps, &jumps));
    let trims = [times(outcome.tally.missed_trims, "never reached the board")];
    rows.push(explain.row("trims", counted.trims, truth.trims, lost.trims, &trims));
    let breaks = [times(outcome.tally.missed_breaks, "never reached the board")];
    let of = |c: &Counters| u64::from(c.breaks());
    rows.push(explain.row("thread breaks", of(counted), of(&truth), of(lost), &breaks));
    let running = [explain.pulses(), explain.bounce()];
    rows.push(explain.row(
        "running time, ms",
        counted.running_ms,
        truth.running_ms,
        lost.running_ms,
        &running,
    ));
    rows.push(explain.row(
        "powered time, ms",
        counted.powered_ms,
        truth.powered_ms,
        lost.powered_ms,
        &[],
    ));
    let power_ups = |c: &Counters| u64::from(c.power_ups);
    rows.push(explain.row(
        "power-ups",
        power_ups(counted),
        power_ups(&truth),
        power_ups(lost),
        &[],
    ));
    rows.push(ComparedRow {
        name: "pulses rejected as glitch or bounce".into(),
        counted: counted.glitches.into(),
        truth: None,
        causes: Vec::new(),
    });
    rows
}

/// Puts causes into words.
struct Explain<'a> {
    scenario: &'a Scenario,
    outcome: &'a SewOutcome,
}

impl Explain<'_> {
    fn row(
        &self,
        name: &str,
        counted: u64,
        truth: u64,
        lost: u64,
        others: &[Option<String>],
    ) -> ComparedRow {
        let mut causes = Vec::new();
        if counted != truth {
            if lost > 0 {
                causes.push(format!("{lost} lost at {} cuts", self.outcome.cuts));
            }
            if i128::from(truth) - i128::from(counted) != i128::from(lost) {
                causes.extend(others.iter().flatten().cloned());
                let explained = !causes.is_empty() && others.iter().any(Option::is_some);
                if !explained && counted < truth {
                    causes.push(at_the_cut(name));
                }
            }
        }
        ComparedRow { name: name.into(), counted, truth: Some(truth), causes }
    }

    fn pulses(&self) -> Option<String> {
        let tally = self.outcome.tally;
        let missed = times(tally.missed_pulses, "shaft pulses never reached the board");
        let extra = times(tally.extra_pulses, "extra pulses");
        match (missed, extra) {
            (Some(missed), Some(extra)) => Some(format!("{missed}, {extra}")),
            (missed, extra) => missed.or(extra),
        }
    }

    fn bounce(&self) -> Option<String> {
        (self.scenario.faults.shaft_bounce_us > 0)
            .then(|| "bounce of the first and the last pulse of each run".into())
    }

    fn jumps(&self) -> Option<String> {
        times(
            self.outcome.tally.missed_jump_changes,
            "changes of the jump signal never reached the board",
        )
    }

    fn needle(&self) -> Option<String> {
        if self.outcome.settings.needle_source == NeedleSource::NotWired {
            return Some("the needle position is not wired".into());
        }
        if self.outcome.tally.hidden_needle_changes > 0 {
            return Some("the needle sensor failed".into());
        }
        let faults = &self.scenario.faults;
        (faults.needle_noise_mv > self.outcome.settings.needle_guard_mv
            || faults.needle_skew_us > 0)
            .then(|| "the needle position was not certain".into())
    }
}

fn at_the_cut(name: &str) -> String {
    if name.contains("ms") {
        "parts of a ms, and what was not certain yet, at each cut".into()
    } else {
        "not certain yet at a cut".into()
    }
}

fn times(count: u64, what: &str) -> Option<String> {
    (count > 0).then(|| format!("{count} {what}"))
}
