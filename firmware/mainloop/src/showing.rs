//! Keeps the display awake and up to date, one short step at a time.
//!
//! Invariants: a step is one piece of drawing or one call of the display driver; a display that
//! is missing costs one short call every [`AWAY_US`].
//!
//! A display that lost its settings in a dip of its supply still acknowledges. So every display
//! is woken anew every [`REFRESH_US`], and its whole picture is sent again. It is dark for some
//! 3 ms, which nobody sees.

use embedded_hal::i2c::I2c;
use shaftbook_core::time::Instant;
use shaftbook_drivers::display::{Display, DisplayError, WakeStep};
use shaftbook_panel::painter::{Painter, Work};
use shaftbook_panel::view::View;

use crate::rules::LoopRules;

/// A display that did not answer is tried again after this, µs.
pub const AWAY_US: u64 = 1_000_000;
/// A display is woken anew after this, µs.
pub const REFRESH_US: u64 = 60_000_000;

/// How far the display is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// Being woken; whether its picture is still there, for all that is known.
    Waking(WakeStep, bool),
    /// Awake and dark: its first picture is under way.
    Dark,
    /// Lit.
    Lit,
}

/// The display's side of the main loop.
#[derive(Clone, Debug)]
pub struct Showing {
    painter: Painter,
    stage: Stage,
    /// When it may be spoken to again.
    not_before: Instant,
    /// When it is woken anew.
    refresh_at: Instant,
    /// Something was offered: there is a picture to light up.
    has_picture: bool,
}

impl Showing {
    /// After power-up: nothing is known of the display.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            painter: Painter::new(),
            stage: Stage::Waking(WakeStep::Clock, false),
            not_before: Instant::ZERO,
            refresh_at: Instant::ZERO,
            has_picture: false,
        }
    }

    /// Takes `view` to show, unless another is under way: offer it again then.
    pub fn offer(&mut self, view: View) {
        self.has_picture = true;
        self.painter.offer(view);
    }

    /// When there is a step to do, if nothing new is offered; in the past: now.
    #[must_use]
    pub fn deadline(&self) -> Instant {
        match self.stage {
            Stage::Lit if !self.painter.is_busy() => self.refresh_at.max(self.not_before),
            Stage::Dark if !self.has_picture => Instant::NEVER,
            _ => self.not_before,
        }
    }

    /// Does the next step on `bus`.
    pub fn step<R: LoopRules, B: I2c>(&mut self, now: Instant, bus: &mut B) {
        if self.stage == Stage::Lit && now >= self.refresh_at && !self.painter.is_busy() {
            self.stage = Stage::Waking(WakeStep::Clock, true);
        }
        if self.try_step::<R, B>(now, &mut Display::new(bus)).is_err() {
            // Missing or dying: from the start, in a while.
            self.stage = Stage::Waking(WakeStep::Clock, false);
            self.not_before = now.plus_us(AWAY_US);
        }
    }

    fn try_step<R: LoopRules, B: I2c>(
        &mut self,
        now: Instant,
        display: &mut Display<&mut B>,
    ) -> Result<(), DisplayError> {
        match self.stage {
            Stage::Waking(step, was_lit) => {
                self.stage = match (display.wake(step)?, was_lit) {
                    (Some(step), _) => Stage::Waking(step, was_lit),
                    (None, false) => {
                        self.painter.forget();
                        Stage::Dark
                    }
                    (None, true) => {
                        display.switch_on()?;
                        self.lit::<R>(now);
                        // And the picture, behind it, in case that was lost too.
                        self.painter.forget();
                        Stage::Lit
                    }
                };
            }
            Stage::Dark | Stage::Lit => loop {
                match self.painter.work() {
                    Work::Send(number, tile) => {
                        display.show_tile(tile.column, tile.page, &tile.bytes)?;
                        self.painter.sent(number);
                        if !R::tile_by_tile() {
                            continue;
                        }
                    }
                    Work::Idle if self.stage == Stage::Dark => {
                        display.switch_on()?;
                        self.stage = Stage::Lit;
                        self.lit::<R>(now);
                    }
                    Work::Painted | Work::Idle => {}
                }
                break;
            },
        }
        Ok(())
    }

    fn lit<R: LoopRules>(&mut self, now: Instant) {
        self.refresh_at =
            if R::display_woken_anew() { now.plus_us(REFRESH_US) } else { Instant::NEVER };
    }
}

impl Default for Showing {
    fn default() -> Self {
        Self::new()
    }
}
