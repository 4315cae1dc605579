//! When something is due: checkpoints, answers to a power-fail warning, the next
//! deadline.
//!
//! Invariants: an interval is never exceeded, whatever the gap between pulses turns
//! out to be; a deadline is never in the past, and never earlier than the store can
//! act.

use super::ANSWER_TIME_US;
use super::{ANSWER_PAUSE_US, ANSWERS_MAX, Board, CALM_US, WRITE_AHEAD_US};
use crate::input::Level;
use crate::rules::Rules;
use crate::time::Instant;

impl<R: Rules> Board<R> {
    pub(super) fn power_fail(&mut self, at: Instant, level: Level) {
        if !level.is_active() {
            self.warned_at = None;
        } else if self.warned_at.is_none() {
            self.warned_at = Some(at);
        }
        self.look_later();
        self.attention = true;
    }

    /// Whether a power-fail warning has not been answered yet: something that was
    /// counted is not durable, or nothing has become durable since the warning.
    pub(super) fn is_unanswered(&self) -> bool {
        let (Some(past), Some(warned_at)) = (&self.past, self.warned_at) else { return false };
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
        self.warned_at.is_some()
            && (self.answers_left > 0 || now >= self.next_answer_at)
            && self.is_unanswered()
    }

    /// Whether a power-fail warning is being answered: it came at most
    /// [`ANSWER_TIME_US`] ago and what was counted is not durable yet. All else should
    /// wait.
    #[must_use]
    pub fn is_answering(&self, now: Instant) -> bool {
        let came_now = |at| now.since_us(at) <= ANSWER_TIME_US;
        self.warned_at.is_some_and(came_now) && self.is_urgent(now)
    }

    /// A warning was answered.
    pub(super) fn note_answer(&mut self, now: Instant) {
        if self.answers_left > 0 {
            self.answers_left -= 1;
        }
        self.next_answer_at = now.plus_us(ANSWER_PAUSE_US);
    }

    /// After a calm while, the next warnings are answered at once again.
    pub(super) fn refill_answers(&mut self, now: Instant) {
        if self.warned_at.is_none() && now.since_us(self.next_answer_at) >= CALM_US {
            self.answers_left = ANSWERS_MAX;
        }
    }

    pub(super) fn note_saved(&mut self, now: Instant) {
        self.saved_at = now;
        self.boot_record_due = false;
        if self.warned_at.is_some() {
            self.note_answer(now);
        }
        let past = self.past.unwrap_or_default();
        // The limits count from what is durable, not from now.
        self.saved_running_us = self.saved().running_ms.saturating_sub(past.running_ms) * 1_000;
        let saved_trims = self.saved().trims.saturating_sub(past.trims);
        self.trim_limit = saved_trims + u64::from(self.meter.settings().checkpoint_trims);
        self.look_later();
    }

    pub(super) fn is_checkpoint_due(&self, now: Instant) -> bool {
        self.boot_record_due
            || self.meter.trims() >= self.trim_limit
            || now >= self.powered_limit()
            || now >= self.running_limit(now)
    }

    pub(super) fn powered_limit(&self) -> Instant {
        if !R::checkpoint_at_standstill() {
            return Instant::NEVER;
        }
        let settings = self.meter.settings();
        self.saved_at.plus_us(u64::from(settings.checkpoint_powered_s) * 1_000_000 - WRITE_AHEAD_US)
    }

    /// The earliest time at which the running time that is not durable can reach
    /// the checkpoint interval: a gap between pulses may turn out to be running
    /// time, up to the run gap.
    pub(super) fn running_limit(&self, now: Instant) -> Instant {
        let interval_us = u64::from(self.meter.settings().checkpoint_running_s) * 1_000_000;
        let unsaved_us = self.meter.running_us().saturating_sub(self.saved_running_us);
        let left_us = (interval_us - WRITE_AHEAD_US).saturating_sub(unsaved_us);
        match self.meter.last_pulse() {
            _ if left_us == 0 => now,
            Some(pulse) if left_us <= self.meter.run_gap_us() => pulse.plus_us(left_us),
            _ => Instant::NEVER,
        }
    }

    /// From when on pulses make the board look at the checkpoint interval: a run
    /// gap before it ends; after that its own deadline does.
    pub(super) fn look_later(&mut self) {
        let interval_us = u64::from(self.meter.settings().checkpoint_running_s) * 1_000_000;
        let look_us = interval_us.saturating_sub(WRITE_AHEAD_US + self.meter.run_gap_us());
        let look_us = self.saved_running_us + look_us;
        self.running_look_us = if self.warned_at.is_some() {
            0 // everything is looked at while power is failing
        } else if self.meter.running_us() >= look_us {
            u64::MAX
        } else {
            look_us
        };
    }

    pub(super) fn next_deadline(&self, now: Instant) -> Instant {
        let mut next = self.store.wake().min(self.meter.certain_at());
        if self.is_ready() {
            // What is due waits for the store; what is not, for its own time.
            let due = self.entry.is_some() || self.is_urgent(now) || self.is_checkpoint_due(now);
            next = next.min(if due {
                self.store.not_before()
            } else if self.is_unanswered() {
                self.next_answer_at.min(self.powered_limit()).min(self.running_limit(now))
            } else {
                self.powered_limit().min(self.running_limit(now))
            });
        }
        // Never in the past: a deadline that has passed means "at once".
        next.max(now)
    }
}
