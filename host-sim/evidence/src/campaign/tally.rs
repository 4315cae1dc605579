//! The figures of one run, and the same figures folded over many runs.
//!
//! Invariant: folding only adds, takes the maximum, or unites sets, so it does not matter how
//! runs are grouped: a campaign in parts adds up to the whole.

use serde::{Deserialize, Serialize};
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::{Fault, FaultSet};

use super::kind::{FaultKind, KindSet};
use super::part_shape::PartShape;
use super::state::{MetState, StateSet};

/// Width of a bin of running time lost, ms.
pub const LOST_BIN_MS: u64 = 250;
/// Bins of running time lost: 0 to 12 s, the last one takes all above.
pub const LOST_BINS: usize = 49;
/// Width of a bin of boot time, µs.
pub const BOOT_BIN_US: u64 = 2_000;
/// Bins of boot time: 0 to 198 ms, the last one takes all above.
pub const BOOT_BINS: usize = 100;
/// Pages of the reference part.
pub const PAGES: usize = 512;

/// Named faults, as a set that can be stored.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Named(u16);

impl Named {
    /// All of both.
    #[must_use]
    pub fn with(self, faults: FaultSet) -> Self {
        Self(faults.iter().fold(self.0, |bits, fault| bits | 1 << fault.number()))
    }

    /// All of both.
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// The faults, in the order of their numbers.
    pub fn iter(self) -> impl Iterator<Item = Fault> {
        Fault::ALL.into_iter().filter(move |fault| self.0 >> fault.number() & 1 == 1)
    }
}

/// One cut, judged.
#[derive(Clone, Copy, Debug)]
pub struct Cut {
    /// A warning came long enough before it.
    pub is_warned: bool,
    /// Bus and part were sound.
    pub is_sound: bool,
    /// What was lost.
    pub lost: Counters,
    /// From power-up until writing could begin, µs.
    pub ready_us: Option<u64>,
    /// Bytes read until then.
    pub bytes_read: u64,
}

/// How often each kind of fault met each state.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Hits(Vec<Vec<u64>>);

impl Default for Hits {
    fn default() -> Self {
        Self(vec![vec![0; MetState::ALL.len()]; FaultKind::ALL.len()])
    }
}

impl Hits {
    /// Hits of `kind` in `state`.
    #[must_use]
    pub fn of(&self, kind: FaultKind, state: MetState) -> u64 {
        self.0.get(kind.index()).and_then(|row| row.get(state.index())).copied().unwrap_or(0)
    }

    /// Hits of any kind in `state`.
    #[must_use]
    pub fn of_state(&self, state: MetState) -> u64 {
        FaultKind::ALL.into_iter().map(|kind| self.of(kind, state)).sum()
    }

    /// Hits of cuts and resets in `state`.
    #[must_use]
    pub fn of_cuts(&self, state: MetState) -> u64 {
        let cuts = FaultKind::ALL.into_iter().filter(|kind| kind.ends_power_up());
        cuts.map(|kind| self.of(kind, state)).sum()
    }

    fn add(&mut self, kind: FaultKind, states: StateSet) {
        for state in states.iter() {
            self.0[kind.index()][state.index()] += 1;
        }
    }

    fn fold(&mut self, other: &Self) {
        for (row, others) in self.0.iter_mut().zip(&other.0) {
            row.iter_mut().zip(others).for_each(|(sum, n)| *sum += n);
        }
    }
}

/// Figures of one run or of many.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tally {
    /// Kinds of fault that came.
    pub kinds: KindSet,
    /// Cuts judged.
    pub cuts: u64,
    /// How often each kind met each state.
    pub hits: Hits,
    /// Running time lost at cuts without warning on a sound part, by bins of
    /// [`LOST_BIN_MS`].
    pub lost_bins: Vec<u64>,
    /// Most running time lost at one such cut, ms.
    pub lost_running_ms: u64,
    /// Most trims lost at one such cut.
    pub lost_trims: u64,
    /// Most powered time lost at one such cut, ms.
    pub lost_powered_ms: u64,
    /// Cuts with a long enough warning on a sound part, and stitches lost at them.
    pub warned_cuts: u64,
    /// See [`Tally::warned_cuts`].
    pub warned_lost_stitches: u64,
    /// Boot times, by bins of [`BOOT_BIN_US`].
    pub boot_bins: Vec<u64>,
    /// Longest boot, µs.
    pub boot_us: u64,
    /// Most bytes read at a boot.
    pub boot_bytes: u64,
    /// Program cycles of each page of reference parts.
    pub wear: Vec<u64>,
    /// Program cycles of parts of other shapes.
    pub other_programs: u64,
    /// Program cycles of the hottest page of one of them.
    pub other_hottest: u64,
    /// Revolutions of the shaft in lives.
    pub stitches: u64,
    /// Faults that were named.
    pub named: Named,
}

impl Default for Tally {
    fn default() -> Self {
        Self {
            kinds: KindSet::default(),
            cuts: 0,
            hits: Hits::default(),
            lost_bins: vec![0; LOST_BINS],
            lost_running_ms: 0,
            lost_trims: 0,
            lost_powered_ms: 0,
            warned_cuts: 0,
            warned_lost_stitches: 0,
            boot_bins: vec![0; BOOT_BINS],
            boot_us: 0,
            boot_bytes: 0,
            wear: vec![0; PAGES],
            other_programs: 0,
            other_hottest: 0,
            stitches: 0,
            named: Named::default(),
        }
    }
}

impl Tally {
    /// Notes that a fault of `kind` met `states`.
    pub fn hit(&mut self, kind: FaultKind, states: StateSet) {
        self.hits.add(kind, states);
    }

    /// Notes a cut.
    pub fn note_cut(&mut self, cut: &Cut) {
        self.cuts += 1;
        if let Some(ready_us) = cut.ready_us {
            self.note_boot(ready_us, cut.bytes_read);
        }
        if cut.is_sound && cut.is_warned {
            self.warned_cuts += 1;
            self.warned_lost_stitches += cut.lost.stitches();
        } else if cut.is_sound {
            let bin = (cut.lost.running_ms / LOST_BIN_MS) as usize;
            self.lost_bins[bin.min(LOST_BINS - 1)] += 1;
            self.lost_running_ms = self.lost_running_ms.max(cut.lost.running_ms);
            self.lost_trims = self.lost_trims.max(cut.lost.trims);
            self.lost_powered_ms = self.lost_powered_ms.max(cut.lost.powered_ms);
        }
    }

    /// Notes a start that took `ready_us` and read so many bytes.
    pub fn note_boot(&mut self, ready_us: u64, bytes_read: u64) {
        self.boot_bins[((ready_us / BOOT_BIN_US) as usize).min(BOOT_BINS - 1)] += 1;
        self.boot_us = self.boot_us.max(ready_us);
        self.boot_bytes = self.boot_bytes.max(bytes_read);
    }

    /// Notes the cycles of each page of `part` since the run began.
    pub fn note_wear(&mut self, part: &PartShape, before: &[u32], after: &[u32]) {
        if !part.is_reference() {
            for (before, after) in before.iter().zip(after) {
                let cycles = u64::from(after.saturating_sub(*before));
                self.other_programs += cycles;
                self.other_hottest = self.other_hottest.max(cycles);
            }
            return;
        }
        for ((sum, before), after) in self.wear.iter_mut().zip(before).zip(after) {
            *sum += u64::from(after.saturating_sub(*before));
        }
    }

    /// Program cycles of all pages.
    #[must_use]
    pub fn programs(&self) -> u64 {
        self.wear.iter().sum::<u64>() + self.other_programs
    }

    /// Program cycles of the hottest page of a run.
    #[must_use]
    pub fn hottest_page(&self) -> u64 {
        self.wear.iter().copied().max().unwrap_or(0).max(self.other_hottest)
    }

    /// Adds another's figures.
    pub fn fold(&mut self, other: &Self) {
        let add = |sums: &mut Vec<u64>, others: &[u64]| {
            sums.iter_mut().zip(others).for_each(|(sum, n)| *sum += n);
        };
        self.kinds = self.kinds.with(other.kinds);
        self.cuts += other.cuts;
        self.hits.fold(&other.hits);
        add(&mut self.lost_bins, &other.lost_bins);
        self.lost_running_ms = self.lost_running_ms.max(other.lost_running_ms);
        self.lost_trims = self.lost_trims.max(other.lost_trims);
        self.lost_powered_ms = self.lost_powered_ms.max(other.lost_powered_ms);
        self.warned_cuts += other.warned_cuts;
        self.warned_lost_stitches += other.warned_lost_stitches;
        add(&mut self.boot_bins, &other.boot_bins);
        self.boot_us = self.boot_us.max(other.boot_us);
        self.boot_bytes = self.boot_bytes.max(other.boot_bytes);
        add(&mut self.wear, &other.wear);
        self.other_programs += other.other_programs;
        self.other_hottest = self.other_hottest.max(other.other_hottest);
        self.stitches += other.stitches;
        self.named = self.named.or(other.named);
    }
}
