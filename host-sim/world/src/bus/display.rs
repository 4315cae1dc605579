//! The panel's display on the bus: an SSD1306 with its glass, as `docs/FAULT_MODEL.md`
//! says.
//!
//! Purpose: to show what a viewer would see after the bytes that the board's own driver
//! sent, and to fail as a display can: absent, dying or holding the bus after any byte.
//!
//! Invariants: the same bytes give the same picture; memory changes only by data bytes
//! and loss of supply; a command that is not known is noted and changes nothing.
//!
//! Not modelled: scrolling, the wiring of the rows (`DA`), brightness as light, and the
//! time that the charge pump takes.
//!
//! Source: SSD1306 datasheet rev. 1.1, sections 8.1.5, 9 and 10, from memory.

use rand_core::Rng;
use rand_pcg::Pcg32;

use super::display_command::{Addressing, Decoder, Setting, Settings};

/// Columns of the glass, pixels.
pub const COLUMNS: usize = 128;
/// Rows of the glass, pixels.
pub const ROWS: usize = 64;
/// Bytes of the display's memory: a byte is a column of 8 pixels.
pub const RAM_BYTES: usize = COLUMNS * ROWS / 8;

/// How a display fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DisplayFailure {
    /// It acknowledges nothing any more.
    Dies,
    /// It holds the data line low, in the middle of a byte.
    HoldsBus,
}

/// What became of a byte sent to the display.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Taken {
    Acknowledged,
    NotAcknowledged,
    /// The line stayed low.
    Held,
}

/// A display of 128 by 64 pixels.
#[derive(Clone, Debug)]
pub struct DisplayModel {
    ram: [u8; RAM_BYTES],
    column: usize,
    page: usize,
    settings: Settings,
    decoder: Decoder,
    /// Bytes, addresses included, that it takes before it fails, and how.
    failure: Option<(u64, DisplayFailure)>,
    data_bytes: u64,
    unknown: Vec<u8>,
    rng: Pcg32,
}

impl DisplayModel {
    /// A display that has just got its supply: reset, dark, its memory arbitrary bytes
    /// drawn from `seed`.
    pub(super) fn new(seed: u64) -> Self {
        let mut it = Self {
            ram: [0; RAM_BYTES],
            column: 0,
            page: 0,
            settings: Settings::RESET,
            decoder: Decoder::default(),
            failure: None,
            data_bytes: 0,
            unknown: Vec::new(),
            rng: Pcg32::new(seed, 0xD15),
        };
        it.power_cycle();
        it
    }

    /// The supply went and came back: settings as after reset, memory arbitrary. What
    /// is dead stays dead; a controller that hung and held the bus is sound again.
    pub(super) fn power_cycle(&mut self) {
        self.rng.fill_bytes(&mut self.ram);
        (self.column, self.page) = (0, 0);
        self.settings = Settings::RESET;
        self.decoder = Decoder::default();
        if self.failure == Some((0, DisplayFailure::HoldsBus)) {
            self.failure = None;
        }
    }

    /// It fails after it has taken `bytes` more bytes, its address included. 0: it is
    /// not there, or holds the bus at its next address.
    pub fn fail_after(&mut self, bytes: u64, how: DisplayFailure) {
        self.failure = Some((bytes, how));
    }

    /// Whether the pixel in column `x` (0 to 127, left to right) and row `y` (0 to 63,
    /// top to bottom) is lit, on a module mounted as most are: column 127 of the
    /// controller on the left unless remapped (`A1`), rows from the bottom unless
    /// scanned backwards (`C8`) (common practice, no source). False off the glass.
    #[must_use]
    pub fn pixel(&self, x: usize, y: usize) -> bool {
        let it = &self.settings;
        if x >= COLUMNS || y >= ROWS || !it.is_on || !it.has_pump {
            return false;
        }
        let row = if it.scans_backwards { y } else { ROWS - 1 - y };
        if row > it.last_row {
            return false;
        }
        let column = if it.is_remapped { x } else { COLUMNS - 1 - x };
        let line = (row + it.start_line + it.offset) % ROWS;
        let bit = self.ram[line / 8 * COLUMNS + column] >> (line % 8) & 1 == 1;
        it.is_all_on || bit != it.is_inverse
    }

    /// Its memory: byte `page * 128 + column`.
    #[must_use]
    pub fn ram(&self) -> &[u8; RAM_BYTES] {
        &self.ram
    }

    /// Whether it is switched on. Lit it is with its charge pump on too.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.settings.is_on
    }

    /// Its contrast, 0 to 255.
    #[must_use]
    pub fn contrast(&self) -> u8 {
        self.settings.contrast
    }

    /// Data bytes taken since it was made.
    #[must_use]
    pub fn data_bytes(&self) -> u64 {
        self.data_bytes
    }

    /// First bytes of the commands that it did not know, or that ended before their
    /// last byte.
    #[must_use]
    pub fn unknown_commands(&self) -> &[u8] {
        &self.unknown
    }

    /// Its address was sent.
    pub(super) fn select(&mut self) -> Taken {
        self.decoder.start();
        self.take()
    }

    /// What a read gives, over and over: the status, bit 6 set while it is off.
    pub(super) fn status(&self) -> u8 {
        if self.settings.is_on { 0x00 } else { 0x40 }
    }

    /// Takes a byte of a write: a control byte, part of a command, or data.
    pub(super) fn accept(&mut self, byte: u8) -> Taken {
        let taken = self.take();
        if taken != Taken::Acknowledged {
            return taken;
        }
        match self.decoder.next(byte) {
            Setting::None => {}
            Setting::Data(byte) => self.store(byte),
            Setting::Page(page) => self.page = page,
            Setting::ColumnLow(low) => self.column = self.column & 0x70 | low,
            Setting::ColumnHigh(high) => self.column = high << 4 | self.column & 0x0F,
            Setting::Columns(first, last) => {
                (self.settings.columns, self.column) = ((first, last), first);
            }
            Setting::Pages(first, last) => {
                (self.settings.pages, self.page) = ((first, last), first);
            }
            Setting::Unknown(command) => self.unknown.push(command),
            other => self.settings.set(other),
        }
        taken
    }

    /// The write ended. A command whose last byte is missing is dropped (assumption).
    pub(super) fn stop(&mut self) {
        if let Some(command) = self.decoder.stop() {
            self.unknown.push(command);
        }
    }

    /// Whether it still takes a byte.
    fn take(&mut self) -> Taken {
        match &mut self.failure {
            None => Taken::Acknowledged,
            Some((0, DisplayFailure::Dies)) => Taken::NotAcknowledged,
            Some((0, DisplayFailure::HoldsBus)) => Taken::Held,
            Some((left, _)) => {
                *left -= 1;
                Taken::Acknowledged
            }
        }
    }

    /// Stores a data byte and moves on, as the addressing mode says.
    fn store(&mut self, byte: u8) {
        self.ram[self.page * COLUMNS + self.column] = byte;
        self.data_bytes += 1;
        let (columns, pages) = (self.settings.columns, self.settings.pages);
        match self.settings.addressing {
            // To the end of the page and back to its beginning; the page stays.
            Addressing::Page => self.column = (self.column + 1) % COLUMNS,
            Addressing::Horizontal => {
                if step(&mut self.column, columns, COLUMNS) {
                    step(&mut self.page, pages, ROWS / 8);
                }
            }
            Addressing::Vertical => {
                if step(&mut self.page, pages, ROWS / 8) {
                    step(&mut self.column, columns, COLUMNS);
                }
            }
        }
    }
}

/// One on, from the last place to the first; whether it went back to the first.
fn step(place: &mut usize, (first, last): (usize, usize), places: usize) -> bool {
    let wraps = *place == last;
    *place = if wraps { first } else { (*place + 1) % places };
    wraps
}
