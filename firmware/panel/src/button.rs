//! Three buttons: edges with their time stamps in, short and long presses out.
//!
//! Invariants: a press is reported once; a long one is reported while the button is still held,
//! so that a person sees that it was long enough; contact bounce is ignored. Two buttons held
//! together are no press.

use shaftbook_core::input::Level;
use shaftbook_core::time::Instant;

/// A button must hold a level this long to be believed, µs.
pub const DEBOUNCE_US: u64 = 20_000;
/// A press this long is a long one, µs.
pub const LONG_US: u64 = 800_000;

/// One of the three buttons.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Button {
    /// Leave, or one step back.
    Back,
    /// The next screen, line or digit.
    Next,
    /// Open, or do.
    Act,
}

impl Button {
    /// All three, from left to right.
    pub const ALL: [Self; 3] = [Self::Back, Self::Next, Self::Act];

    const fn index(self) -> usize {
        self as usize
    }
}

/// A button pressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Press {
    /// Let go before [`LONG_US`].
    Short(Button),
    /// Held for [`LONG_US`].
    Long(Button),
}

#[derive(Clone, Copy, Debug, Default)]
struct Contact {
    /// The level as read, and since when.
    reading: Level,
    since: Instant,
    /// When the press that is believed began; `None` while released.
    pressed: Option<Instant>,
    /// The press was told, or is not to be told.
    told: bool,
}

/// The three buttons.
#[derive(Clone, Copy, Debug, Default)]
pub struct Buttons([Contact; 3]);

impl Buttons {
    /// All released.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// An edge of `button`.
    pub fn edge(&mut self, at: Instant, button: Button, level: Level) {
        if let Some(contact) = self.0.get_mut(button.index())
            && contact.reading != level
        {
            contact.reading = level;
            contact.since = at;
        }
    }

    /// What has been pressed up to `now`, one press a call: call again until `None`.
    pub fn poll(&mut self, now: Instant) -> Option<Press> {
        let mut found = None;
        for button in Button::ALL {
            let Some(contact) = self.0.get_mut(button.index()) else { continue };
            let debounced = now.since_us(contact.since) >= DEBOUNCE_US;
            match (contact.pressed, contact.reading) {
                (None, Level::Active) if debounced => {
                    contact.pressed = Some(contact.since);
                    contact.told = false;
                }
                (Some(began), Level::Inactive) if debounced => {
                    contact.pressed = None;
                    if !contact.told && found.is_none() {
                        contact.told = true;
                        let long = contact.since.since_us(began) >= LONG_US;
                        found = Some(if long { Press::Long(button) } else { Press::Short(button) });
                    }
                }
                (Some(began), Level::Active)
                    if !contact.told && found.is_none() && now.since_us(began) >= LONG_US =>
                {
                    contact.told = true;
                    found = Some(Press::Long(button));
                }
                _ => {}
            }
        }
        if self.0.iter().filter(|contact| contact.pressed.is_some()).count() > 1 {
            self.0.iter_mut().for_each(|contact| contact.told = true);
            return None;
        }
        found
    }

    /// When to poll again if no edge comes before.
    #[must_use]
    pub fn deadline(&self) -> Instant {
        let due = |contact: &Contact| match (contact.pressed, contact.reading) {
            (None, Level::Active) | (Some(_), Level::Inactive) => {
                contact.since.plus_us(DEBOUNCE_US)
            }
            (Some(began), Level::Active) if !contact.told => began.plus_us(LONG_US),
            _ => Instant::NEVER,
        };
        self.0.iter().map(due).min().unwrap_or(Instant::NEVER)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(ms: u64) -> Instant {
        Instant::from_us(ms * 1_000)
    }

    #[test]
    fn a_bouncing_press_is_told_once_when_it_is_let_go() {
        let mut buttons = Buttons::new();
        for (at, level) in [(0, true), (3, false), (5, true)] {
            buttons.edge(ms(at), Button::Next, Level::from_bool(level));
            assert_eq!(buttons.poll(ms(at)), None);
        }
        assert_eq!(buttons.deadline(), ms(25));
        assert_eq!(buttons.poll(ms(25)), None, "held");
        buttons.edge(ms(200), Button::Next, Level::Inactive);
        assert_eq!(buttons.poll(ms(219)), None, "may still bounce");
        assert_eq!(buttons.poll(ms(220)), Some(Press::Short(Button::Next)));
        assert_eq!(buttons.poll(ms(221)), None);
        assert_eq!(buttons.deadline(), Instant::NEVER);
    }

    #[test]
    fn a_long_press_is_told_while_held_and_only_once() {
        let mut buttons = Buttons::new();
        buttons.edge(ms(0), Button::Act, Level::Active);
        assert_eq!(buttons.poll(ms(20)), None);
        assert_eq!(buttons.deadline(), ms(800));
        assert_eq!(buttons.poll(ms(800)), Some(Press::Long(Button::Act)));
        assert_eq!(buttons.poll(ms(5_000)), None);
        buttons.edge(ms(5_001), Button::Act, Level::Inactive);
        assert_eq!(buttons.poll(ms(6_000)), None);
    }

    #[test]
    fn a_press_that_was_polled_late_is_judged_by_its_edges() {
        let mut buttons = Buttons::new();
        buttons.edge(ms(0), Button::Act, Level::Active);
        buttons.poll(ms(30));
        buttons.edge(ms(100), Button::Act, Level::Inactive);
        assert_eq!(buttons.poll(ms(9_000)), Some(Press::Short(Button::Act)));
    }

    #[test]
    fn two_buttons_together_are_no_press() {
        let mut buttons = Buttons::new();
        buttons.edge(ms(0), Button::Back, Level::Active);
        buttons.edge(ms(10), Button::Act, Level::Active);
        assert_eq!(buttons.poll(ms(40)), None);
        assert_eq!(buttons.poll(ms(2_000)), None);
        buttons.edge(ms(2_100), Button::Back, Level::Inactive);
        buttons.edge(ms(2_100), Button::Act, Level::Inactive);
        assert_eq!(buttons.poll(ms(2_200)), None);
        buttons.edge(ms(3_000), Button::Act, Level::Active);
        buttons.poll(ms(3_030));
        buttons.edge(ms(3_100), Button::Act, Level::Inactive);
        assert_eq!(buttons.poll(ms(3_200)), Some(Press::Short(Button::Act)));
    }
}
