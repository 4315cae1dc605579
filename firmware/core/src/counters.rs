//! The lifetime counters: what the board measures and never resets.
//!
//! Invariants: no field ever decreases; the stitches are *derived*, as the sum of
//! the needles' and the unattributed ones, so the two cannot differ.
//!
//! Not done here: baselines, wear, and what is stated by a person (`ledger`).

/// Needle positions a board can tell apart.
pub const NEEDLES_MAX: usize = 16;

/// A needle position, counted from 1 as on the machine's head.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Needle(u8);

impl Needle {
    /// Needle `number`, 1 to [`NEEDLES_MAX`]; `None` outside that range.
    #[must_use]
    pub const fn new(number: u8) -> Option<Self> {
        if number >= 1 && number as usize <= NEEDLES_MAX { Some(Self(number)) } else { None }
    }

    /// The number on the head, 1 to 16.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// Place in an array of needles, 0 to 15.
    #[must_use]
    pub const fn index(self) -> usize {
        (self.0 - 1) as usize
    }
}

/// Everything the board counts, since it was fitted or since it was powered.
///
/// 64-bit fields do not overflow in any use; the 32-bit ones saturate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counters {
    /// Time the board was powered, ms.
    pub powered_ms: u64,
    /// Time the shaft turned: pulse gaps of at most the run gap, ms.
    pub running_ms: u64,
    /// Stitches sewn by each needle; index 0 is needle 1.
    pub needle_stitches: [u64; NEEDLES_MAX],
    /// Stitches sewn while the needle was unknown or ambiguous.
    pub unattributed_stitches: u64,
    /// Revolutions with the needle bar disengaged (0 if no jump input is wired).
    pub jumps: u64,
    /// Actuations of the thread trimmer.
    pub trims: u64,
    /// Thread breaks on each needle; index 0 is needle 1.
    pub needle_breaks: [u32; NEEDLES_MAX],
    /// Thread breaks while the needle was unknown or ambiguous.
    pub unattributed_breaks: u32,
    /// Times the board was powered up.
    pub power_ups: u32,
    /// Shaft pulses rejected as glitches or bounce.
    pub glitches: u32,
    /// Edges lost because the capture queue was full.
    pub missed_edges: u32,
}

impl Counters {
    /// All stitches: the needles' and the unattributed ones.
    #[must_use]
    pub fn stitches(&self) -> u64 {
        self.needle_stitches
            .iter()
            .fold(self.unattributed_stitches, |sum, n| sum.saturating_add(*n))
    }

    /// All thread breaks: the needles' and the unattributed ones.
    #[must_use]
    pub fn breaks(&self) -> u32 {
        self.needle_breaks.iter().fold(self.unattributed_breaks, |sum, n| sum.saturating_add(*n))
    }

    /// `self` plus what was counted in `session`, field by field.
    #[must_use]
    pub fn plus(&self, session: &Self) -> Self {
        let mut sum = *self;
        sum.merge(session, Merge::Add);
        sum
    }

    /// What was counted between `earlier` and `self`, field by field; a field that
    /// went down (it cannot on a sound board) gives 0.
    #[must_use]
    pub fn since(&self, earlier: &Self) -> Self {
        let mut delta = *self;
        delta.merge(earlier, Merge::TakeAway);
        delta
    }

    /// The greater of each field.
    #[must_use]
    pub fn most(&self, other: &Self) -> Self {
        let mut most = *self;
        most.merge(other, Merge::RaiseTo);
        most
    }

    /// Whether no field of `self` is above the same field of `other`.
    #[must_use]
    pub fn at_most(&self, other: &Self) -> bool {
        (0..field::END).all(|n| self.get(n) <= other.get(n))
    }

    /// Merges `other` into `self`, field by field, in place.
    pub fn merge(&mut self, other: &Self, how: Merge) {
        let wide = |a: &mut u64, b: u64| {
            *a = match how {
                Merge::Add => a.saturating_add(b),
                Merge::TakeAway => a.saturating_sub(b),
                Merge::RaiseTo => (*a).max(b),
            }
        };
        let narrow = |a: &mut u32, b: u32| {
            *a = match how {
                Merge::Add => a.saturating_add(b),
                Merge::TakeAway => a.saturating_sub(b),
                Merge::RaiseTo => (*a).max(b),
            }
        };
        wide(&mut self.powered_ms, other.powered_ms);
        wide(&mut self.running_ms, other.running_ms);
        for (a, b) in self.needle_stitches.iter_mut().zip(&other.needle_stitches) {
            wide(a, *b);
        }
        wide(&mut self.unattributed_stitches, other.unattributed_stitches);
        wide(&mut self.jumps, other.jumps);
        wide(&mut self.trims, other.trims);
        for (a, b) in self.needle_breaks.iter_mut().zip(&other.needle_breaks) {
            narrow(a, *b);
        }
        narrow(&mut self.unattributed_breaks, other.unattributed_breaks);
        narrow(&mut self.power_ups, other.power_ups);
        narrow(&mut self.glitches, other.glitches);
        narrow(&mut self.missed_edges, other.missed_edges);
    }

    /// Counter `n`, in the order of [`field`]; 0 beyond.
    #[must_use]
    pub fn get(&self, n: usize) -> u64 {
        if let Some(stitches) = self.needle_stitches.get(n.wrapping_sub(field::NEEDLE_STITCHES)) {
            return *stitches;
        }
        if let Some(breaks) = self.needle_breaks.get(n.wrapping_sub(field::NEEDLE_BREAKS)) {
            return u64::from(*breaks);
        }
        match n {
            field::POWERED_MS => self.powered_ms,
            field::RUNNING_MS => self.running_ms,
            field::TRIMS => self.trims,
            field::UNATTRIBUTED_STITCHES => self.unattributed_stitches,
            field::JUMPS => self.jumps,
            field::POWER_UPS => u64::from(self.power_ups),
            field::GLITCHES => u64::from(self.glitches),
            field::MISSED_EDGES => u64::from(self.missed_edges),
            field::UNATTRIBUTED_BREAKS => u64::from(self.unattributed_breaks),
            _ => 0,
        }
    }

    /// Sets counter `n`, in the order of [`field`]; the narrow ones take the low 32
    /// bits. Only for decoders.
    pub fn set(&mut self, n: usize, value: u64) {
        if let Some(stitches) = self.needle_stitches.get_mut(n.wrapping_sub(field::NEEDLE_STITCHES))
        {
            *stitches = value;
            return;
        }
        if let Some(breaks) = self.needle_breaks.get_mut(n.wrapping_sub(field::NEEDLE_BREAKS)) {
            *breaks = value as u32;
            return;
        }
        match n {
            field::POWERED_MS => self.powered_ms = value,
            field::RUNNING_MS => self.running_ms = value,
            field::TRIMS => self.trims = value,
            field::UNATTRIBUTED_STITCHES => self.unattributed_stitches = value,
            field::JUMPS => self.jumps = value,
            field::POWER_UPS => self.power_ups = value as u32,
            field::GLITCHES => self.glitches = value as u32,
            field::MISSED_EDGES => self.missed_edges = value as u32,
            field::UNATTRIBUTED_BREAKS => self.unattributed_breaks = value as u32,
            _ => {}
        }
    }
}

/// How one set of counters is merged into another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Merge {
    /// The sum, saturating.
    Add,
    /// The difference, saturating at 0.
    TakeAway,
    /// The greater.
    RaiseTo,
}

/// Numbers of the counters, for walks over them in the codecs.
pub mod field {
    use super::NEEDLES_MAX;

    /// Powered time.
    pub const POWERED_MS: usize = 0;
    /// Running time.
    pub const RUNNING_MS: usize = 1;
    /// Trims.
    pub const TRIMS: usize = 2;
    /// Power-ups.
    pub const POWER_UPS: usize = 3;
    /// Stitches of no known needle.
    pub const UNATTRIBUTED_STITCHES: usize = 4;
    /// Stitches of needle 1; those of the others follow.
    pub const NEEDLE_STITCHES: usize = 5;
    /// Jumps.
    pub const JUMPS: usize = NEEDLE_STITCHES + NEEDLES_MAX;
    /// Glitches.
    pub const GLITCHES: usize = JUMPS + 1;
    /// Missed edges.
    pub const MISSED_EDGES: usize = GLITCHES + 1;
    /// Thread breaks on no known needle.
    pub const UNATTRIBUTED_BREAKS: usize = MISSED_EDGES + 1;
    /// Thread breaks of needle 1; those of the others follow.
    pub const NEEDLE_BREAKS: usize = UNATTRIBUTED_BREAKS + 1;
    /// One more than the last.
    pub const END: usize = NEEDLE_BREAKS + NEEDLES_MAX;
}
