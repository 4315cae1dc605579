//! Applies journal entries to a ledger, the oldest first: section 7 of `docs/FORMAT.md`.
//!
//! The firmware applies them newest first. That both orders give the same ledger is one of the
//! things that `inspect` shows.

use shaftbook_core::journal::{AUTHORISED, Entry, Event};
use shaftbook_core::ledger::{HISTORY_MAX, HistoryLine, IntervalBaseline, Ledger};

/// Applies `entry`, which is newer than all applied before.
pub fn apply(ledger: &mut Ledger, entry: &Entry) {
    let renews = matches!(entry.event, Event::Renewed | Event::Served);
    for (place, fitted) in ledger.components.iter_mut().enumerate() {
        if renews && entry.renewed.contains(place) {
            fitted.baseline = fitted.component.measure.value(&entry.at, entry.day);
        }
    }
    match entry.event {
        Event::Served => {
            ledger.services = ledger.services.saturating_add(1);
            ledger.tries = 0;
            ledger.interval = IntervalBaseline {
                powered_ms: entry.at.powered_ms,
                running_ms: entry.at.running_ms,
            };
        }
        Event::Renewed if entry.subject == AUTHORISED => ledger.tries = 0,
        Event::ReplyTried => ledger.tries = ledger.tries.saturating_add(1),
        Event::Renewed | Event::SlotRetired | Event::FaultSeen | Event::DueByDay => {}
    }
    ledger.next_entry = entry.number.plus(1);
    if ledger.history.len() >= HISTORY_MAX {
        ledger.history.remove(0);
    }
    let line = HistoryLine {
        number: entry.number,
        event: entry.event,
        subject: entry.subject,
        powered_s: u32::try_from(entry.at.powered_ms / 1_000).unwrap_or(u32::MAX),
        day: entry.day,
    };
    // Cannot fail: there is room for one more.
    let _ = ledger.history.push(line);
}
