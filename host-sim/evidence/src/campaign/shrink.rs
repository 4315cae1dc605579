//! Makes a failing script short: fewer faults, fewer steps, less to do in each, and a simpler
//! start, as long as it still fails in the same way.
//!
//! Method: delta debugging by halves (A. Zeller, R. Hildebrandt, "Simplifying and Isolating
//! Failure-Inducing Input", IEEE TSE 28(2), 2002; from memory), then step by step.
//!
//! Invariant: the script that comes out fails; the work is bounded.

use super::deed::Deed;
use super::life;
use super::life_script::LifeScript;
use super::part_shape::PartShape;
use super::run::Ran;
use super::runner::Runner;
use super::script::{Script, Start};

/// Most scripts that are tried.
const TRIES_MAX: u32 = 3_000;

/// A failing script, and what is seen of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shrunk {
    /// The script.
    pub script: Script,
    /// What is seen when it is played.
    pub seen: String,
    /// Scripts that were tried.
    pub tries: u32,
}

/// The way in which a script fails: what is seen up to its figures.
#[must_use]
pub fn way(seen: &str) -> &str {
    seen.split([':', '[']).next().unwrap_or(seen).trim()
}

struct Search<'a> {
    runner: &'a dyn Runner,
    best: Shrunk,
    way: String,
}

impl Search<'_> {
    /// Takes `script` if it fails in the same way.
    fn take(&mut self, script: Script) -> bool {
        if self.best.tries >= TRIES_MAX || script == self.best.script {
            return false;
        }
        self.best.tries += 1;
        let Ran { seen: Some(seen), .. } = self.runner.play(&script) else { return false };
        if way(&seen) != self.way {
            return false;
        }
        (self.best.script, self.best.seen) = (script, seen);
        true
    }

    /// Leaves out as many of `count` things as it can, by halves; `without` gives the script
    /// without things `from` to `to`.
    fn leave_out(
        &mut self,
        count: impl Fn(&Script) -> usize,
        without: impl Fn(&Script, usize, usize) -> Script,
    ) -> bool {
        let mut has_changed = false;
        let mut size = count(&self.best.script).next_power_of_two();
        while size > 0 {
            let mut from = 0;
            while from < count(&self.best.script) {
                let to = (from + size).min(count(&self.best.script));
                if self.take(without(&self.best.script, from, to)) {
                    has_changed = true;
                } else {
                    from = to;
                }
            }
            size /= 2;
        }
        has_changed
    }
}

/// Shrinks `script`, which fails on `runner` as `seen` says.
#[must_use]
pub fn shrink(runner: &dyn Runner, script: Script, seen: &str) -> Shrunk {
    if let Some(life) = script.life.as_deref() {
        return shrink_life(runner, life, seen);
    }
    let mut search = Search {
        runner,
        way: way(seen).to_owned(),
        best: Shrunk { script, seen: seen.to_owned(), tries: 0 },
    };
    loop {
        let mut has_changed = search.leave_out(|s| s.faults.len(), without_faults);
        has_changed |= search.leave_out(|s| s.steps.len(), without_steps);
        has_changed |= shorter_steps(&mut search);
        has_changed |= simpler_start(&mut search);
        has_changed |= simpler_faults(&mut search);
        if !has_changed {
            return search.best;
        }
    }
}

/// Shrinks a life, which fails on `runner` as `seen` says.
fn shrink_life(runner: &dyn Runner, life: &LifeScript, seen: &str) -> Shrunk {
    let mut shrunk =
        Shrunk { script: Script::of_life(life.clone()), seen: seen.to_owned(), tries: 0 };
    let way_of = way(seen).to_owned();
    let mut fails = |life: &LifeScript| {
        shrunk.tries += 1;
        let ran = runner.play(&Script::of_life(life.clone()));
        let seen = ran.seen.filter(|seen| way(seen) == way_of)?;
        let day = ran.day?.min(life.days().saturating_sub(1));
        shrunk.seen = seen;
        Some(day)
    };
    let day = day_of(seen).unwrap_or(life.days().saturating_sub(1));
    let shorter = life::shrink::shrink(life, day, &mut fails);
    shrunk.script = Script::of_life(shorter);
    // The day in what is seen is that of the life as it is now.
    if let Some(seen) = runner.play(&shrunk.script).seen {
        shrunk.seen = seen;
    }
    shrunk
}

/// The day of a life on which it failed, as its text says.
fn day_of(seen: &str) -> Option<u32> {
    seen.rsplit_once("[day ")?.1.split(' ').next()?.parse().ok()
}

fn without_faults(script: &Script, from: usize, to: usize) -> Script {
    let mut script = script.clone();
    script.faults.drain(from..to);
    script
}

/// Without steps `from` to `to`; their faults come in the step after them.
fn without_steps(script: &Script, from: usize, to: usize) -> Script {
    let mut script = script.clone();
    script.steps.drain(from..to);
    let gone = (to - from) as u32;
    let last = (script.steps.len() as u32).saturating_sub(1);
    for fault in &mut script.faults {
        if fault.step as usize >= to {
            fault.step -= gone;
        } else if fault.step as usize >= from {
            (fault.step, fault.act) = (from as u32, 0);
        }
        fault.step = fault.step.min(last);
    }
    script.faults.sort_by_key(|fault| (fault.step, fault.act));
    script
}

fn shorter_steps(search: &mut Search<'_>) -> bool {
    let mut has_changed = false;
    for place in 0..search.best.script.steps.len() {
        while let Some(shorter) = search.best.script.steps[place].shorter() {
            let mut script = search.best.script.clone();
            script.steps[place] = shorter;
            for fault in script.faults.iter_mut().filter(|f| f.step as usize == place) {
                fault.act = fault.act.min(shorter.acts() - 1);
            }
            if !search.take(script) {
                break;
            }
            has_changed = true;
        }
    }
    has_changed
}

fn simpler_start(search: &mut Search<'_>) -> bool {
    let simpler: [fn(Start) -> Start; 6] = [
        |_| Start { fitted: true, lap: 1, seed: 1, ..Start::default() },
        |start| Start { part: PartShape::REFERENCE, ..start },
        |start| Start { checkpoints: 0, ..start },
        |start| Start { checkpoints: start.checkpoints / 2, ..start },
        |start| Start { seed: 1, ..start },
        |start| Start { lap: 1, ..start },
    ];
    let mut has_changed = false;
    for simpler in simpler {
        let start = simpler(search.best.script.start);
        has_changed |= search.take(Script { start, ..search.best.script.clone() });
    }
    has_changed
}

/// Cuts that leave the old page or the new one instead of a mixture, and that are not cut
/// again.
fn simpler_faults(search: &mut Search<'_>) -> bool {
    let mut has_changed = false;
    for place in 0..search.best.script.faults.len() {
        for tear in ["old", "new", "ff"] {
            let mut script = search.best.script.clone();
            let simple = match &script.faults[place].deed {
                Deed::NestedCut { after_bytes, .. } | Deed::Cut { after_bytes, .. } => {
                    Deed::Cut { after_bytes: *after_bytes, tear: tear.into() }
                }
                Deed::WarnedCut { hold_up_ms, .. } => {
                    Deed::WarnedCut { hold_up_ms: *hold_up_ms, tear: tear.into() }
                }
                _ => break,
            };
            if script.faults[place].deed == simple {
                break;
            }
            script.faults[place].deed = simple;
            if search.take(script) {
                has_changed = true;
                break;
            }
        }
    }
    has_changed
}
