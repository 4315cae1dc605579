//! What a board counts in a life, held against the truth, one power-up at a time.
//!
//! A power-up may not count more than happened in it: not by one µs of running time, but for what
//! false pulses explain, whatever boards were reset in it. Nor may it count less, but for pulses and actuations that never reached
//! it and what was not certain yet at the cut. Its lifetime is what it found at its beginning and
//! what it counted since. What the next one finds is at most that, at least what was said to be
//! durable, and no more than the promised bound below it.

use shaftbook_core::board::Effect;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_tools::sew::slack::Slack;

use crate::campaign::subject::Condition;
use crate::campaign::tally::{Cut, Tally};
use shaftbook_world::bench::session::SessionEnd;
use shaftbook_world::judge::{Bounds, Delta, is_durable};
use shaftbook_world::sewing::distort::DistortTally;
use shaftbook_world::sewing::truth::Truth;

/// A board on a sound part knows its past after this much time with power, µs.
const KNOWN_WITHIN_US: u64 = 3_000_000;
/// Running time that may be uncounted besides what the signals explain, µs: the last pulse was
/// not certain yet.
const UNCERTAIN_US: u64 = 20_000;

/// What the boards counted that were reset with the supply up, since the supply came.
#[derive(Clone, Copy, Debug, Default)]
pub struct BeforeResets {
    /// How many.
    pub resets: u64,
    /// Counted by all of them.
    pub counted: Counters,
    /// Their running time, µs.
    pub running_us: u64,
}

impl BeforeResets {
    /// A board that had counted so much is reset.
    pub fn add(&mut self, ended: &SessionEnd) {
        self.resets += 1;
        self.counted = self.counted.plus(&ended.session);
        self.running_us += ended.running_us;
    }
}

/// What truly happened in a power-up.
#[derive(Clone, Copy, Debug)]
pub struct Happened<'a> {
    /// The truth of it.
    pub truth: Truth,
    /// What was done to its signals.
    pub tally: DistortTally,
    /// What its signals may add; `None` where there were none.
    pub slack: Option<Slack>,
    /// Longest gap that counts as running, µs.
    pub run_gap_us: u64,
    /// Pulses of a revolution.
    pub pulses_per_revolution: u8,
    /// What was lost with the board's memory.
    pub ended: &'a SessionEnd,
    /// The boards before it, since the supply came.
    pub before_resets: BeforeResets,
    /// Since its last reset, µs.
    pub lasted_us: u64,
    /// So long before the cut a warning came, ms, if that is long enough for an answer.
    pub warned_ms: Option<u32>,
}

impl Happened<'_> {
    /// What all boards counted since the supply came, and their running time, µs.
    fn counted(&self) -> (Counters, u64) {
        let BeforeResets { counted, running_us, .. } = self.before_resets;
        (counted.plus(&self.ended.session), running_us + self.ended.running_us)
    }
}

/// The counts of a life.
#[derive(Clone, Debug)]
pub struct Counts {
    bounds: Bounds,
    /// What this power-up found.
    found: Option<Counters>,
    /// What had been counted at the last cut.
    before: Counters,
    /// What was said to be durable.
    saved: Counters,
    /// The same, by the boards before this one.
    said: Counters,
    /// Cuts since a board last knew its past.
    open_cuts: u64,
    warned_ms: Option<u32>,
    is_to_judge: bool,
    /// Faults named since the power-up.
    named: FaultSet,
    /// What the last judged cut lost.
    lost: Counters,
}

impl Counts {
    /// The counts of a board that was just fitted, which had counted `fitted` by then.
    #[must_use]
    pub fn new(fitted: Counters, bounds: Bounds) -> Self {
        Self {
            bounds,
            found: None,
            before: fitted,
            saved: fitted,
            said: fitted,
            open_cuts: 0,
            warned_ms: None,
            is_to_judge: false,
            named: FaultSet::default(),
            lost: Counters::default(),
        }
    }

    /// A new fitting has other checkpoint intervals: until the next cut the longer ones hold.
    pub fn refitted(&mut self, bounds: Bounds) {
        self.bounds = Bounds {
            running_ms: self.bounds.running_ms.max(bounds.running_ms),
            trims: self.bounds.trims.max(bounds.trims),
            powered_ms: self.bounds.powered_ms.max(bounds.powered_ms),
        };
    }

    /// The intervals of the fitting that is surely live now.
    pub fn bounded(&mut self, bounds: Bounds) {
        self.bounds = bounds;
    }

    /// The board has power again.
    pub fn power_up(&mut self) {
        self.found = None;
        self.named = FaultSet::default();
    }

    /// What the board says.
    pub fn effect(&mut self, effect: Effect) {
        match effect {
            Effect::LifetimeKnown(past) => {
                self.found = Some(past);
                self.is_to_judge = true;
                // What is said to be durable from now on is said by this board.
                self.said = self.saved;
                self.saved = past;
            }
            Effect::CheckpointDurable(saved) | Effect::LedgerDurable(saved) => {
                self.saved = self.saved.most(&saved);
            }
            Effect::FaultRaised(fault) => {
                self.named.raise(fault);
            }
            _ => {}
        }
    }

    /// Faults named since the power-up.
    #[must_use]
    pub const fn named(&self) -> FaultSet {
        self.named
    }

    /// Only these faults have been named since the power-up.
    pub const fn name(&mut self, named: FaultSet) {
        self.named = named;
    }

    /// What this power-up found, once it is known.
    #[must_use]
    pub const fn found(&self) -> Option<Counters> {
        self.found
    }

    /// Judges what was found, when it is new; the cut goes to `tally`.
    ///
    /// # Errors
    /// What does not hold.
    pub fn judge_found(&mut self, condition: Condition, tally: &mut Tally) -> Result<(), String> {
        let (Some(past), true) = (self.found, std::mem::take(&mut self.is_to_judge)) else {
            return Ok(());
        };
        if self.open_cuts == 0 {
            return Ok(());
        }
        let (before, saved) = (self.before, self.said);
        self.lost = before.since(&past);
        let is_sound = condition.is_sound();
        let open_cuts = std::mem::take(&mut self.open_cuts);
        let warned_ms = self.warned_ms.take().filter(|_| open_cuts == 1);
        tally.note_cut(&Cut {
            is_warned: warned_ms.is_some(),
            is_sound: is_sound && open_cuts == 1,
            lost: self.lost,
            ready_us: None,
            bytes_read: 0,
        });
        self.before = past;
        if !past.at_most(&before) {
            return Err(format!("above the truth: by {:?}", Delta(&past.since(&before))));
        }
        let below = saved.since(&past);
        let is_one_checkpoint = condition.is_damaged && self.bounds.hold(&below);
        if !saved.at_most(&past) && !is_one_checkpoint {
            return Err(format!("below what was durable: by {:?}", Delta(&below)));
        }
        if condition.is_worn || condition.is_disturbed {
            return Ok(());
        }
        let cuts = open_cuts * if condition.is_damaged { 2 } else { 1 };
        let bounds = Bounds {
            running_ms: self.bounds.running_ms * cuts,
            trims: self.bounds.trims * cuts,
            powered_ms: self.bounds.powered_ms * cuts,
        };
        if !bounds.hold(&self.lost) {
            return Err(format!("over the bound: lost {:?}", Delta(&self.lost)));
        }
        if let Some(hold_up_ms) = warned_ms
            && !condition.is_damaged
        {
            let powered_ms = before.powered_ms.saturating_sub(u64::from(hold_up_ms));
            if !is_durable(&Counters { powered_ms, ..before }, &past) {
                return Err(format!("lost after a warning: {:?}", Delta(&self.lost)));
            }
        }
        Ok(())
    }

    /// A power-up has ended: judges what it counted.
    ///
    /// # Errors
    /// What does not hold.
    pub fn cut(&mut self, happened: &Happened<'_>, condition: Condition) -> Result<(), String> {
        let ended = self.reset(happened.ended, happened.lasted_us, condition);
        self.warned_ms = happened.warned_ms.filter(|_| !condition.is_disturbed);
        counted_too_much(happened)?;
        if condition.is_sound() {
            counted_too_little(happened)?;
        }
        ended
    }

    /// A board has lost its memory, `lasted_us` after its reset; what it counted is judged when
    /// the supply goes ([`Counts::cut`]).
    ///
    /// # Errors
    /// What does not hold.
    pub fn reset(
        &mut self,
        ended: &SessionEnd,
        lasted_us: u64,
        condition: Condition,
    ) -> Result<(), String> {
        let is_sound = condition.is_sound();
        self.open_cuts += 1;
        self.warned_ms = None;
        let before = self.before;
        self.before = ended.lifetime.unwrap_or_else(|| before.plus(&ended.session));
        match (self.found, ended.lifetime) {
            (Some(found), Some(lifetime)) if lifetime != found.plus(&ended.session) => {
                let sum = found.plus(&ended.session);
                let (more, less) = (lifetime.since(&sum), sum.since(&lifetime));
                let (more, less) = (Delta(&more), Delta(&less));
                Err(format!("the sum is wrong: {more:?} too much, {less:?} too little"))
            }
            (None, _) if is_sound && lasted_us > KNOWN_WITHIN_US => {
                Err("the past is not found".into())
            }
            _ => self.named_wrongly(is_sound),
        }
    }

    /// On a sound part nothing is wrong with it.
    fn named_wrongly(&self, is_sound: bool) -> Result<(), String> {
        let of_the_part = |fault: &Fault| {
            !matches!(
                fault,
                Fault::ShaftGlitches
                    | Fault::EdgesMissed
                    | Fault::ClockNoAnswer
                    | Fault::ClockWrong
            )
        };
        let named: Vec<Fault> = self.named.iter().filter(of_the_part).collect();
        if is_sound && !named.is_empty() {
            return Err(format!("a fault on a sound part: {named:?}"));
        }
        Ok(())
    }
}

fn counted_too_much(happened: &Happened<'_>) -> Result<(), String> {
    let Happened { truth, tally, slack, pulses_per_revolution, before_resets, .. } = happened;
    let (counted, running_us) = happened.counted();
    let mut counters = truth.counters();
    counters.power_ups = 1 + before_resets.resets as u32;
    let mut tally = *tally;
    if is_split_unknown(*pulses_per_revolution, &tally) {
        tally.missed_jump_changes += 1;
    }
    let above = match slack {
        Some(slack) => slack
            .running_above(running_us, truth.running_us, &tally)
            .or_else(|| slack.above(&counted, &counters, &tally)),
        None => (!Counters { glitches: 0, ..counted }.at_most(&counters))
            .then(|| format!("{:?}", Delta(&counted.since(&counters)))),
    };
    above.map_or(Ok(()), |what| Err(format!("above the truth: {what}")))
}

/// Whether it is not known which revolutions were jumps. A pulse too few or too many shifts the
/// revolutions against the true ones. And the simulated jump contact closes half a pulse gap
/// before its first pulse: with many pulses that is shorter than its debounce time.
const fn is_split_unknown(pulses_per_revolution: u8, tally: &DistortTally) -> bool {
    pulses_per_revolution > 2
        || pulses_per_revolution > 1 && tally.missed_pulses + tally.extra_pulses > 0
        || tally.missed_jump_changes > 0
}

/// Pulses that never came explain as many revolutions, and gaps of at most the run gap each. A
/// reset explains what was not certain then, and the gap round it.
fn counted_too_little(happened: &Happened<'_>) -> Result<(), String> {
    let Happened { truth, tally, run_gap_us, pulses_per_revolution, before_resets, .. } = *happened;
    let counters = truth.counters();
    let (session, counted_us) = happened.counted();
    let (session, boards) = (&session, 1 + before_resets.resets);
    let pulses = tally.missed_pulses + tally.extra_pulses + tally.glitches;
    let revolutions = |c: &Counters| c.stitches() + c.jumps;
    let is_unknown = is_split_unknown(pulses_per_revolution, &tally);
    let changes = if is_unknown { u64::MAX } else { pulses };
    let running_us = if pulses == 0 { UNCERTAIN_US } else { (2 * pulses + 1) * run_gap_us };
    for (what, counted, truth, allowed) in [
        ("revolutions", revolutions(session), revolutions(&counters), pulses + boards),
        ("jumps", session.jumps, counters.jumps, changes.saturating_add(boards)),
        ("trims", session.trims, counters.trims, tally.missed_trims + boards),
        (
            "thread breaks",
            u64::from(session.breaks()),
            u64::from(counters.breaks()),
            tally.missed_breaks + boards,
        ),
        ("µs of running", counted_us, truth.running_us, boards * (running_us + run_gap_us)),
        ("ms of power", session.powered_ms, counters.powered_ms, boards),
    ] {
        if counted.saturating_add(allowed) < truth {
            return Err(format!("not counted: {what} {counted}, in truth {truth}"));
        }
    }
    Ok(())
}
