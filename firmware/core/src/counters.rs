//! The lifetime counters: what the board measures and never resets.
//!
//! Invariants: no field ever decreases; the stitches are *derived*, as the sum of
//! the needles' and the unattributed ones, so the two cannot differ.
//!
//! Not done here: baselines and wear (`wear`), what is stated by a person
//! (`CarriedIn` in `profile`).

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
        self.zip(session, u64::saturating_add, u32::saturating_add)
    }

    /// What was counted between `earlier` and `self`, field by field; a field that
    /// went down (it cannot on a sound board) gives 0.
    #[must_use]
    pub fn since(&self, earlier: &Self) -> Self {
        self.zip(earlier, u64::saturating_sub, u32::saturating_sub)
    }

    /// The greater of each field.
    #[must_use]
    pub fn most(&self, other: &Self) -> Self {
        self.zip(other, u64::max, u32::max)
    }

    /// Whether no field of `self` is above the same field of `other`.
    #[must_use]
    pub fn at_most(&self, other: &Self) -> bool {
        self.since(other) == Self::default()
    }

    fn zip(
        &self,
        other: &Self,
        wide: impl Fn(u64, u64) -> u64,
        narrow: impl Fn(u32, u32) -> u32,
    ) -> Self {
        Self {
            powered_ms: wide(self.powered_ms, other.powered_ms),
            running_ms: wide(self.running_ms, other.running_ms),
            needle_stitches: core::array::from_fn(|n| {
                wide(self.needle_stitches[n], other.needle_stitches[n])
            }),
            unattributed_stitches: wide(self.unattributed_stitches, other.unattributed_stitches),
            jumps: wide(self.jumps, other.jumps),
            trims: wide(self.trims, other.trims),
            needle_breaks: core::array::from_fn(|n| {
                narrow(self.needle_breaks[n], other.needle_breaks[n])
            }),
            unattributed_breaks: narrow(self.unattributed_breaks, other.unattributed_breaks),
            power_ups: narrow(self.power_ups, other.power_ups),
            glitches: narrow(self.glitches, other.glitches),
            missed_edges: narrow(self.missed_edges, other.missed_edges),
        }
    }
}
