//! Figures as the panel writes them (`docs/PANEL.md`).

use shaftbook_panel::text::Words;

/// With a separator every three digits.
pub(super) fn grouped(value: u64, words: &Words) -> String {
    by_three(&value.to_string(), words)
}

fn by_three(digits: &str, words: &Words) -> String {
    let mut text = String::new();
    for (n, digit) in digits.chars().enumerate() {
        if n > 0 && (digits.len() - n).is_multiple_of(3) {
            text.push(words.separator);
        }
        text.push(digit);
    }
    text
}

/// As a counter of so many digits, which says how often it has rolled over.
pub(super) fn rolling(value: u64, digits: u32, words: &Words) -> String {
    let wrap = 10_u64.pow(digits);
    if value < wrap {
        return grouped(value, words);
    }
    let shown = format!("{:0width$}", value % wrap, width = digits as usize);
    format!("{}×{}", value / wrap, by_three(&shown, words))
}

/// A time of `s` seconds in hours: with a tenth below 100 h.
pub(super) fn hours(s: u64, words: &Words) -> String {
    if s < 360_000 {
        format!("{}{}{}", s / 3_600, words.decimal, s % 3_600 / 360)
    } else {
        grouped(s / 3_600, words)
    }
}

/// In thousands from 10,000 on, in millions from 1,000,000 on; a tenth below 100 of them.
pub(super) fn compact(value: u64, words: &Words) -> String {
    let (unit, prefix) = match value {
        0..10_000 => return grouped(value, words),
        10_000..1_000_000 => (1_000, 'k'),
        _ => (1_000_000, 'M'),
    };
    if value < 100 * unit {
        format!("{}{}{}{prefix}", value / unit, words.decimal, value % unit * 10 / unit)
    } else {
        format!("{}{prefix}", value / unit)
    }
}

/// The date of a day number; day 1 is 1 January 2020.
pub(super) fn date(day: u16) -> String {
    let is_leap = |year: u32| year.is_multiple_of(4) && year != 2_100;
    let (mut year, mut left) = (2_020, u32::from(day) - 1);
    while left >= 365 + u32::from(is_leap(year)) {
        left -= 365 + u32::from(is_leap(year));
        year += 1;
    }
    let months = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut month = 0;
    let days = |month: usize| months[month] + u32::from(month == 1 && is_leap(year));
    while left >= days(month) {
        left -= days(month);
        month += 1;
    }
    format!("{year:04}-{:02}-{:02}", month + 1, left + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use shaftbook_panel::text::Language;

    #[test]
    fn dates_are_those_of_the_calendar() {
        for (day, text) in [(1, "2020-01-01"), (60, "2020-02-29"), (29_220, "2099-12-31")] {
            assert_eq!(date(day), text);
        }
        // No leap day in 2100.
        assert_eq!(date(29_220 + 60), "2100-03-01");
        let words = Language::English.words();
        assert_eq!(rolling(12_000_042, 6, words), "12×000,042");
        assert_eq!((hours(359_999, words), hours(360_000, words)), ("99.9".into(), "100".into()));
    }
}
