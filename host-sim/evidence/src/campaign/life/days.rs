//! When things come in a life: working days on the calendar, and what is dated to them.
//!
//! Weeks begin with the first fitting: five working days, two days off. A life's time is µs
//! since midnight of its first day.

use crate::campaign::life_script::{Dated, LifeScript, WEEK_DAYS};

/// A day, µs.
pub const DAY_US: u64 = 86_400_000_000;
/// A second, µs.
pub const S_US: u64 = 1_000_000;

/// Midnight of working day `day`, µs.
#[must_use]
pub const fn midnight_us(day: u32) -> u64 {
    (day / WEEK_DAYS * 7 + day % WEEK_DAYS) as u64 * DAY_US
}

/// The working day at `at_us`; on a day off, the last one before it.
#[must_use]
pub fn working_day(at_us: u64) -> u32 {
    let day = (at_us / DAY_US) as u32;
    day / 7 * WEEK_DAYS + (day % 7).min(WEEK_DAYS - 1)
}

/// The calendar day number that a right clock shows at `at_us`.
#[must_use]
pub fn calendar_day(life: &LifeScript, at_us: u64) -> u32 {
    u32::from(life.first_day) + (at_us / DAY_US) as u32
}

/// When something dated comes, µs.
#[must_use]
pub const fn when_us(dated: &Dated) -> u64 {
    midnight_us(dated.day) + dated.at_s as u64 * S_US
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn working_days_leave_the_week_end_out() {
        for (day, calendar) in [(0, 0), (4, 4), (5, 7), (9, 11), (10, 14)] {
            assert_eq!(midnight_us(day), calendar * DAY_US);
            assert_eq!(working_day(calendar * DAY_US + 5 * S_US), day);
        }
        assert_eq!(working_day(6 * DAY_US), 4);
    }
}
