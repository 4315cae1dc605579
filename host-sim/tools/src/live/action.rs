//! What a person does at the machine, as words that scripts and tests are made of.

use std::fmt;
use std::str::FromStr;

use shaftbook_panel::button::{Button, Press};

/// One action.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    /// Presses a button.
    Press(Press),
    /// Lets time pass, s.
    Wait(u64),
    /// Turns the machine off at the wall.
    Off,
    /// Turns it on.
    On,
    /// Types the engineer's right reply to the challenge on the screen, up to sending it.
    Reply,
}

/// A word that is no action.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoAction(String);

impl fmt::Display for NoAction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "`{}` is no action; give back, next, act, home (hold back), hold (hold act), off, on, \
             reply, or a time to wait such as 90s, 30m or 8h",
            self.0
        )
    }
}

impl std::error::Error for NoAction {}

impl FromStr for Action {
    type Err = NoAction;

    fn from_str(word: &str) -> Result<Self, NoAction> {
        Ok(match word {
            "back" => Self::Press(Press::Short(Button::Back)),
            "next" => Self::Press(Press::Short(Button::Next)),
            "act" => Self::Press(Press::Short(Button::Act)),
            "home" => Self::Press(Press::Long(Button::Back)),
            "hold" => Self::Press(Press::Long(Button::Act)),
            "off" => Self::Off,
            "on" => Self::On,
            "reply" => Self::Reply,
            _ => Self::Wait(seconds(word).ok_or_else(|| NoAction(word.into()))?),
        })
    }
}

/// "90s", "30m", "8h".
fn seconds(word: &str) -> Option<u64> {
    let unit = word.chars().last()?;
    let count: u64 = word.strip_suffix(unit)?.parse().ok()?;
    let unit_s = match unit {
        's' => 1,
        'm' => 60,
        'h' => 3_600,
        _ => return None,
    };
    count.checked_mul(unit_s).filter(|s| *s <= 100 * 365 * 86_400)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn actions_are_words_and_times() {
        assert_eq!("90s".parse(), Ok(Action::Wait(90)));
        assert_eq!("8h".parse(), Ok(Action::Wait(28_800)));
        assert_eq!("hold".parse(), Ok(Action::Press(Press::Long(Button::Act))));
        for wrong in ["", "h", "8", "8d", "-1s", "jump", "99999999999999999999h", "9999999999h"] {
            assert!(wrong.parse::<Action>().is_err(), "{wrong}");
        }
    }
}
