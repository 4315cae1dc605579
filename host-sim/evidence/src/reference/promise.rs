//! What a cut may leave of the counts (`docs/FAULT_MODEL.md`, *Warnings*).

use super::machine::{Counted, Counts, Wiring};

/// A warning is answered within this, with as much again for a program cycle under way, µs.
pub const HOLD_UP_US: u64 = 40_000;
/// Warnings in a row that are sure to be answered at once.
pub const AT_ONCE: u32 = 4;
/// From then on one answer in this, µs.
pub const PAUSE_US: u64 = 1_000_000;
/// After this without a warning they are answered at once again, µs.
pub const CALM_US: u64 = 11_000_000;

/// Which warnings are sure to be answered.
#[derive(Clone, Debug, Default)]
pub struct Warnings {
    since_calm: u32,
    last_us: u64,
    stands_since_us: Option<u64>,
    is_sure: bool,
}

impl Warnings {
    /// The line of the warning changes. A second edge to the same level changes nothing.
    pub fn edge(&mut self, at_us: u64, level: bool) {
        match (level, self.stands_since_us) {
            (true, None) => {
                if at_us - self.last_us >= CALM_US {
                    self.since_calm = 0;
                }
                self.is_sure = self.since_calm < AT_ONCE || at_us - self.last_us >= 2 * PAUSE_US;
                self.since_calm += 1;
                self.stands_since_us = Some(at_us);
            }
            (false, Some(_)) => {
                self.stands_since_us = None;
                self.last_us = at_us;
            }
            _ => {}
        }
    }

    /// Up to when all that was counted is durable at a cut at `at_us`, because of a warning.
    #[must_use]
    pub fn answered(&self, at_us: u64) -> Option<u64> {
        let since_us = self.stands_since_us?;
        (self.is_sure && at_us - since_us >= HOLD_UP_US).then_some(since_us)
    }
}

/// Whether `found` after a cut is one that is allowed: what the board had counted at one moment
/// between what it said was durable and the cut, and not too long ago.
///
/// `at` gives the counts at a moment of powered time, ms, at its begin and its end.
///
/// # Errors
/// What is not, in a sentence.
pub fn may_be_found(
    found: &Counts,
    durable: &Counts,
    cut: &Counted,
    wiring: &Wiring,
    at: impl Fn(u64) -> Option<(Counted, Counted)>,
) -> Result<(), String> {
    let truth = cut.counts;
    for ((name, found), (_, durable)) in found.named().iter().zip(durable.named()) {
        if *found < durable {
            return Err(format!("{name} after a cut: {found}, {durable} was durable"));
        }
    }
    let Some((least, most)) = at(found.powered_ms) else {
        let (found, most) = (found.powered_ms, truth.powered_ms);
        return Err(format!("powered ms after a cut: {found} of {most}"));
    };
    // Jumps, breaks and glitches are in checkpoints only, which may be older.
    let exact = ["running ms", "trims", "power-ups"];
    for (n, (name, found)) in found.named().iter().enumerate() {
        let of = |all: &Counted| all.counts.named()[n].1;
        let is_maybe = name.contains("needle");
        let (low, high) = if exact.contains(&name.as_str()) {
            (of(&least), of(&most))
        } else if is_maybe {
            let room = most.maybe.iter().chain(&most.maybe_breaks).sum::<u64>();
            (0, of(&most) + room)
        } else {
            (0, of(&most))
        };
        if *found < low || *found > high {
            return Err(format!("{name} after a cut: {found}, at that moment {low} to {high}"));
        }
    }
    let (low, high) = (least.counts.stitches(), most.counts.stitches());
    if found.stitches() < low || found.stitches() > high {
        let found = found.stitches();
        return Err(format!("stitches after a cut: {found}, at that moment {low} to {high}"));
    }
    let lost = [
        ("running ms", truth.running_ms - found.running_ms, wiring.checkpoint_running_s * 1_000),
        ("trims", truth.trims - found.trims, wiring.checkpoint_trims),
        ("powered ms", truth.powered_ms - found.powered_ms, wiring.checkpoint_powered_s * 1_000),
    ];
    match lost.iter().find(|(_, lost, most)| lost > most) {
        Some((name, lost, most)) => Err(format!("{lost} {name} lost at a cut, at most {most}")),
        None => Ok(()),
    }
}
