//! What a cut without warning may cost.

use shaftbook_core::counters::Counters;
use shaftbook_core::settings::Settings;

/// The most that a cut without warning may cost, on a sound part: one checkpoint, as a
/// new board is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Running time, ms.
    pub running_ms: u64,
    /// Trims.
    pub trims: u64,
    /// Powered time, ms.
    pub powered_ms: u64,
}

impl Bounds {
    /// From the settings of a new board.
    #[must_use]
    pub fn get() -> Self {
        let settings = Settings::default();
        Self {
            running_ms: u64::from(settings.checkpoint_running_s) * 1_000,
            trims: u64::from(settings.checkpoint_trims),
            powered_ms: u64::from(settings.checkpoint_powered_s) * 1_000,
        }
    }

    /// Whether `lost` is within them.
    #[must_use]
    pub const fn hold(&self, lost: &Counters) -> bool {
        lost.running_ms <= self.running_ms
            && lost.trims <= self.trims
            && lost.powered_ms <= self.powered_ms
    }

    /// Twice as much: a damaged page may cost the checkpoint in it besides.
    #[must_use]
    pub const fn doubled(&self) -> Self {
        Self {
            running_ms: 2 * self.running_ms,
            trims: 2 * self.trims,
            powered_ms: 2 * self.powered_ms,
        }
    }
}
