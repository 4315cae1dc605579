//! A cut of the supply that waits for its moment.

/// When the supply will go, and whether it has gone.
#[derive(Clone, Copy, Debug)]
pub(super) struct ArmedCut {
    /// Bytes on the bus, counted from the beginning, after which it goes.
    pub(super) at_byte: u64,
    /// Simulated time at which it goes, ns.
    pub(super) at_ns: u64,
    /// Whether a write that is cut before its Stop tears the page all the same.
    pub(super) tears_before_stop: bool,
    /// Whether it has gone.
    pub(super) is_done: bool,
}

impl ArmedCut {
    /// No cut.
    pub(super) const NONE: Self =
        Self { at_byte: u64::MAX, at_ns: u64::MAX, tears_before_stop: false, is_done: false };

    /// Whether `count` bytes that end at `end_ns`, after `done` bytes on the bus, all
    /// pass with supply to spare.
    #[inline]
    pub(super) fn spares(&self, done: u64, count: u64, end_ns: u64) -> bool {
        done + count < self.at_byte && end_ns < self.at_ns
    }
}
