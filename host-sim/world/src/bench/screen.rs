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
use shaftbook_drivers::display::{
    COLUMNS, Display, DisplayError, PAGES, PICTURE_BYTES, TILE_BYTES_MAX, WakeStep,
};
use shaftbook_mainloop::rules::LoopRules;

use embedded_hal::i2c::I2c;

use crate::bus::Bus;

/// What one step of the panel costs the processor at most, µs.
///
/// The longest turn of the RP2040 image's main loop, a poll of the board with it, takes
/// 510,494 cycles in the emulator: the QR code, 4.1 ms at 125 MHz. `.ci/budgets.toml`,
/// `[rp2040] turn_cycles`, holds the image to this figure; a test compares the two.
pub const PAINT_STEP_US: u64 = 4_500;

/// Tiles of a whole picture.
const TILES: u32 = (PICTURE_BYTES / TILE_BYTES_MAX) as u32;

/// A panel that redraws without pause.
#[derive(Clone, Debug)]
pub struct BenchScreen {
    rng: Pcg32,
    doing: Doing,
    is_on: bool,
    /// Tiles sent since it was woken.
    tiles: u32,
    /// What a tile took on the bus, rounded up, µs.
    tile_us: Option<u64>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Doing {
    Wake(WakeStep),
    Paint,
    Tile,
    SwitchOn,
}

impl BenchScreen {
    /// A panel that has just got its supply.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let doing = Doing::Wake(WakeStep::default());
        Self { rng: Pcg32::new(seed, 0x5C3E), doing, is_on: false, tiles: 0, tile_us: None }
    }

    /// The same after a loss of supply.
    #[must_use]
    pub fn powered_again(&self) -> Self {
        let doing = Doing::Wake(WakeStep::default());
        Self { rng: self.rng.clone(), doing, is_on: false, tiles: 0, tile_us: None }
    }

    /// When its next step begins a round of one paint step and one tile, as all later
    /// ones are: how long a round takes, µs, the board's own work left out.
    #[must_use]
    pub fn round_us(&self) -> Option<u64> {
        let tile_us = self.tile_us.filter(|_| self.is_on && self.doing == Doing::Paint)?;
        Some(PAINT_STEP_US + tile_us)
    }

    /// Does the next step on `bus`, which lets bus time pass; gives the processor's time
    /// beside it, µs. After an error of the display it wakes it anew.
    pub fn step<R: LoopRules>(&mut self, bus: &mut Bus) -> u64 {
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
            Doing::Tile => self.send::<R>(bus).map(|bus_ns| {
                self.tile_us = Some(bus_ns.div_ceil(1_000));
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

    /// Sends a tile; its bus time, ns.
    fn send<R: LoopRules>(&mut self, bus: &mut Bus) -> Result<u64, DisplayError> {
        let begun_ns = bus.now_ns();
        let mut bytes = [0; PICTURE_BYTES + 1];
        if R::tile_by_tile() {
            let tile = self.tiles % TILES * TILE_BYTES_MAX as u32;
            let (page, column) = (tile / u32::from(COLUMNS), tile % u32::from(COLUMNS));
            let page = page as u8 % PAGES;
            let bytes = &mut bytes[..TILE_BYTES_MAX];
            self.rng.fill_bytes(bytes);
            Display::new(&mut *bus).show_tile(column as u8, page, bytes)?;
        } else {
            // What no board does: the whole picture in one transaction.
            self.rng.fill_bytes(&mut bytes);
            bytes[0] = 0x40;
            bus.write(0x3C, &bytes).map_err(|_| DisplayError::Bus)?;
        }
        Ok(bus.now_ns() - begun_ns)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Bench;
    use crate::bench::core::Core;
    use crate::bus::{DisplayFailure, DisplayModel};
    use shaftbook_core::counters::Needle;
    use shaftbook_core::serial::Lap;

    fn bench() -> Bench<Core> {
        let mut bench = Bench::fitted(3, Lap::new(1));
        bench.fit_screen(3);
        bench
    }

    /// Turn by turn to `until_us`, nothing left out.
    fn turn_to(bench: &mut Bench<Core>, until_us: u64) {
        while bench.now_us < until_us {
            bench.turn(until_us, &mut |_| {});
        }
        bench.pass_to(until_us, &mut |_| {});
    }

    #[test]
    fn the_display_is_woken_filled_and_lit_and_goes_on_changing() {
        let mut bench = bench();
        let begun_us = bench.now_us;
        // A round is a paint step and a tile of less than 1,000 us.
        let rounds_us = |rounds: u64| rounds * (PAINT_STEP_US + 1_000);
        let half_us = begun_us + rounds_us(50);
        turn_to(&mut bench, half_us);
        let display = bench.bus.display().expect("a display");
        assert!(display.is_on() && display.unknown_commands().is_empty());
        let (ram, bytes) = (*display.ram(), display.data_bytes());
        assert!(bytes >= PICTURE_BYTES as u64);
        turn_to(&mut bench, half_us + rounds_us(50));
        let display = bench.bus.display().expect("a display");
        assert!(ram.iter().zip(display.ram()).filter(|(a, b)| a != b).count() > 900);
        // 50 rounds, less the board's own work beside.
        assert!((display.data_bytes() - bytes) / 32 >= 45, "{}", display.data_bytes() - bytes);
    }

    /// `pass_to` leaves out rounds of the screen: the board cannot tell.
    #[test]
    fn a_screen_whose_rounds_are_skipped_leaves_the_board_at_the_same_point() {
        let (mut turns, mut skips) = (bench(), bench());
        let needle = Needle::new(2).expect("needle 2");
        for us in [300_000, 1_999_999, 61_000_000, 5_000_001] {
            let until_us = turns.now_us.max(skips.now_us) + us;
            turn_to(&mut turns, until_us);
            skips.pass_to(until_us, &mut |_| {});
            assert_eq!(turns.now_us, skips.now_us);
            assert_eq!(turns.acknowledged, skips.acknowledged);
            assert_eq!(turns.effects, skips.effects);
            assert_eq!(turns.bus.part().cells(), skips.bus.part().cells());
            assert_eq!(turns.bus.tally().cycles, skips.bus.tally().cycles);
            turns.sew(needle, 4, 400_000, &mut |_| {});
            skips.sew(needle, 4, 400_000, &mut |_| {});
        }
        let bytes = |bench: &Bench<Core>| bench.bus.display().map_or(0, DisplayModel::data_bytes);
        assert!(bytes(&turns) > 20 * bytes(&skips), "{} {}", bytes(&turns), bytes(&skips));
    }

    #[test]
    fn a_display_that_dies_leaves_the_store_alone_and_the_board_counts_on() {
        let mut bench = bench();
        let begun_us = bench.now_us;
        turn_to(&mut bench, begun_us + 100_000);
        bench.bus.display_mut().expect("a display").fail_after(100, DisplayFailure::Dies);
        turn_to(&mut bench, begun_us + 200_000);
        let needle = Needle::new(2).expect("needle 2");
        bench.sew(needle, 30, 400_000, &mut |_| {});
        assert!(bench.acknowledged.stitches() > 0 && bench.board().faults().is_empty());
    }
}
