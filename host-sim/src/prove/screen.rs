//! The worst panel: a display that is redrawn without pause, every tile of it new.
//!
//! Purpose: to load the bus and the main loop as no real panel does, so that what is
//! proved beside it holds beside any.
//!
//! Invariants: one step is what a board's panel may do between two polls: some work of
//! the processor, or one call of the display driver; the same seed gives the same steps.
//!
//! Not done here: pictures. The tiles are random bytes.

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_core::rules::Rules;
use shaftbook_drivers::display::{
    COLUMNS, Display, DisplayError, PAGES, PICTURE_BYTES, TILE_BYTES_MAX, WakeStep,
};

use embedded_hal::i2c::I2c;

use crate::bus::Bus;

/// What one step of drawing into the panel's own picture costs the processor, µs.
/// Assumption, to be measured on a board's image.
pub const PAINT_STEP_US: u64 = 1_000;

/// Tiles of a whole picture.
const TILES: u32 = (PICTURE_BYTES / TILE_BYTES_MAX) as u32;

/// A panel that redraws without pause.
#[derive(Clone, Debug)]
pub struct Screen {
    rng: Pcg32,
    doing: Doing,
    is_on: bool,
    /// Tiles sent since it was woken.
    tiles: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Doing {
    Wake(WakeStep),
    Paint,
    Tile,
    SwitchOn,
}

impl Screen {
    /// A panel that has just got its supply.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let doing = Doing::Wake(WakeStep::default());
        Self { rng: Pcg32::new(seed, 0x5C3E), doing, is_on: false, tiles: 0 }
    }

    /// The same after a loss of supply.
    #[must_use]
    pub fn powered_again(&self) -> Self {
        let doing = Doing::Wake(WakeStep::default());
        Self { rng: self.rng.clone(), doing, is_on: false, tiles: 0 }
    }

    /// Whether its next step begins a round of one paint step and one tile, like all
    /// rounds after it.
    #[must_use]
    pub fn begins_round(&self) -> bool {
        self.is_on && self.doing == Doing::Paint
    }

    /// Does the next step on `bus`, which lets bus time pass; gives the processor's time
    /// beside it, µs. After an error of the display it wakes it anew.
    pub fn step<R: Rules>(&mut self, bus: &mut Bus) -> u64 {
        let done = match self.doing {
            Doing::Wake(step) => {
                self.is_on = false;
                self.tiles = 0;
                Display::new(bus).wake(step).map(|next| next.map_or(Doing::Paint, Doing::Wake))
            }
            Doing::Paint => {
                self.doing = Doing::Tile;
                return PAINT_STEP_US;
            }
            Doing::Tile => self.send::<R>(bus).map(|()| {
                self.tiles = self.tiles.saturating_add(1);
                if self.tiles >= TILES && !self.is_on { Doing::SwitchOn } else { Doing::Paint }
            }),
            Doing::SwitchOn => Display::new(bus).switch_on().map(|()| {
                self.is_on = true;
                Doing::Paint
            }),
        };
        self.doing = done.unwrap_or(Doing::Wake(WakeStep::default()));
        0
    }

    fn send<R: Rules>(&mut self, bus: &mut Bus) -> Result<(), DisplayError> {
        let mut bytes = [0; PICTURE_BYTES + 1];
        if R::SCREEN_IN_TILES {
            let tile = self.tiles % TILES * TILE_BYTES_MAX as u32;
            let (page, column) = (tile / u32::from(COLUMNS), tile % u32::from(COLUMNS));
            let page = page as u8 % PAGES;
            let bytes = &mut bytes[..TILE_BYTES_MAX];
            self.rng.fill_bytes(bytes);
            return Display::new(bus).show_tile(column as u8, page, bytes);
        }
        // What no board does: the whole picture in one transaction.
        self.rng.fill_bytes(&mut bytes);
        bytes[0] = 0x40;
        bus.write(0x3C, &bytes).map_err(|_| DisplayError::Bus)
    }
}
