//! The panel's display: 128 by 64 pixels, SSD1306 controller, on the I²C bus that it shares
//! with the memory part.
//!
//! Purpose: to hand over a picture in *tiles*, and to wake the display, in steps so short that
//! the board can look at its power-fail warning between any two of them. The panel keeps the
//! picture itself.
//!
//! Invariants:
//! - one call is at most [`STEP_WIRE_BYTES_MAX`] bytes in [`STEP_TRANSACTIONS_MAX`]
//!   transactions: less than [`STEP_BUS_US_MAX`] µs on a 400 kHz bus;
//! - nothing of the display is kept here: make a [`Display`] for a call over `&mut bus`, as
//!   with a memory part, and nothing is lost when it is dropped;
//! - a display that is missing or dying is an error value, never more. Any step may be sent
//!   again, in any order.
//!
//! Commands and transport come from crate `ssd1306`. Three things in that crate are not used,
//! each for a reason:
//! - its buffered mode sends up to 1,024 bytes in one go: 26 ms, longer than the whole answer
//!   to a power-fail warning may take;
//! - its `init` switches the display on while its memory still holds noise. Here
//!   [`Display::wake`] leaves it dark, then the picture is sent, then comes
//!   [`Display::switch_on`];
//! - its `set_draw_area` depends on an addressing mode that the crate remembers, and a driver
//!   made for one call cannot remember. Instead, the display is kept in *page addressing mode*,
//!   which it also has after reset: page and column are then two short commands that need no
//!   state.
//!
//! Not done here: what is shown, and when to try again. Nor is it noticed that a display has
//! lost its settings in a short loss of supply, because it still acknowledges: the caller
//! should wake it anew now and then.

use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, Operation};
use ssd1306::command::{AddrMode, Command, VcomhLevel};
use ssd1306::prelude::{DisplayRotation, DisplaySize, DisplaySize128x64, I2CInterface};
use ssd1306::{I2CDisplayInterface, Ssd1306};

/// Pixels in a row.
pub const COLUMNS: u8 = 128;
/// Rows of 8 pixels. Byte `page * 128 + column` of a picture is a column of 8 pixels,
/// its bit 0 the upper one.
pub const PAGES: u8 = 8;
/// Bytes of a whole picture.
pub const PICTURE_BYTES: usize = COLUMNS as usize * PAGES as usize;
/// Most bytes in a tile: 32 columns of 8 pixels.
pub const TILE_BYTES_MAX: usize = 32;
/// Most bytes that one call puts on the wire, device addresses and control bytes
/// included: a tile of [`TILE_BYTES_MAX`].
pub const STEP_WIRE_BYTES_MAX: u64 = 43;
/// Most transactions in one call: the second step of waking.
pub const STEP_TRANSACTIONS_MAX: u64 = 9;
/// Longest time that one call keeps a 400 kHz bus, µs: 43 bytes of 9 clock periods each,
/// and a start and a stop (taken as three periods) for each of the tile's four
/// transactions: 997.5 µs.
pub const STEP_BUS_US_MAX: u64 = 1_000;
/// Contrast after waking, 0 to 255: the controller's own value after reset.
pub const CONTRAST: u8 = 0x7F;

/// Why the display did not do as asked. Try again later: nothing else is affected.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum DisplayError {
    /// It did not acknowledge: missing, without supply, or dying.
    NoAnswer,
    /// The bus could not be used: held low, arbitration lost, or a driver error.
    Bus,
    /// The tile is empty, longer than [`TILE_BYTES_MAX`] or not wholly on the screen. A
    /// programmer's error, refused; nothing was sent.
    OutOfRange,
}

/// A step of waking the display.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum WakeStep {
    /// Dark; clock, rows, charge pump, addressing mode.
    #[default]
    Clock,
    /// Orientation, drive levels, picture from memory.
    Drive,
}

/// The display at 0x3C on bus `B`.
#[derive(Debug)]
pub struct Display<B> {
    bus: B,
}

impl<B: I2c> Display<B> {
    /// The display on `bus`. No bus traffic.
    #[inline]
    pub const fn new(bus: B) -> Self {
        Self { bus }
    }

    /// Gives the bus back.
    #[inline]
    pub fn release(self) -> B {
        self.bus
    }

    /// Does one step of waking and gives the next; `None` when all are done. The
    /// display is then dark and its memory undefined: send the whole picture, then
    /// [`Display::switch_on`]. Begin with `WakeStep::default()`; after an error begin
    /// again. Work: 26 or 31 bytes on the wire.
    ///
    /// # Errors
    /// [`DisplayError::NoAnswer`], [`DisplayError::Bus`].
    pub fn wake(&mut self, step: WakeStep) -> Result<Option<WakeStep>, DisplayError> {
        match step {
            WakeStep::Clock => {
                self.send(&[
                    Command::DisplayOn(false),
                    Command::DisplayClockDiv(8, 0),
                    Command::Multiplex(63),
                    Command::DisplayOffset(0),
                    Command::StartLine(0),
                    Command::ChargePump(true),
                    Command::AddressMode(AddrMode::Page),
                ])?;
                Ok(Some(WakeStep::Drive))
            }
            WakeStep::Drive => {
                self.with(|mut interface| DisplaySize128x64.configure(&mut interface))?;
                self.send(&[
                    Command::SegmentRemap(true),
                    Command::ReverseComDir(true),
                    Command::PreChargePeriod(2, 2),
                    Command::Contrast(CONTRAST),
                    Command::VcomhDeselect(VcomhLevel::V077),
                    Command::AllOn(false),
                    Command::Invert(false),
                    Command::EnableScroll(false),
                ])?;
                Ok(None)
            }
        }
    }

    /// Puts `bytes` (1 to [`TILE_BYTES_MAX`]) at `column` (0 to 127) and on to the right,
    /// in `page` (0 to 7). Work: 11 to 43 bytes on the wire.
    ///
    /// # Errors
    /// [`DisplayError`]; after [`DisplayError::NoAnswer`] or [`DisplayError::Bus`] part
    /// of the tile may be on the screen.
    pub fn show_tile(&mut self, column: u8, page: u8, bytes: &[u8]) -> Result<(), DisplayError> {
        let fits = bytes.len() <= TILE_BYTES_MAX
            && usize::from(column) + bytes.len() <= usize::from(COLUMNS);
        if page >= PAGES || bytes.is_empty() || !fits {
            return Err(DisplayError::OutOfRange);
        }
        self.with(|interface| {
            let mut screen = Ssd1306::new(interface, DisplaySize128x64, DisplayRotation::Rotate0);
            screen.set_row(page * 8)?;
            screen.set_column(column)?;
            screen.draw(bytes)
        })
    }

    /// Lights the display. Work: 3 bytes on the wire.
    ///
    /// # Errors
    /// [`DisplayError::NoAnswer`], [`DisplayError::Bus`].
    pub fn switch_on(&mut self) -> Result<(), DisplayError> {
        self.send(&[Command::DisplayOn(true)])
    }

    /// Darkens the display; it keeps its memory and settings. Work: 3 bytes on the wire.
    ///
    /// # Errors
    /// [`DisplayError::NoAnswer`], [`DisplayError::Bus`].
    pub fn switch_off(&mut self) -> Result<(), DisplayError> {
        self.send(&[Command::DisplayOn(false)])
    }

    /// Sets the contrast, 0 to 255. Work: 4 bytes on the wire.
    ///
    /// # Errors
    /// [`DisplayError::NoAnswer`], [`DisplayError::Bus`].
    pub fn set_contrast(&mut self, contrast: u8) -> Result<(), DisplayError> {
        self.send(&[Command::Contrast(contrast)])
    }

    fn send(&mut self, commands: &[Command]) -> Result<(), DisplayError> {
        self.with(|mut interface| {
            commands.iter().try_for_each(|command| command.send(&mut interface))
        })
    }

    /// Lets `talk` use the crate's I²C transport. Its errors do not say what the bus
    /// said, so that is heard on the way.
    fn with<E>(
        &mut self,
        talk: impl FnOnce(I2CInterface<Heard<'_, B>>) -> Result<(), E>,
    ) -> Result<(), DisplayError> {
        let mut heard = DisplayError::Bus;
        let bus = Heard { bus: &mut self.bus, error: &mut heard };
        talk(I2CDisplayInterface::new(bus)).map_err(|_| heard)
    }
}

/// A bus that notes why its last failed transaction failed.
struct Heard<'a, B> {
    bus: &'a mut B,
    error: &'a mut DisplayError,
}

impl<B: I2c> Heard<'_, B> {
    fn note(&mut self, error: B::Error) -> B::Error {
        *self.error = match error.kind() {
            ErrorKind::NoAcknowledge(_) => DisplayError::NoAnswer,
            _ => DisplayError::Bus,
        };
        error
    }
}

impl<B: I2c> ErrorType for Heard<'_, B> {
    type Error = B::Error;
}

impl<B: I2c> I2c for Heard<'_, B> {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), B::Error> {
        self.bus.transaction(address, operations).map_err(|error| self.note(error))
    }

    fn write(&mut self, address: u8, bytes: &[u8]) -> Result<(), B::Error> {
        self.bus.write(address, bytes).map_err(|error| self.note(error))
    }
}
