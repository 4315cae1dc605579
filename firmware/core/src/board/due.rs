//! When something is stored: the limits of a checkpoint, answers to a power-fail warning,
//! the next deadline.
//!
//! Invariants: an interval is never exceeded, whatever the gap between pulses turns
//! out to be; a deadline is never in the past, and never earlier than the store can
//! act.

use super::Board;
use crate::counters::Counters;
use crate::input::Level;
use crate::meter::Meter;
use crate::rules::Rules;
use crate::time::Instant;

/// A checkpoint is begun this long before its interval ends, µs, so that it is
/// durable by then even behind two copies of a journal entry.
const WRITE_AHEAD_US: u64 = 100_000;
/// Thread breaks at which a checkpoint is due, so that what is counted fits into the next one
/// until a new snapshot is asked for: 23 of the 27 that it holds are not yet nearly full.
const CHECKPOINT_BREAKS: u32 = 3;
/// Power-fail answers without a pause between them.
const ANSWERS_MAX: u8 = 8;
/// Pause between further answers, µs.
const ANSWER_PAUSE_US: u64 = 1_000_000;
/// Calm after which warnings are answered without a pause again, µs, from the end of the
/// pause after the last answer on.
const CALM_US: u64 = 10_000_000;
/// How long after a power-fail warning the panel stands still at most, µs: five times
/// what the answer may take. A warning that is never answered (a dead memory part, a
/// line that is stuck) does not freeze the panel.
pub const ANSWER_TIME_US: u64 = 100_000;

/// What is durable since when, and the power-fail warning.
#[derive(Clone, Debug)]
pub(super) struct Due {
    /// When the power-fail warning came, while it lasts.
    warned_at: Option<Instant>,
    /// Answers to warnings that need no pause before them.
    answers_left: u8,
    next_answer_at: Instant,
    /// Up to when the session's powered time is durable.
    saved_at: Instant,
    /// Running time of the session that is durable, µs.
    saved_running_us: u64,
    /// Running time at which the board looks at the checkpoint interval, µs.
    look_running_us: u64,
    /// Trims of the session at which a checkpoint is due.
    limit_trims: u64,
    /// Thread breaks of the session at which a checkpoint is due.
    limit_breaks: u32,
    /// The checkpoint that makes this power-up count, and all older ones final.
    is_first_record_wanted: bool,
}

impl Due {
    /// Nothing is due: nothing is known.
    pub(super) const fn new() -> Self {
        Self {
            warned_at: None,
            answers_left: ANSWERS_MAX,
            next_answer_at: Instant::ZERO,
            saved_at: Instant::ZERO,
            saved_running_us: 0,
            look_running_us: u64::MAX,
            limit_trims: u64::MAX,
            limit_breaks: u32::MAX,
            is_first_record_wanted: false,
        }
    }

    /// The past is known: this power-up is to be stored.
    pub(super) fn first_record(&mut self) {
        self.saved_at = Instant::ZERO;
        self.is_first_record_wanted = true;
    }

    /// Whether what was counted makes the board look whether a checkpoint is due.
    #[inline]
    pub(super) fn is_look_due(&self, meter: &Meter) -> bool {
        meter.running_us() >= self.look_running_us || meter.trims() >= self.limit_trims
    }

    /// The board has looked.
    pub(super) fn looked(&mut self, meter: &Meter) {
        if meter.running_us() >= self.look_running_us && self.warned_at.is_none() {
            self.look_running_us = u64::MAX; // the deadline takes over
        }
    }

    /// From when on pulses make the board look at the checkpoint interval: a run
    /// gap before it ends; after that its own deadline does.
    fn look_later(&mut self, meter: &Meter) {
        let interval_us = u64::from(meter.settings().checkpoint_running_s) * 1_000_000;
        let look_us = interval_us.saturating_sub(WRITE_AHEAD_US + meter.run_gap_us());
        let look_us = self.saved_running_us + look_us;
        self.look_running_us = if self.warned_at.is_some() {
            0 // everything is looked at while power is failing
        } else if meter.running_us() >= look_us {
            u64::MAX
        } else {
            look_us
        };
    }

    /// The line of the power-fail warning changed.
    fn warning<R: Rules>(&mut self, at: Instant, level: Level) {
        let is_first = self.warned_at.is_none();
        if !level.is_active() || (!is_first && !R::warning_stays()) {
            self.warned_at = None;
        } else if is_first {
            self.warned_at = Some(at);
            // After a calm while warnings are answered at once again. Nothing may have been due
            // in it, so that nobody looked.
            let is_calm = at.since_us(self.next_answer_at) >= CALM_US;
            if is_calm && R::refill_answers() {
                self.answers_left = ANSWERS_MAX;
            }
        }
    }

    /// Whether the power-fail warning is on.
    #[cfg(feature = "activity")]
    pub(super) fn is_warned(&self) -> bool {
        self.warned_at.is_some()
    }

    /// `saved` is durable; it was `past` at power-up.
    fn note_saved(&mut self, now: Instant, past: &Counters, saved: &Counters, meter: &Meter) {
        self.is_first_record_wanted = false;
        let saved_ms = saved.powered_ms.saturating_sub(past.powered_ms);
        if self.warned_at.is_some_and(|at| saved_ms >= at.as_us() / 1_000) {
            // A warning was answered. What was under way when it came is no answer.
            self.answers_left = self.answers_left.saturating_sub(1);
            self.next_answer_at = now.plus_us(ANSWER_PAUSE_US);
        }
        // The limits count from what is durable, not from now.
        self.saved_at = Instant::from_us(saved_ms.saturating_mul(1_000));
        self.saved_running_us = saved.running_ms.saturating_sub(past.running_ms) * 1_000;
        let saved_trims = saved.trims.saturating_sub(past.trims);
        self.limit_trims = saved_trims + u64::from(meter.settings().checkpoint_trims);
        let saved_breaks = saved.breaks().saturating_sub(past.breaks());
        self.limit_breaks = saved_breaks.saturating_add(CHECKPOINT_BREAKS);
        self.look_later(meter);
    }

    fn is_checkpoint_due<R: Rules>(&self, now: Instant, meter: &Meter) -> bool {
        self.is_first_record_wanted
            || meter.trims() >= self.limit_trims
            || meter.counted().breaks() >= self.limit_breaks
            || now >= self.powered_limit::<R>(meter)
            || now >= self.running_limit(now, meter)
    }

    fn powered_limit<R: Rules>(&self, meter: &Meter) -> Instant {
        if !R::checkpoint_at_standstill() {
            return Instant::NEVER;
        }
        let interval_us = u64::from(meter.settings().checkpoint_powered_s) * 1_000_000;
        self.saved_at.plus_us(interval_us - WRITE_AHEAD_US)
    }

    /// The earliest time at which the running time that is not durable can reach
    /// the checkpoint interval: a gap between pulses may turn out to be running
    /// time, up to the run gap.
    fn running_limit(&self, now: Instant, meter: &Meter) -> Instant {
        let interval_us = u64::from(meter.settings().checkpoint_running_s) * 1_000_000;
        let unsaved_us = meter.running_us().saturating_sub(self.saved_running_us);
        let left_us = (interval_us - WRITE_AHEAD_US).saturating_sub(unsaved_us);
        match meter.last_pulse() {
            _ if left_us == 0 => now,
            Some(pulse) if left_us <= meter.run_gap_us() => pulse.plus_us(left_us),
            _ => Instant::NEVER,
        }
    }
}

impl<R: Rules> Board<R> {
    pub(super) fn power_fail(&mut self, at: Instant, level: Level) {
        self.due.warning::<R>(at, level);
        self.due.look_later(&self.meter);
        self.attention = true;
    }

    /// Whether a power-fail warning has not been answered yet: something that was
    /// counted is not durable, or nothing has become durable since the warning.
    fn is_unanswered(&self) -> bool {
        let (Some(past), Some(warned_at)) = (&self.past, self.due.warned_at) else { return false };
        let (counted, saved) = (self.meter.counted(), self.saved());
        past.powered_ms + warned_at.as_us() / 1_000 > saved.powered_ms
            || past.trims + counted.trims != saved.trims
            || past.jumps + counted.jumps != saved.jumps
            || past.stitches() + counted.stitches() != saved.stitches()
            || past.breaks().saturating_add(counted.breaks()) != saved.breaks()
    }

    /// Whether a warning is to be answered now. A warning that chatters or stays on
    /// while the machine sews must not wear the part out: after the first
    /// [`ANSWERS_MAX`] answers, one a second.
    pub(super) fn is_urgent(&self, now: Instant) -> bool {
        self.due.warned_at.is_some()
            && (self.due.answers_left > 0 || now >= self.due.next_answer_at)
            && self.is_unanswered()
    }

    /// Until when an urgent answer waits for a pulse that came just before its warning and is not
    /// certain yet: with several pulses a revolution nothing else would show that it is missing.
    pub(super) fn answer_waits_until(&self, now: Instant) -> Option<Instant> {
        let certain_at = self.meter.shaft_certain_at(self.due.warned_at?);
        let waits = |at: &Instant| now < *at && self.is_urgent(now) && R::answer_waits_for_pulse();
        certain_at.filter(waits)
    }

    /// Whether a power-fail warning is being answered: it came at most
    /// [`ANSWER_TIME_US`] ago and what was counted is not durable yet. All else should
    /// wait.
    #[must_use]
    pub fn is_answering(&self, now: Instant) -> bool {
        let came_now = |at| now.since_us(at) <= ANSWER_TIME_US;
        self.due.warned_at.is_some_and(came_now) && self.is_urgent(now)
    }

    pub(super) fn note_saved(&mut self, now: Instant) {
        if let Some(past) = &self.past {
            self.due.note_saved(now, past, self.store.saved(), &self.meter);
        }
    }

    pub(super) fn is_checkpoint_due(&self, now: Instant) -> bool {
        self.due.is_checkpoint_due::<R>(now, &self.meter)
    }

    pub(super) fn next_deadline(&self, now: Instant) -> Instant {
        let mut next = self.meter.certain_at();
        if let Some(until) = self.answer_waits_until(now) {
            // The store does nothing until then.
            return next.min(until).max(now);
        }
        next = next.min(self.store.wake());
        if self.is_ready() {
            let limit = self
                .due
                .powered_limit::<R>(&self.meter)
                .min(self.due.running_limit(now, &self.meter));
            // What is due waits for the store; what is not, for its own time.
            let due = self.entries.current().is_some()
                || self.is_urgent(now)
                || self.is_checkpoint_due(now);
            next = next.min(if due {
                self.store.not_before()
            } else if self.is_unanswered() {
                self.due.next_answer_at.min(limit)
            } else {
                limit
            });
        }
        // Never in the past: a deadline that has passed means "at once".
        next.max(now)
    }
}
