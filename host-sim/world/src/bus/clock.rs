//! A clock chip: the first sixteen registers of a DS3231 as it is read, with a
//! date that stands still (its data sheet, from memory; crate `ds323x` agrees).
//!
//! Not done here: a clock that goes on, alarms, and setting it.

/// The clock's 7-bit address.
pub(super) const CLOCK_ADDRESS: u8 = 0x68;
/// Days in the months of a year that is no leap year.
const MONTHS: [u16; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
/// Register of the status; its highest bit says that the oscillator has stopped.
const STATUS: usize = 15;

/// What a clock on the bus says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum ClockSays {
    /// Nothing: there is none, or it is dead.
    #[default]
    Nothing,
    /// A date, but it was not set since its battery was empty.
    NotSet,
    /// What is no date: a 31 June.
    NoDate,
    /// This day: 1 is 1 January 2020, up to 29,220, the last of 2099.
    Day(u16),
}

impl ClockSays {
    /// Its registers; `None` when nobody answers.
    pub(super) fn registers(self) -> Option<[u8; 16]> {
        let (year, month, day) = match self {
            Self::Nothing => return None,
            Self::NotSet => (0, 1, 1),
            Self::NoDate => (30, 6, 31),
            Self::Day(day) => date(day),
        };
        let digits = |value: u16| (value / 10 * 16 + value % 10) as u8;
        let mut registers = [0; 16];
        registers[3..7].copy_from_slice(&[1, digits(day), digits(month), digits(year)]);
        registers[STATUS] = if self == Self::NotSet { 0x80 } else { 0 };
        Some(registers)
    }
}

/// Year after 2000, month and day of the month of a day number.
fn date(day: u16) -> (u16, u16, u16) {
    let (mut year, mut left) = (20, day - 1);
    let length = |year: u16| if year.is_multiple_of(4) { 366 } else { 365 };
    while left >= length(year) {
        left -= length(year);
        year += 1;
    }
    let mut month = 0;
    let days = |month: usize| MONTHS[month] + u16::from(month == 1 && year.is_multiple_of(4));
    while left >= days(month) {
        left -= days(month);
        month += 1;
    }
    (year, month as u16 + 1, left + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_number_is_the_date_that_the_calendar_gives() {
        assert_eq!(date(1), (20, 1, 1));
        assert_eq!(date(60), (20, 2, 29));
        assert_eq!(date(366), (20, 12, 31));
        assert_eq!(date(367), (21, 1, 1));
        // 1 January 2026 and the last days of 2065 and 2099, as `docs/CARE.md` has them.
        assert_eq!(date(2_193), (26, 1, 1));
        assert_eq!(date(16_802), (65, 12, 31));
        assert_eq!(date(29_220), (99, 12, 31));
    }
}
