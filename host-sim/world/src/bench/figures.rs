//! What a command changes: services, interval baseline and the components' baselines.
//!
//! Invariant: after any cut these are wholly as before a command or wholly as after it.

use shaftbook_core::counters::Counters;
use shaftbook_core::ledger::{IntervalBaseline, Ledger};

use super::proof_board::BELT;

/// Places whose measure is a time.
const TIMES: [usize; 2] = [BELT, 19];
/// Longest from asking for a service to its judging, ms: a snapshot may be under way.
const JUDGED_WITHIN_MS: u64 = 600;

/// What must be wholly before or wholly after.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CommandFigures {
    /// Services done.
    pub services: u16,
    /// Interval baseline.
    pub interval: IntervalBaseline,
    /// Baseline of each component.
    pub baselines: Vec<u64>,
}

impl CommandFigures {
    /// Whether these are `other`, or the same a moment later: a service dates its time
    /// baselines to when its reply was judged, some ms after it was asked for.
    #[must_use]
    pub fn are(&self, other: &Self) -> bool {
        let close = |a: u64, b: u64| a.abs_diff(b) <= JUDGED_WITHIN_MS;
        let is_time = |place: usize| TIMES.contains(&place);
        self.services == other.services
            && close(self.interval.powered_ms, other.interval.powered_ms)
            && close(self.interval.running_ms, other.interval.running_ms)
            && self.baselines.len() == other.baselines.len()
            && self
                .baselines
                .iter()
                .zip(&other.baselines)
                .enumerate()
                .all(|(place, (a, b))| a == b || (is_time(place) && close(*a, *b)))
    }

    /// Whether `now` is these figures, with what a command changed from `before` dated
    /// anywhere up to `latest`: a part that is away for a while delays a command.
    #[must_use]
    pub fn came_late(&self, before: &Self, now: &Self, latest: &Counters, ledger: &Ledger) -> bool {
        let within = |a: u64, now: u64, most: u64| (a..=most.max(a)).contains(&now);
        self.services == now.services
            && self.baselines.len() == now.baselines.len()
            && if self.interval == before.interval {
                now.interval == before.interval
            } else {
                within(self.interval.powered_ms, now.interval.powered_ms, latest.powered_ms)
                    && within(self.interval.running_ms, now.interval.running_ms, latest.running_ms)
            }
            && ledger.components.iter().enumerate().all(|(place, fitted)| {
                let (a, now) = (self.baselines[place], now.baselines[place]);
                let was = before.baselines.get(place).copied();
                if was == Some(a) {
                    // Renewed at what it was, or not renewed: the latter cannot be later.
                    now >= a && now <= fitted.component.measure.value(latest, None)
                } else {
                    within(a, now, fitted.component.measure.value(latest, None))
                }
            })
    }

    /// The figures of a ledger.
    #[must_use]
    pub fn of(ledger: &Ledger) -> Self {
        Self {
            services: ledger.services,
            interval: ledger.interval,
            baselines: ledger.components.iter().map(|fitted| fitted.baseline).collect(),
        }
    }
}
