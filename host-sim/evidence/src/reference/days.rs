//! How many days are left (`docs/CARE.md`, *Days left*).

use super::book::{Book, Measure};
use super::machine::Counts;

/// Days that count as recent.
const RECENT: u16 = 90;

/// Days left, rounded down: at the least and the most, as the last bit of a division may differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Left {
    /// Calendar days, else days of use.
    pub by_calendar: bool,
    /// At the least and the most.
    pub days: (u64, u64),
}

/// Days until the part at `place` is due; `None` when there is nothing to go by. `day` is the day
/// that is known; `clock_is_wrong` says that the clock is at fault.
#[must_use]
pub fn left(
    book: &Book,
    place: usize,
    counts: &Counts,
    day: Option<u16>,
    clock_is_wrong: bool,
) -> Option<Left> {
    let part = &book.parts[place];
    let today = day.filter(|_| !clock_is_wrong);
    let by_calendar = today.is_some();
    let unit = if part.measure.is_time() { 1_000 } else { 1 };
    let rest = part.due.saturating_sub(book.wear(place, counts, day) / unit);
    if rest == 0 {
        return Some(Left { by_calendar, days: (0, 0) });
    }
    if part.measure == Measure::Days {
        let days = rest.min(65_535);
        return today.map(|_| Left { by_calendar: true, days: (days, days) });
    }
    let used = part.measure.value(counts, None) as f64;
    if used <= 0.0 {
        return None;
    }
    let rest = (rest * unit) as f64;
    if let Some(rate) = today.and_then(|today| powered_s_a_day(book, counts, today)) {
        let powered_s = counts.powered_ms.max(1) as f64 / 1_000.0;
        return Some(Left { by_calendar: true, days: whole(rest * powered_s / used / rate) });
    }
    if counts.power_ups < 3 {
        return None;
    }
    Some(Left { by_calendar: false, days: whole(rest * counts.power_ups as f64 / used) })
}

#[allow(clippy::cast_sign_loss)] // None is negative.
fn whole(days: f64) -> (u64, u64) {
    let around = |by: f64| (days * (1.0 + by)).floor().min(65_535.0) as u64;
    (around(-1e-9), around(1e-9))
}

/// Powered time of a day, s.
fn powered_s_a_day(book: &Book, counts: &Counts, today: u16) -> Option<f64> {
    let now = (f64::from(today), counts.powered_ms as f64 / 1_000.0);
    let lines = book.journal.iter();
    let mut points: Vec<(f64, f64)> =
        lines.filter_map(|line| Some((f64::from(line.day?), line.powered_s as f64))).collect();
    points.retain(|point| point.0 <= now.0 && point.1 <= now.1);
    points.push(now);
    let recent = |point: &&(f64, f64)| now.0 - point.0 <= f64::from(RECENT);
    let recent: Vec<(f64, f64)> = points.iter().filter(recent).copied().collect();
    let line = slope(&recent).or_else(|| slope(&points));
    let rate = line.or_else(|| {
        let first = points.iter().fold(None, |first: Option<(f64, f64)>, point| {
            Some(first.filter(|first| first.0 <= point.0).unwrap_or(*point))
        })?;
        (now.0 > first.0).then(|| (now.1 - first.1) / (now.0 - first.0))
    });
    rate.filter(|rate| *rate > 0.0)
}

/// The rising line through three points or more over a week or more.
fn slope(points: &[(f64, f64)]) -> Option<f64> {
    let days = || points.iter().map(|point| point.0);
    let span = days().fold(f64::MIN, f64::max) - days().fold(f64::MAX, f64::min);
    if points.len() < 3 || span < 7.0 {
        return None;
    }
    Some(line(points)?.0).filter(|slope| *slope > 0.0)
}

/// Slope, intercept and standard error of the slope of the straight line by least squares.
#[must_use]
pub fn line(points: &[(f64, f64)]) -> Option<(f64, f64, f64)> {
    let n = points.len() as f64;
    let mean = |of: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(&|point| point.0), mean(&|point| point.1));
    let sxx = n * mean(&|point| (point.0 - x).powi(2));
    let sxy = n * mean(&|point| (point.0 - x) * (point.1 - y));
    if points.len() < 2 || sxx <= 0.0 {
        return None;
    }
    let slope = sxy / sxx;
    let squares = n * mean(&|point| (point.1 - y - slope * (point.0 - x)).powi(2));
    let error = if points.len() > 2 { (squares / (n - 2.0) / sxx).sqrt() } else { 0.0 };
    Some((slope, y - slope * x, error))
}
