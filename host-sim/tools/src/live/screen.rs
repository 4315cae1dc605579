//! The display of the live panel: painted by the panel's painter, sent by the board's
//! driver over the simulated bus, and read back from the display model's memory.
//!
//! Invariant: what is shown is what arrived in the display's memory, nothing else.

use shaftbook_drivers::display::{Display, DisplayError, WakeStep};
use shaftbook_panel::frame::{FRAME_BYTES, Frame};
use shaftbook_panel::painter::{Painter, Work};
use shaftbook_panel::view::View;

use shaftbook_world::bus::Bus;

/// Simulated time that one step takes of the board, µs: one tile on the bus.
pub const STEP_US: u64 = 1_000;

/// How far the display is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Waking(WakeStep),
    /// Awake, dark: its first picture is under way.
    Dark,
    Lit,
}

/// The display's side of the board.
#[derive(Clone, Debug)]
pub struct Screen {
    painter: Painter,
    stage: Stage,
}

impl Screen {
    /// After power-up.
    #[must_use]
    pub const fn new() -> Self {
        Self { painter: Painter::new(), stage: Stage::Waking(WakeStep::Clock) }
    }

    /// One step towards showing `view`; whether there is more to do.
    pub fn step(&mut self, bus: &mut Bus, view: &View) -> bool {
        let mut display = Display::new(bus);
        if let Ok(more) = self.try_step(&mut display, view) {
            return more;
        }
        // Missing or dying: from the start, at the next picture.
        *self = Self::new();
        false
    }

    fn try_step(
        &mut self,
        display: &mut Display<&mut Bus>,
        view: &View,
    ) -> Result<bool, DisplayError> {
        if let Stage::Waking(step) = self.stage {
            self.stage = match display.wake(step)? {
                Some(step) => Stage::Waking(step),
                None => Stage::Dark,
            };
            return Ok(true);
        }
        self.painter.offer(view.clone());
        match self.painter.work() {
            Work::Painted => Ok(true),
            Work::Send(number, tile) => {
                display.show_tile(tile.column, tile.page, &tile.bytes)?;
                self.painter.sent(number);
                Ok(true)
            }
            Work::Idle if self.stage == Stage::Dark => {
                display.switch_on()?;
                self.stage = Stage::Lit;
                Ok(true)
            }
            Work::Idle => Ok(false),
        }
    }
}

impl Default for Screen {
    fn default() -> Self {
        Self::new()
    }
}

/// What a person sees on the display of `bus`: dark when there is none, or it is off.
#[must_use]
pub fn seen(bus: &Bus) -> Frame {
    let lit = bus.display().filter(|display| display.is_on());
    lit.map_or_else(Frame::new, |display| {
        let bytes: &[u8; FRAME_BYTES] = display.ram();
        Frame::from_bytes(*bytes)
    })
}
