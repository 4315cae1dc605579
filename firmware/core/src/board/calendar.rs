//! The calendar day: what is known of it, and what came due by it.
//!
//! Invariant: days never run backwards, so no clock hides what is due.

use super::Board;
use crate::fault::Fault;
use crate::journal::Event;
use crate::rules::Rules;
use crate::time::Instant;

/// What is known of the day.
#[derive(Clone, Debug, Default)]
pub(super) struct Calendar {
    day: Option<u16>,
    /// Something may have come due since it was last looked.
    is_look_due: bool,
}

impl Calendar {
    /// Whether something may have come due by the calendar since it was last looked.
    pub(super) fn is_look_due(&self) -> bool {
        self.is_look_due
    }

    /// What is stored is known now: it may be due.
    pub(super) fn look(&mut self) {
        self.is_look_due = true;
    }
}

impl<R: Rules> Board<R> {
    /// Tells the board the calendar day, where a clock is fitted: 1 is 1 January 2020
    /// (Gregorian), 65,535 is in 2199. A day before one that is known is not taken, and
    /// `None` leaves what is known: days never run backwards, so no clock hides what is
    /// due. Only durations in days come from it; nothing that is counted does.
    pub fn set_day(&mut self, day: Option<u16>) {
        self.calendar.day = self.calendar.day.max(day.filter(|d| *d != 0));
        self.calendar.is_look_due = self.calendar.day.is_some();
        self.attention = true;
    }

    /// The clock was read and judged: its day, if that can be trusted, and what is wrong
    /// with the clock, if anything. Raises and clears the two clock faults; any other
    /// fault is taken as [`Fault::ClockWrong`].
    pub fn clock(&mut self, day: Option<u16>, wrong: Option<Fault>) {
        let wrong = wrong.map(|fault| match fault {
            Fault::ClockNoAnswer => fault,
            _ => Fault::ClockWrong,
        });
        for fault in [Fault::ClockNoAnswer, Fault::ClockWrong] {
            self.faults.set(fault, wrong == Some(fault));
        }
        self.set_day(day);
    }

    /// The latest calendar day that is known: today, while the clock can be trusted;
    /// `None` if no clock ever told one.
    #[must_use]
    pub fn day(&self) -> Option<u16> {
        self.calendar.day
    }

    /// What is due by the calendar is stored with the day: the clock may be dead at the
    /// next power-up. One component at a time, as the entry tells the day for all.
    pub(super) fn note_due_by_day(&mut self, now: Instant) {
        if !self.is_ready() {
            return;
        }
        let Some(lifetime) = self.lifetime(now) else { return };
        self.calendar.day = self.calendar.day.max(self.ledger().day_reached(&lifetime));
        if self.entries.current().is_some() || self.entries.are_waiting() {
            return;
        }
        let due = self.calendar.day.and_then(|day| self.ledger().newly_due(&lifetime, day));
        // When there is no room, the look is made again after the next reading.
        self.calendar.is_look_due = false;
        if let Some(place) = due {
            self.note(Event::DueByDay, place as u16);
        }
    }
}
