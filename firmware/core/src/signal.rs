//! One digital signal made trustworthy: a level counts once it has held for the
//! debounce time.
//!
//! Invariants: a spike or bounce shorter than the debounce time never changes the
//! debounced level; a change is dated to the edge that began it, not to the moment
//! at which it became certain; the same edges give the same result whether the
//! board looks in between or not.

use crate::input::Level;
use crate::time::Instant;

/// A debounced change of a signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Change {
    /// The new level.
    pub level: Level,
    /// The edge that began it.
    pub at: Instant,
}

/// A signal with its debounce time.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Signal {
    debounced: Level,
    /// When the other level began, or [`Instant::NEVER`].
    other_since: Instant,
}

impl Signal {
    /// A signal at rest.
    #[must_use]
    pub const fn new() -> Self {
        Self { debounced: Level::Inactive, other_since: Instant::NEVER }
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

    /// Takes the change that has become certain by `now`, if any.
    #[inline]
    pub fn debounce(&mut self, now: Instant, debounce_us: u64) -> Option<Change> {
        if !self.is_certain(now, debounce_us) {
            return None;
        }
        let change = Change { level: self.other(), at: self.other_since };
        self.debounced = change.level;
        self.other_since = Instant::NEVER;
        Some(change)
    }

    /// An edge to `level`; whether it ended an excursion that was too short to
    /// count. Call [`Signal::debounce`] first, with the same time.
    #[inline]
    pub fn edge(&mut self, at: Instant, level: Level) -> bool {
        if level == self.debounced {
            let short = self.other_since != Instant::NEVER;
            self.other_since = Instant::NEVER;
            short
        } else {
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
            shorts += u32::from(signal.edge(at, Level::from_bool(*active)));
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
        let (mut signal, ..) = feed(&[(10, true)]);
        assert_eq!(signal.debounce(Instant::from_us(109), DEBOUNCE_US), None);
        let change = Change { level: Level::Active, at: Instant::from_us(10) };
        assert_eq!(signal.debounce(Instant::from_us(110), DEBOUNCE_US), Some(change));
    }
}
