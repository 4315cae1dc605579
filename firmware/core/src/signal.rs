//! One digital signal made trustworthy: a level counts once it has held for the
//! debounce time.
//!
//! Invariants: a spike or bounce shorter than the debounce time never changes the
//! debounced level; a change is dated to the edge that began it, not to the moment
//! at which it became certain; it truly happened between its two dates, whatever
//! bounces; the same edges give the same result whether the board looks in between
//! or not.

use crate::input::Level;
use crate::time::Instant;

/// A debounced change of a signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Change {
    /// The new level.
    pub level: Level,
    /// The edge since which the level holds: it happened then or before.
    pub at: Instant,
    /// The first edge of the bounce that this edge ended, the same edge if nothing
    /// bounced: it happened then or later.
    pub bounced_from: Instant,
}

/// A signal with its debounce time.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Signal {
    debounced: Level,
    /// When the other level began, or [`Instant::NEVER`].
    other_since: Instant,
    /// The first edge of the bounce that is under way or was the last; the reset itself, if
    /// the board was reset in it.
    bounced_from: Instant,
    /// When the debounced level came back last.
    back_at: Instant,
}

impl Signal {
    /// A signal at rest.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            debounced: Level::Inactive,
            other_since: Instant::NEVER,
            bounced_from: Instant::ZERO,
            back_at: Instant::ZERO,
        }
    }

    /// The debounced level as of `now`.
    #[inline]
    #[must_use]
    pub fn level(&self, now: Instant, debounce_us: u64) -> Level {
        if self.is_certain(now, debounce_us) { self.other() } else { self.debounced }
    }

    /// When the change under way becomes certain; [`Instant::NEVER`] if none is.
    #[must_use]
    pub const fn certain_at(&self, debounce_us: u64) -> Instant {
        self.other_since.plus_us(debounce_us)
    }

    /// When the bounce under way is over, whatever it comes to, if no more edge comes; in the past
    /// if none is.
    #[must_use]
    pub fn settled_at(&self, debounce_us: u64) -> Instant {
        let is_at_rest = self.other_since == Instant::NEVER;
        let since = if is_at_rest { self.back_at } else { self.other_since };
        since.plus_us(debounce_us)
    }

    /// When the change under way began; [`Instant::NEVER`] if none is.
    #[must_use]
    pub const fn other_since(&self) -> Instant {
        self.other_since
    }

    /// Takes the change that has become certain by `now`, if any.
    #[inline]
    pub fn debounce(&mut self, now: Instant, debounce_us: u64) -> Option<Change> {
        if !self.is_certain(now, debounce_us) {
            return None;
        }
        let change =
            Change { level: self.other(), at: self.other_since, bounced_from: self.bounced_from };
        self.debounced = change.level;
        self.other_since = Instant::NEVER;
        Some(change)
    }

    /// An edge to `level`; whether it ended an excursion that was too short to
    /// count. Call [`Signal::debounce`] first, with the same time and debounce time.
    #[inline]
    pub fn edge(&mut self, at: Instant, level: Level, debounce_us: u64) -> bool {
        if level == self.debounced {
            let short = self.other_since != Instant::NEVER;
            self.other_since = Instant::NEVER;
            self.back_at = at;
            short
        } else {
            let is_bouncing = at.since_us(self.back_at) < debounce_us;
            if !is_bouncing && self.other_since == Instant::NEVER {
                self.bounced_from = at;
            }
            // A second edge to the same level: one between them was lost, so the
            // level has held only from here.
            self.other_since = at;
            false
        }
    }

    fn other(&self) -> Level {
        Level::from_bool(!self.debounced.is_active())
    }

    #[inline]
    fn is_certain(&self, now: Instant, debounce_us: u64) -> bool {
        self.other_since <= now && now.since_us(self.other_since) >= debounce_us
    }
}

impl Default for Signal {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DEBOUNCE_US: u64 = 100;

    fn feed(edges: &[(u64, bool)]) -> (Signal, u32, u32) {
        let (mut signal, mut rises, mut shorts) = (Signal::new(), 0, 0);
        for (us, active) in edges {
            let at = Instant::from_us(*us);
            let rise = signal.debounce(at, DEBOUNCE_US).is_some_and(|c| c.level.is_active());
            rises += u32::from(rise);
            shorts += u32::from(signal.edge(at, Level::from_bool(*active), DEBOUNCE_US));
        }
        (signal, rises, shorts)
    }

    #[test]
    fn bounce_on_both_edges_is_one_rise() {
        let edges = [
            (1_000, true),
            (1_030, false),
            (1_050, true), // closing
            (5_000, false),
            (5_020, true),
            (5_090, false), // opening
            (9_000, true),
        ];
        let (_, rises, shorts) = feed(&edges);
        assert_eq!((rises, shorts), (1, 2));
    }

    #[test]
    fn a_spike_shorter_than_the_debounce_time_is_nothing() {
        let (signal, rises, shorts) = feed(&[(10, true), (109, false)]);
        assert_eq!((rises, shorts), (0, 1));
        assert_eq!(signal.level(Instant::from_us(500), DEBOUNCE_US), Level::Inactive);
    }

    #[test]
    fn a_change_is_dated_to_its_edge() {
        let (mut signal, ..) = feed(&[(210, true)]);
        assert_eq!(signal.debounce(Instant::from_us(309), DEBOUNCE_US), None);
        let at = Instant::from_us(210);
        let change = Change { level: Level::Active, at, bounced_from: at };
        assert_eq!(signal.debounce(Instant::from_us(310), DEBOUNCE_US), Some(change));
    }

    #[test]
    fn a_change_lies_between_the_first_and_the_last_edge_of_its_bounce() {
        let dates = |edges: &[(u64, bool)]| {
            let (mut signal, ..) = feed(edges);
            let change = signal.debounce(Instant::from_us(9_999), DEBOUNCE_US).expect("certain");
            (change.bounced_from.as_us(), change.at.as_us())
        };
        let bounce = [(1_000, true), (1_030, false), (1_090, true), (1_110, false), (1_150, true)];
        assert_eq!(dates(&bounce), (1_000, 1_150));
        assert_eq!(
            dates(&[(1_000, true), (1_030, false), (1_130, true)]),
            (1_130, 1_130),
            "a spike"
        );
        assert_eq!(dates(&[(1_000, true), (1_030, false), (1_129, true)]), (1_000, 1_129));
        assert_eq!(dates(&[(1_000, true), (1_050, true)]), (1_000, 1_050), "one edge was lost");
    }
}
