//! A campaign's results in a page of text.

use std::fmt::Write as _;

use super::kind::FaultKind;
use super::report::median_bin;
use super::results::{Results, RunCount};
use super::state::MetState;
use super::tally::BOOT_BIN_US;
use shaftbook_world::figures::grouped;
use shaftbook_world::judge::{Bounds, LONG_HOLD_UP_MS};

/// Failing runs that are shown.
const SHOWN: usize = 5;

/// The page. `file` is the campaign file, for the commands that play a failing run again.
#[must_use]
pub fn text(results: &Results, file: &str) -> String {
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = head(&mut text, results);
    let _ = figures(&mut text, results);
    let _ = counts(&mut text, results);
    let _ = coverage(&mut text, results);
    let _ = failures(&mut text, results, file);
    text
}

fn head(text: &mut String, results: &Results) -> std::fmt::Result {
    let header = &results.header;
    let plan = &header.plan;
    let part =
        if header.shard.of == 1 { String::new() } else { format!(", part {}", header.shard) };
    writeln!(
        text,
        "{} (seed {}{part}) on {}: {} of {} runs, {} cuts judged",
        plan.name,
        plan.seed,
        header.subject,
        grouped(results.all.runs),
        grouped(plan.runs),
        grouped(results.tally.cuts),
    )?;
    let missing = results.missing();
    if results.all.failed > 0 {
        writeln!(text, "FAILED: {} runs did not hold", grouped(results.all.failed))?;
    } else if !results.is_complete() {
        writeln!(text, "held so far, not complete: the same command goes on")?;
    } else if missing.is_empty() {
        writeln!(text, "held: every run did")?;
    } else {
        let names: Vec<_> = missing.iter().map(|state| state.name()).collect();
        writeln!(text, "FAILED: no cut met the state {}, which is required", names.join(", "))?;
    }
    Ok(())
}

/// Seconds with three digits.
fn seconds(ms: u64) -> String {
    format!("{}.{:03} s", grouped(ms / 1_000), ms % 1_000)
}

fn figures(text: &mut String, results: &Results) -> std::fmt::Result {
    let (tally, bounds) = (&results.tally, Bounds::PROMISED);
    let sound: u64 = tally.lost_bins.iter().sum();
    writeln!(
        text,
        "\nlost at {} cuts without warning, bus and part sound, at most",
        grouped(sound)
    )?;
    // In lives the checkpoint intervals are drawn, and judged as they were fitted.
    let is_fitted = results.header.plan.lives.is_some();
    let bound = |figure: u64, unit: &str| {
        if is_fitted {
            String::from("(bound as fitted)")
        } else {
            format!("(bound {figure}{unit})")
        }
    };
    let running = seconds(tally.lost_running_ms);
    writeln!(text, "  running time  {running} {}", bound(bounds.running_ms / 1_000, " s"))?;
    writeln!(text, "  trims         {} {}", tally.lost_trims, bound(bounds.trims, ""))?;
    let powered = seconds(tally.lost_powered_ms);
    writeln!(text, "  powered time  {powered} {}", bound(bounds.powered_ms / 1_000, " s"))?;
    writeln!(
        text,
        "at {} cuts warned {LONG_HOLD_UP_MS} ms before or more: {} stitches lost",
        grouped(tally.warned_cuts),
        grouped(tally.warned_lost_stitches)
    )?;
    writeln!(
        text,
        "boot: half of them within {} ms, the longest {} ms; at most {} bytes read",
        median_bin(&tally.boot_bins).map_or(0, |bin| bin as u64 + 1) * BOOT_BIN_US / 1_000,
        grouped(tally.boot_us.div_ceil(1_000)),
        grouped(tally.boot_bytes)
    )?;
    let (programs, hottest) =
        (tally.wear.iter().sum::<u64>(), tally.wear.iter().copied().max().unwrap_or(0));
    let mean = programs as f64 / tally.wear.len() as f64;
    let over = if programs == 0 { 1.0 } else { hottest as f64 / mean };
    writeln!(
        text,
        "wear: {} program cycles; hottest page over mean {over:.2} (runs start at drawn places)",
        grouped(programs)
    )?;
    if tally.other_programs > 0 {
        let other = grouped(tally.other_programs);
        writeln!(text, "      {other} program cycles of parts of other shapes")?;
    }
    if tally.stitches > 0 {
        writeln!(text, "lived: {} revolutions of the shaft", grouped(tally.stitches))?;
    }
    Ok(())
}

fn counts(text: &mut String, results: &Results) -> std::fmt::Result {
    let row = |text: &mut String, name: &str, count: &RunCount| {
        writeln!(text, "{name:<32} {:>12} {:>8}", grouped(count.runs), grouped(count.failed))
    };
    writeln!(text, "\n{:<32} {:>12} {:>8}", "scenario", "runs", "failed")?;
    for (shop, count) in results.header.plan.shops.iter().zip(&results.shops) {
        row(text, &shop.name, count)?;
    }
    writeln!(text, "\n{:<32} {:>12} {:>8}", "kind of fault", "runs", "failed")?;
    for kind in FaultKind::ALL {
        row(text, kind.name(), &results.kinds[kind.index()])?;
    }
    Ok(())
}

fn coverage(text: &mut String, results: &Results) -> std::fmt::Result {
    let hits = &results.tally.hits;
    let met = MetState::ALL.iter().filter(|state| hits.of_cuts(**state) > 0).count();
    writeln!(
        text,
        "\ncoverage: {met} of {} states met by a cut or a reset\n{:<20} {:>10} {:>12}",
        MetState::ALL.len(),
        "state",
        "cuts",
        "all faults"
    )?;
    for state in MetState::ALL {
        let (cuts, all) = (hits.of_cuts(state), hits.of_state(state));
        let never = if cuts == 0 { "  never met by a cut" } else { "" };
        writeln!(text, "{:<20} {:>10} {:>12}{never}", state.name(), grouped(cuts), grouped(all))?;
    }
    Ok(())
}

fn failures(text: &mut String, results: &Results, file: &str) -> std::fmt::Result {
    for row in results.failures.iter().take(SHOWN) {
        let seen = row.seen.as_deref().unwrap_or_default();
        writeln!(text, "\nrun {}: {seen}\n  again: {}", row.run, results.replay(row, file))?;
    }
    let more = results.all.failed.saturating_sub(SHOWN as u64);
    if more > 0 {
        writeln!(text, "\nand {} more", grouped(more))?;
    }
    Ok(())
}
