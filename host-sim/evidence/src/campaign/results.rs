//! The results of a campaign, read back from its stream: what every report is made from.
//!
//! Invariant: memory is bounded, however many runs there are. Figures are folded, and only the
//! first rows that failed are kept.

use std::path::Path;

use super::kind::FaultKind;
use super::row::RunRow;
use super::state::MetState;
use super::stream::{Reader, StreamHeader};
use super::tally::Tally;
use crate::prove::sabotage::Sabotage;
use shaftbook_world::input_error::InputError;

/// Failing runs that are kept.
pub const FAILURES_KEPT: usize = 50;

/// Runs, and how many of them failed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RunCount {
    /// Runs.
    pub runs: u64,
    /// Of them failed.
    pub failed: u64,
}

impl RunCount {
    fn add(&mut self, row: &RunRow) {
        self.runs += 1;
        self.failed += u64::from(row.seen.is_some());
    }
}

/// A campaign's results.
#[derive(Clone, Debug, PartialEq)]
pub struct Results {
    /// What was run.
    pub header: StreamHeader,
    /// All runs.
    pub all: RunCount,
    /// By scenario, in the plan's order.
    pub shops: Vec<RunCount>,
    /// By kind of fault, in the order of [`FaultKind::ALL`]: runs in which it came.
    pub kinds: Vec<RunCount>,
    /// All figures.
    pub tally: Tally,
    /// Chunks that are there.
    pub chunks: u64,
    /// The first runs that failed, at most [`FAILURES_KEPT`].
    pub failures: Vec<RunRow>,
}

impl Results {
    /// Reads the stream `path`.
    ///
    /// # Errors
    /// It cannot be read, or is none.
    pub fn read(path: &Path) -> Result<Self, InputError> {
        let mut reader = Reader::open(path)?;
        let mut it = Self {
            all: RunCount::default(),
            shops: vec![RunCount::default(); reader.header.plan.shops.len()],
            kinds: vec![RunCount::default(); FaultKind::ALL.len()],
            tally: Tally::default(),
            chunks: 0,
            failures: Vec::new(),
            header: reader.header.clone(),
        };
        let mut rows = Vec::new();
        while let Some(chunk) = reader.next_chunk(|row| rows.push(row))? {
            it.chunks += 1;
            it.tally.fold(&chunk.tally);
            rows.drain(..).for_each(|row| it.add(row));
        }
        Ok(it)
    }

    fn add(&mut self, row: RunRow) {
        self.all.add(&row);
        if let Some(count) = self.shops.get_mut(row.shop as usize) {
            count.add(&row);
        }
        for kind in row.kinds.iter() {
            self.kinds[kind.index()].add(&row);
        }
        if row.seen.is_some() && self.failures.len() < FAILURES_KEPT {
            self.failures.push(row);
        }
    }

    /// Whether all runs of the part are there.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        let header = &self.header;
        let chunks = (0..header.chunks()).filter(|chunk| header.shard.has(*chunk)).count();
        self.chunks == chunks as u64
    }

    /// States that no fault has met.
    #[must_use]
    pub fn unvisited(&self) -> Vec<MetState> {
        MetState::ALL.into_iter().filter(|state| self.tally.hits.of_state(*state) == 0).collect()
    }

    /// States that the plan requires and no cut or reset has met. Of a part of a campaign
    /// nothing is required.
    #[must_use]
    pub fn missing(&self) -> Vec<MetState> {
        let required = self.header.plan.required.iter().filter_map(|name| MetState::named(name));
        let missing = required.filter(|state| self.tally.hits.of_cuts(*state) == 0);
        if self.header.shard.of == 1 { missing.collect() } else { Vec::new() }
    }

    /// Whether every run held, and every state that is required was met.
    #[must_use]
    pub fn held(&self) -> bool {
        self.all.failed == 0 && (!self.is_complete() || self.missing().is_empty())
    }
}

impl Results {
    /// The command that plays run `row` again, shrinks it and writes it to a file.
    #[must_use]
    pub fn replay(&self, row: &RunRow, file: &str) -> String {
        let plan = &self.header.plan;
        // A brought store's own program plays its runs, without naming it.
        let broken = self.header.subject.parse::<&'static Sabotage>();
        let board = broken.map(|board| format!(" --board {}", board.name)).unwrap_or_default();
        format!("shaftbook campaign {file} --seed {}{board} --run {}", plan.seed, row.run)
    }
}
