//! A time of day, `"HH:MM"`, 00:00 to 24:00.

use serde::{Deserialize, Deserializer, de::Error};

/// A time of day, to the minute.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct TimeOfDay {
    minutes: u32,
}

impl TimeOfDay {
    /// Reads `HH:MM`; `None` unless it is 00:00 to 24:00.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (hours, minutes) = text.split_once(':')?;
        let two_digits = |t: &str| {
            (t.len() == 2 && t.bytes().all(|b| b.is_ascii_digit()))
                .then(|| t.parse::<u32>().ok())?
        };
        let (hours, minutes) = (two_digits(hours)?, two_digits(minutes)?);
        let total = hours * 60 + minutes;
        (minutes < 60 && total <= 24 * 60).then_some(Self { minutes: total })
    }

    /// µs since midnight.
    #[must_use]
    pub const fn as_us(self) -> u64 {
        self.minutes as u64 * 60_000_000
    }
}

impl<'de> Deserialize<'de> for TimeOfDay {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::parse(&text)
            .ok_or_else(|| D::Error::custom(format!("\"{text}\" is not a time HH:MM up to 24:00")))
    }
}

#[cfg(test)]
mod tests {
    use super::TimeOfDay;

    #[test]
    fn reads_times_and_refuses_the_rest() {
        assert_eq!(TimeOfDay::parse("08:30").unwrap().as_us(), 30_600_000_000);
        assert_eq!(TimeOfDay::parse("24:00").unwrap().as_us(), 86_400_000_000);
        for bad in ["24:01", "8:30", "08:60", "0830", "", "-1:00", "08:3a"] {
            assert_eq!(TimeOfDay::parse(bad), None, "{bad}");
        }
    }
}
