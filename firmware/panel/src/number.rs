//! Figures as they are shown: digits in groups, hours, and counters that show when they have
//! rolled over.
//!
//! Invariant: no figure is cut off. A line takes as much text as fits and drops the rest; the
//! tests of `text` check that every text fits.

use core::fmt::Write;

use heapless::String;

/// Most bytes in a line: 21 columns of Latin-1, at most two bytes each in UTF-8.
pub const LINE_BYTES: usize = 44;

/// A line of text on a screen.
pub type Line = String<LINE_BYTES>;

/// Digits that the lifetime hours have on the display: 999,999 h are 114 years.
pub const HOURS_DIGITS: u32 = 6;
/// Digits that counts have on the display.
pub const COUNT_DIGITS: u32 = 10;

/// `text` as a line; what does not fit [`LINE_BYTES`] is left away.
#[must_use]
pub fn line(text: &str) -> Line {
    let mut line = Line::new();
    add(&mut line, text);
    line
}

/// Adds `text` to `line`, as much as fits.
pub fn add(line: &mut Line, text: &str) {
    for c in text.chars() {
        if line.push(c).is_err() {
            return;
        }
    }
}

/// Adds `value` with a separator every three digits.
pub fn grouped(line: &mut Line, value: u64, separator: char) {
    let mut digits = String::<20>::new();
    // Cannot fail: a u64 has at most 20 digits.
    let _ = write!(digits, "{value}");
    let count = digits.len();
    for (n, digit) in digits.chars().enumerate() {
        if n > 0 && (count - n).is_multiple_of(3) {
            let _ = line.push(separator);
        }
        let _ = line.push(digit);
    }
}

/// Adds `value` as a counter of `digits` digits (1 to 19) shows it: when it has rolled
/// over, how often stands in front, as in `1×000,042`.
pub fn rolling(line: &mut Line, value: u64, digits: u32, separator: char) {
    let wrap = 10_u64.saturating_pow(digits.clamp(1, 19));
    let (laps, shown) = (value / wrap, value % wrap);
    if laps == 0 {
        grouped(line, shown, separator);
        return;
    }
    let _ = write!(line, "{laps}×");
    let mut place = wrap / 10;
    let mut left = digits;
    while place > 0 {
        let _ = write!(line, "{}", shown / place % 10);
        left = left.saturating_sub(1);
        if left > 0 && left.is_multiple_of(3) {
            let _ = line.push(separator);
        }
        place /= 10;
    }
}

/// Adds `value` in at most five columns: in full below 10,000; above in thousands (k) and
/// millions (M), with a tenth while there is room. The prefixes are those of the SI, set
/// close to save a column. Rounded down.
pub fn compact(line: &mut Line, value: u64, separator: char, decimal: char) {
    let (unit, prefix) = match value {
        0..10_000 => return grouped(line, value, separator),
        10_000..1_000_000 => (1_000, 'k'),
        _ => (1_000_000, 'M'),
    };
    let tenths = value / (unit / 10);
    // Cannot fail: a line has room for it.
    let _ = if tenths < 1_000 {
        write!(line, "{}{decimal}{}{prefix}", tenths / 10, tenths % 10)
    } else {
        write!(line, "{}{prefix}", tenths / 10)
    };
}

/// Adds a wait of `seconds`, rounded up: in s, min or h, two digits up to 99 h.
pub fn wait(line: &mut Line, seconds: u32) {
    let (shown, unit) = match seconds {
        0..=99 => (seconds, "s"),
        100..=5_940 => (seconds.div_ceil(60), "min"),
        _ => (seconds.div_ceil(3_600), "h"),
    };
    // Cannot fail: a line has room for it.
    let _ = write!(line, "{shown} {unit}");
}

/// Adds a time of `s` seconds in hours: one decimal below 100 h, none above.
pub fn hours(line: &mut Line, s: u64, separator: char, decimal: char) {
    let tenths = s / 360;
    if tenths < 1_000 {
        let _ = write!(line, "{}{decimal}{}", tenths / 10, tenths % 10);
    } else {
        grouped(line, tenths / 10, separator);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(write: impl FnOnce(&mut Line)) -> Line {
        let mut line = Line::new();
        write(&mut line);
        line
    }

    #[test]
    fn figures_are_grouped_by_three() {
        for (value, shown) in
            [(0, "0"), (999, "999"), (1_000, "1,000"), (u64::MAX, "18,446,744,073,709,551,615")]
        {
            assert_eq!(text(|l| grouped(l, value, ',')), shown);
        }
    }

    #[test]
    fn a_display_that_has_rolled_over_says_so() {
        for (value, shown) in
            [(999_999, "999,999"), (1_000_000, "1×000,000"), (12_000_042, "12×000,042")]
        {
            assert_eq!(text(|l| rolling(l, value, HOURS_DIGITS, ',')), shown);
        }
        assert_eq!(text(|l| rolling(l, 10_000_000_007, COUNT_DIGITS, ',')), "1×0,000,000,007");
        assert_eq!(text(|l| rolling(l, u64::MAX, 19, ',')).chars().next(), Some('1'));
    }

    #[test]
    fn hours_have_a_decimal_while_they_are_few() {
        for (s, shown) in
            [(0, "0.0"), (359, "0.0"), (360, "0.1"), (359_999, "99.9"), (360_000, "100")]
        {
            assert_eq!(text(|l| hours(l, s, ',', '.')), shown);
        }
    }

    #[test]
    fn large_counts_are_shown_in_thousands_and_millions() {
        for (value, shown) in [
            (9_999, "9,999"),
            (10_000, "10.0k"),
            (99_999, "99.9k"),
            (100_000, "100k"),
            (999_999, "999k"),
            (1_000_000, "1.0M"),
            (99_999_999, "99.9M"),
            (4_294_967_295, "4294M"),
        ] {
            assert_eq!(text(|l| compact(l, value, ',', '.')), shown);
        }
    }

    #[test]
    fn a_wait_is_never_shown_shorter_than_it_is() {
        for (seconds, shown) in [
            (30, "30 s"),
            (99, "99 s"),
            (100, "2 min"),
            (5_940, "99 min"),
            (5_941, "2 h"),
            (86_400, "24 h"),
        ] {
            assert_eq!(text(|l| wait(l, seconds)), shown);
        }
    }

    #[test]
    fn a_line_that_is_too_long_is_cut_at_a_character() {
        assert_eq!(line(&"ü".repeat(40)).chars().count(), LINE_BYTES / 2);
    }
}
