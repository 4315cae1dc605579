//! The calendar day from a DS3231 clock chip on the I²C bus.
//!
//! One reading is one transaction of 16 registers, because date and flags belong together. At
//! 400 kHz it takes under half a millisecond, so it delays a power-fail checkpoint by less than
//! a page write does.
//!
//! Why this chip: it works at 3.3 V and 400 kHz like the memory part beside it, and it has a
//! flag that says when its oscillator has stopped since the clock was set (an empty battery).
//! Crate `ds323x` decodes and sets the registers. It accepts digits above 9, so they are
//! checked here first.
//!
//! Invariants: no register content panics; a day is given only if the oscillator has not
//! stopped since the clock was set and all digits are 0 to 9.
//!
//! Not done here: judging whether the day is plausible (`shaftbook_care::calendar`), trying
//! again.

use core::convert::Infallible;

use ds323x::{DateTimeAccess, Datelike, Ds323x, NaiveDate, Rtcc};
use embedded_hal::i2c::{ErrorType, I2c, Operation};

/// Bus address. DS3231 data sheet, slave address byte (from memory; crate `ds323x` agrees).
pub const ADDRESS: u8 = 0x68;
/// Registers read: time, date, alarms, control and status.
const REGISTERS: usize = 16;
/// Register of the status; bit 7 (OSF): the oscillator has stopped.
const STATUS: usize = 0x0F;
/// Register of the control; bit 7 (EOSC): the oscillator stops on battery.
const CONTROL: usize = 0x0E;
const TOP_BIT: u8 = 0x80;
/// Days from 31 December of the year 0 (Gregorian) to 31 December 2019.
const DAY_ZERO: i32 = 737_424;

/// Why there is no day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ClockError {
    /// The chip does not answer, or the bus fails.
    NoAnswer,
    /// The oscillator is stopped, or was since the clock was set: the date is not today's.
    Stopped,
    /// The registers hold no date: digits above 9, a 31 June, a day before 2020 or beyond
    /// 65,535.
    NoDate,
}

/// A date and time to set, as on a calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WallTime {
    /// Year, 2020 to 2099.
    pub year: u16,
    /// Month, 1 to 12.
    pub month: u8,
    /// Day of the month, 1 to 31.
    pub day: u8,
    /// Hour, 0 to 23.
    pub hour: u8,
    /// Minute, 0 to 59.
    pub minute: u8,
    /// Second, 0 to 59.
    pub second: u8,
}

/// A clock chip.
#[derive(Debug)]
pub struct Clock<I2C> {
    bus: I2C,
}

impl<I2C: I2c> Clock<I2C> {
    /// The clock on `bus`.
    pub const fn new(bus: I2C) -> Self {
        Self { bus }
    }

    /// Gives the bus back.
    pub fn release(self) -> I2C {
        self.bus
    }

    /// Today's day number: 1 is 1 January 2020. One transaction of 18 bytes.
    ///
    /// # Errors
    /// A [`ClockError`].
    pub fn day(&mut self) -> Result<u16, ClockError> {
        let mut registers = [0; REGISTERS];
        self.bus.write_read(ADDRESS, &[0], &mut registers).map_err(|_| ClockError::NoAnswer)?;
        day_of(registers)
    }

    /// Sets the clock and starts it. Some ten bytes in three transactions.
    ///
    /// # Errors
    /// [`ClockError::NoDate`] for a time that there is not; nothing was written then.
    /// [`ClockError::NoAnswer`] if the bus fails.
    pub fn set(&mut self, time: WallTime) -> Result<(), ClockError> {
        let date = NaiveDate::from_ymd_opt(time.year.into(), time.month.into(), time.day.into())
            .filter(|_| (2020..=2099).contains(&time.year))
            .and_then(|d| d.and_hms_opt(time.hour.into(), time.minute.into(), time.second.into()))
            .ok_or(ClockError::NoDate)?;
        let mut chip = Ds323x::new_ds3231(&mut self.bus);
        // The flag last: a set that is cut short leaves a clock that is not believed.
        chip.set_datetime(&date)
            .and_then(|()| chip.enable())
            .and_then(|()| chip.clear_has_been_stopped_flag())
            .map_err(|_| ClockError::NoAnswer)
    }
}

/// The day in the chip's registers.
fn day_of(registers: [u8; REGISTERS]) -> Result<u16, ClockError> {
    if !has_digits(&registers) {
        // Before the flags: what is no date has no flags either.
        return Err(ClockError::NoDate);
    }
    if (registers[STATUS] | registers[CONTROL]) & TOP_BIT != 0 {
        return Err(ClockError::Stopped);
    }
    let date = Ds323x::new_ds3231(Snapshot { registers, next: 0 })
        .date()
        .map_err(|_| ClockError::NoDate)?;
    u16::try_from(date.num_days_from_ce() - DAY_ZERO)
        .ok()
        .filter(|day| *day != 0)
        .ok_or(ClockError::NoDate)
}

/// Whether time and date are made of digits.
fn has_digits(registers: &[u8; REGISTERS]) -> bool {
    // The flags of 12 hours and the afternoon, and the century bit, are no part of them.
    const TWELVE_HOURS: u8 = 0x40;
    let [seconds, minutes, hours, weekday, day, month, year, ..] = *registers;
    let hours = if hours & TWELVE_HOURS != 0 { hours & 0x1F } else { hours };
    let digits = [seconds, minutes, hours, weekday, day, month & !TOP_BIT, year];
    let largest = [0x59, 0x59, 0x23, 0x07, 0x31, 0x12, 0x99];
    digits.iter().zip(largest).all(|(pair, most)| pair & 0x0F <= 9 && *pair <= most)
}

/// Registers as they were read, for the crate to decode: a bus with nothing on it but
/// them.
struct Snapshot {
    registers: [u8; REGISTERS],
    next: usize,
}

impl ErrorType for Snapshot {
    type Error = Infallible;
}

impl I2c for Snapshot {
    fn transaction(&mut self, _: u8, operations: &mut [Operation<'_>]) -> Result<(), Infallible> {
        for operation in operations {
            match operation {
                Operation::Write(bytes) => {
                    self.next = bytes.first().copied().map_or(0, usize::from);
                }
                Operation::Read(bytes) => {
                    for byte in bytes.iter_mut() {
                        *byte = self.registers.get(self.next).copied().unwrap_or(0);
                        self.next += 1;
                    }
                }
            }
        }
        Ok(())
    }
}
