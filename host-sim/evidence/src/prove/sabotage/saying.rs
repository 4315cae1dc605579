//! Mistakes in what is said: in care, read-out and panel.

use shaftbook_core::component::{Component, Measure, Standing};
use shaftbook_core::counters::Counters;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::settings::ServiceMeasure;
use shaftbook_readout::tag::BoardTag;

/// A component is due, or at notice, only when it is past the limit.
fn standing_past(component: &Component, wear: u64, due: u64, notice: u64) -> Standing {
    let units = wear / component.measure.per_limit_unit();
    if units >= u64::from(component.due) + due {
        Standing::Due
    } else if units >= u64::from(component.notice) + notice {
        Standing::Notice
    } else {
        Standing::Fine
    }
}

/// `>` for `>=` at the due limit.
#[must_use]
pub fn due_past_limit(component: &Component, wear: u64) -> Standing {
    standing_past(component, wear, 1, 0)
}

/// `>` for `>=` at the notice limit.
#[must_use]
pub fn notice_past_limit(component: &Component, wear: u64) -> Standing {
    standing_past(component, wear, 0, 1)
}

/// The notice limit is the next component's.
#[must_use]
pub fn notice_of_next(ledger: &Ledger, place: usize) -> Option<Component> {
    let of = |place: usize| Some(ledger.components.get(place)?.component);
    let next = of(place + 1).or_else(|| of(0))?;
    Some(Component { notice: next.notice, ..of(place)? })
}

/// Wear counts from the beginning of the board's life.
#[must_use]
pub fn wear_ever(
    ledger: &Ledger,
    place: usize,
    lifetime: &Counters,
    day: Option<u16>,
) -> Option<u64> {
    Some(ledger.components.get(place)?.component.measure.value(lifetime, day))
}

/// Days count from the first day of the calendar.
#[must_use]
pub fn days_ever(
    ledger: &Ledger,
    place: usize,
    lifetime: &Counters,
    day: Option<u16>,
) -> Option<u64> {
    match ledger.components.get(place)?.component.measure {
        Measure::Days => wear_ever(ledger, place, lifetime, day),
        _ => ledger.wear(place, lifetime, day),
    }
}

/// A needle wears by the stitches of all.
#[must_use]
pub fn needle_by_all(
    ledger: &Ledger,
    place: usize,
    lifetime: &Counters,
    day: Option<u16>,
) -> Option<u64> {
    match ledger.components.get(place)?.component.measure {
        Measure::NeedleStitches(_) => wear_by(ledger, place, lifetime.stitches()),
        _ => ledger.wear(place, lifetime, day),
    }
}

/// What wears by powered time wears by running time.
#[must_use]
pub fn running_for_powered(
    ledger: &Ledger,
    place: usize,
    lifetime: &Counters,
    day: Option<u16>,
) -> Option<u64> {
    match ledger.components.get(place)?.component.measure {
        Measure::Powered => wear_by(ledger, place, lifetime.running_ms),
        _ => ledger.wear(place, lifetime, day),
    }
}

/// Wear of the component at `place` by a figure that is not its own.
fn wear_by(ledger: &Ledger, place: usize, figure: u64) -> Option<u64> {
    Some(figure.saturating_sub(ledger.components.get(place)?.baseline))
}

/// The wear of times is in ms, their limits are in s.
#[must_use]
pub fn ms_for_s(_: Measure, wear: u64) -> u64 {
    wear
}

/// Part of a day counts as one.
#[must_use]
pub fn days_rounded_up(days: f64) -> f64 {
    days.ceil()
}

/// Part of an hour counts as one.
#[must_use]
pub fn hours_rounded_up(ms: u64) -> u64 {
    ms.div_ceil(3_600_000)
}

/// The identity's lowest byte comes first.
#[must_use]
pub fn tag_of_low_bytes(id: BoardId) -> BoardTag {
    BoardTag::of(BoardId(id.0.swap_bytes()))
}

/// The interval counts from the beginning of the board's life.
#[must_use]
pub fn interval_ever(ledger: &Ledger, lifetime: &Counters) -> u64 {
    match ledger.settings.service_measure {
        ServiceMeasure::Powered => lifetime.powered_ms,
        ServiceMeasure::Running => lifetime.running_ms,
    }
}

/// The interval is that of the time that is not chosen.
#[must_use]
pub fn interval_by_other_time(ledger: &Ledger, lifetime: &Counters) -> u64 {
    match ledger.settings.service_measure {
        ServiceMeasure::Running => lifetime.powered_ms.saturating_sub(ledger.interval.powered_ms),
        ServiceMeasure::Powered => lifetime.running_ms.saturating_sub(ledger.interval.running_ms),
    }
}
