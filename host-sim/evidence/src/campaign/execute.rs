//! Runs a campaign, or a part of one, chunk by chunk, over all cores.
//!
//! Invariant: what is written for a chunk depends on the plan alone, not on the number of
//! cores, the time, or what ran before.

use std::time::Instant;

use rayon::prelude::*;

use super::draw::{draw, run_seed};
use super::row::RunRow;
use super::runner::Runner;
use super::stream::{Chunk, StreamHeader, Writer};
use super::tally::Tally;
use shaftbook_world::input_error::InputError;

/// After how much work to stop, though the campaign is not complete.
#[derive(Clone, Copy, Debug, Default)]
pub struct Budget {
    /// Not before so many cuts were judged.
    pub cases: Option<u64>,
    /// Not before this time.
    pub until: Option<Instant>,
}

/// What was done now.
#[derive(Clone, Copy, Debug, Default)]
pub struct Done {
    /// Runs.
    pub runs: u64,
    /// Cuts judged.
    pub cases: u64,
    /// Whether all of the part is there.
    pub is_complete: bool,
}

/// Runs the chunks of a part that are not there yet: all but the first `has`. After each
/// chunk `progress` gets the runs done of the part, and how many of them failed now.
///
/// # Errors
/// The results cannot be written.
pub fn execute(
    header: &StreamHeader,
    runner: &dyn Runner,
    writer: &mut Writer,
    has: u64,
    budget: Budget,
    mut progress: impl FnMut(u64, u64),
) -> Result<Done, InputError> {
    let chunks: Vec<u64> = (0..header.chunks()).filter(|chunk| header.shard.has(*chunk)).collect();
    let length = |chunk: &u64| header.runs(*chunk).end - header.runs(*chunk).start;
    let (there, to_do) = chunks.split_at((has as usize).min(chunks.len()));
    let mut done = Done { is_complete: true, ..Done::default() };
    let (mut runs, mut failed) = (there.iter().map(length).sum(), 0);
    // Chunks of few runs are played together, so that no core waits for the others' last run.
    let at_once = rayon::current_num_threads().div_ceil(header.plan.chunk_runs() as usize);
    for together in to_do.chunks(at_once.max(1)) {
        // One chunk at least: a campaign that is started again and again comes to its end.
        let is_spent = done.runs > 0
            && (budget.cases.is_some_and(|cases| done.cases >= cases)
                || budget.until.is_some_and(|until| Instant::now() >= until));
        if is_spent {
            done.is_complete = false;
            break;
        }
        let numbers: Vec<u64> = together.iter().flat_map(|chunk| header.runs(*chunk)).collect();
        let played: Vec<(RunRow, Tally)> = numbers
            .into_par_iter()
            .with_max_len(1)
            .map(|run| {
                let (shop, script) = draw(&header.plan, run);
                let ran = runner.play(&script);
                let row = RunRow::of(run, run_seed(&header.plan, run), shop, &script, &ran);
                (row, ran.tally)
            })
            .collect();
        let mut played = played.into_iter();
        for number in together {
            let mut tally = Tally::default();
            let mut rows = Vec::new();
            for (row, figures) in played.by_ref().take(length(number) as usize) {
                tally.fold(&figures);
                failed += u64::from(row.seen.is_some());
                rows.push(row);
            }
            done.runs += rows.len() as u64;
            done.cases += tally.cuts;
            runs += rows.len() as u64;
            writer.chunk(rows, Chunk { number: *number, tally })?;
        }
        progress(runs, failed);
    }
    Ok(done)
}
