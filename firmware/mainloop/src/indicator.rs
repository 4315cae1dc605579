//! Lamp and buzzer: what a person notices from across the room.
//!
//! | lamp | meaning |
//! |---|---|
//! | lit | all is well |
//! | slow blinking, 1 s lit, 1 s dark | something is due |
//! | fast blinking, 0.2 s lit, 0.2 s dark | a fault: the panel names it |
//!
//! The buzzer gives one short chirp for a press, and three when something has come due. The
//! patterns are our own choice.
//!
//! Invariant: what lamp and buzzer show depends on the state and the time alone. The main loop
//! keeps both off while it answers a power-fail warning, to spare the hold-up capacitor.

use shaftbook_core::time::Instant;

/// Half a period of slow blinking, µs.
pub const SLOW_US: u64 = 1_000_000;
/// Half a period of fast blinking, µs.
pub const FAST_US: u64 = 200_000;
/// Length of a chirp and of the pause after it, µs.
pub const CHIRP_US: u64 = 60_000;
/// Chirps when something has come due.
const CHIRPS_DUE: u8 = 3;

/// What the lamp says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Lamp {
    /// Lit.
    #[default]
    Well,
    /// Slow blinking.
    Due,
    /// Fast blinking.
    Fault,
}

/// Lamp and buzzer.
#[derive(Clone, Copy, Debug, Default)]
pub struct Indicator {
    standing: Lamp,
    due: u8,
    /// When the chirps began, and how many.
    chirps: Option<(Instant, u8)>,
}

impl Indicator {
    /// All is well, and quiet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// How things stand now: `faulty`, and how many components or services are due.
    pub fn stands(&mut self, now: Instant, faulty: bool, due: u8) {
        if due > self.due {
            self.chirps = Some((now, CHIRPS_DUE));
        }
        self.due = due;
        self.standing = match (faulty, due) {
            (true, _) => Lamp::Fault,
            (false, 0) => Lamp::Well,
            _ => Lamp::Due,
        };
    }

    /// A button was pressed.
    pub fn pressed(&mut self, now: Instant) {
        self.chirps = Some((now, 1));
    }

    /// What the lamp says.
    #[must_use]
    pub const fn standing(&self) -> Lamp {
        self.standing
    }

    /// Whether the lamp is lit at `now`.
    #[must_use]
    pub fn is_lit(&self, now: Instant) -> bool {
        self.half_us().is_none_or(|half_us| (now.as_us() / half_us).is_multiple_of(2))
    }

    /// Whether the buzzer sounds at `now`.
    #[must_use]
    pub fn is_sounding(&self, now: Instant) -> bool {
        self.half(now).is_some_and(|half| half.is_multiple_of(2))
    }

    /// When lamp or buzzer change next.
    #[must_use]
    pub fn deadline(&self, now: Instant) -> Instant {
        let lamp = self.half_us().map_or(Instant::NEVER, |half_us| {
            Instant::from_us((now.as_us() / half_us + 1).saturating_mul(half_us))
        });
        let buzzer = match (self.chirps, self.half(now)) {
            (Some((began, _)), Some(half)) => began.plus_us((half + 1) * CHIRP_US),
            _ => Instant::NEVER,
        };
        lamp.min(buzzer)
    }

    const fn half_us(&self) -> Option<u64> {
        match self.standing {
            Lamp::Well => None,
            Lamp::Due => Some(SLOW_US),
            Lamp::Fault => Some(FAST_US),
        }
    }

    /// Which chirp or pause it is, from 0; `None` when they are over.
    fn half(&self, now: Instant) -> Option<u64> {
        let (began, chirps) = self.chirps?;
        let half = now.since_us(began) / CHIRP_US;
        (half < 2 * u64::from(chirps)).then_some(half)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(ms: u64) -> Instant {
        Instant::from_us(ms * 1_000)
    }

    #[test]
    fn the_lamp_says_the_worst() {
        let mut indicator = Indicator::new();
        assert!(indicator.is_lit(ms(0)) && indicator.is_lit(ms(1_500)));
        assert_eq!(indicator.deadline(ms(3)), Instant::NEVER, "nothing to wake up for");
        indicator.stands(ms(0), false, 2);
        assert!(indicator.is_lit(ms(999)) && !indicator.is_lit(ms(1_000)));
        indicator.stands(ms(0), true, 2);
        assert!(indicator.is_lit(ms(199)) && !indicator.is_lit(ms(200)));
        assert_eq!(indicator.standing(), Lamp::Fault);
    }

    #[test]
    fn what_comes_due_chirps_three_times_and_a_press_once() {
        let mut indicator = Indicator::new();
        let chirps = |indicator: &Indicator, from: u64| {
            (0..1_000).filter(|n| indicator.is_sounding(ms(from + n))).count()
        };
        indicator.stands(ms(5_000), false, 1);
        assert_eq!(chirps(&indicator, 5_000), 180);
        assert_eq!(indicator.deadline(ms(5_000)), ms(5_060));
        indicator.stands(ms(6_000), false, 1);
        assert_eq!(chirps(&indicator, 6_000), 0, "known");
        indicator.stands(ms(7_000), false, 0);
        assert_eq!(chirps(&indicator, 7_000), 0, "renewed");
        indicator.pressed(ms(8_000));
        assert_eq!(chirps(&indicator, 8_000), 60);
        assert_eq!(indicator.deadline(ms(9_000)), Instant::NEVER);
    }
}
