//! How many days are left, at the recent rate of use.
//!
//! With a clock, the rate is a straight line of powered time against the calendar day, fitted
//! by least squares. Its points are the journal's entries that carry a day, and the present.
//! The line needs three points over a week; where the last [`RECENT_DAYS`] hold enough of them,
//! only those count. Without such a line, the rate is the mean from the oldest point until now,
//! if that is a day or more. Without a clock, or while the clock is at fault, the rate is that
//! of use per power-up, and each power-up counts as one day of use.
//!
//! The journal keeps no measure but powered time. So a component that wears by something else
//! is converted by the lifetime's ratio of its measure to powered time. A change of habits
//! therefore shows late for such a component: that is a limit of the method.
//!
//! Days are rounded down, so that at a steady rate of use nothing is due before the day
//! announced.

use shaftbook_core::component::Measure;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;

use crate::item::CareItem;
use crate::line;
use crate::machine::Machine;
use crate::rules::CareRules;

/// Days that count as recent. Our own choice.
pub const RECENT_DAYS: u16 = 90;
/// Fewest points of a line.
const POINTS_LEAST: usize = 3;
/// Fewest days that they must span.
const SPAN_LEAST_DAYS: u16 = 7;
/// Fewest power-ups that give a rate.
const POWER_UPS_LEAST: u32 = 3;

/// Days until something is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DaysLeft {
    /// Calendar days, where a clock is fitted.
    Calendar(u16),
    /// Days of use: power-ups, where none is.
    OfUse(u16),
}

/// Days until `item` is due at the recent rate of use; `None` when there is no rate
/// to go by yet, or it is not used at all. 65,535 stands for that many or more.
#[must_use]
pub fn days_left<R: CareRules>(machine: &Machine<'_, R>, item: &CareItem) -> Option<DaysLeft> {
    let lifetime = machine.lifetime.as_ref()?;
    let clock_is_wrong = R::no_days_by_a_wrong_clock()
        && (machine.faults.contains(Fault::ClockNoAnswer)
            || machine.faults.contains(Fault::ClockWrong));
    let today = machine.day.filter(|_| !clock_is_wrong);
    let measure = item.component.measure;
    if item.remaining() == 0 {
        return Some(today.map_or(DaysLeft::OfUse(0), |_| DaysLeft::Calendar(0)));
    }
    if measure == Measure::Days {
        // Days pass by themselves; how many, only a clock knows.
        return today.map(|_| DaysLeft::Calendar(whole::<R>(item.remaining() as f64)));
    }
    let left = item.remaining() as f64 * measure.per_limit_unit() as f64;
    let used = measure.value(lifetime, None) as f64;
    if used <= 0.0 {
        return None;
    }
    if let Some(today) = today
        && let Some(seconds_a_day) = powered_s_a_day(machine, lifetime, today)
    {
        let per_powered_s = used / (lifetime.powered_ms.max(1) as f64 / 1_000.0);
        return Some(DaysLeft::Calendar(whole::<R>(left / (per_powered_s * seconds_a_day))));
    }
    if lifetime.power_ups < POWER_UPS_LEAST {
        return None;
    }
    Some(DaysLeft::OfUse(whole::<R>(left / (used / f64::from(lifetime.power_ups)))))
}

/// Powered time of a calendar day, s, lately.
#[must_use]
pub fn powered_s_a_day<R: CareRules>(
    machine: &Machine<'_, R>,
    lifetime: &Counters,
    today: u16,
) -> Option<f64> {
    let now = (today, lifetime.powered_ms as f64 / 1_000.0);
    let lines = machine.ledger.history.iter();
    let known = lines.filter_map(|line| Some((line.day?, f64::from(line.powered_s))));
    // What is after now is not of this clock.
    let points = known.filter(|point| point.0 <= now.0 && point.1 <= now.1).chain([now]);
    let recent = points.clone().filter(|point| today - point.0 <= RECENT_DAYS);
    let rate = regression(recent).or_else(|| regression(points.clone()));
    rate.or_else(|| {
        let oldest = points.min_by_key(|point| point.0)?;
        let days = today - oldest.0;
        (days > 0).then(|| (now.1 - oldest.1) / f64::from(days))
    })
    .filter(|rate| *rate > 0.0)
}

fn regression(points: impl Iterator<Item = (u16, f64)> + Clone) -> Option<f64> {
    let days = points.clone().map(|point| point.0);
    let span = days.clone().max()? - days.clone().min()?;
    if days.count() < POINTS_LEAST || span < SPAN_LEAST_DAYS {
        return None;
    }
    let line = line::fit(points.map(|(day, powered_s)| (f64::from(day), powered_s)))?;
    (line.slope > 0.0).then_some(line.slope)
}

#[allow(clippy::cast_sign_loss)] // Clamped.
fn whole<R: CareRules>(days: f64) -> u16 {
    R::whole_days(days).clamp(0.0, f64::from(u16::MAX)) as u16
}
