//! The clock's driver beside a chip that is nothing but its registers: whatever these hold, the day
//! that is on the calendar, or why there is none.
//!
//! Source: DS3231 data sheet, register map and serial protocol, from memory.

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_drivers::clock::{Clock, ClockError, WallTime};

/// The chip's 7-bit address.
const ADDRESS: u8 = 0x68;
/// Its registers: time, date, two alarms, control, status, ageing, temperature.
const REGISTERS: usize = 19;
/// Those that hold its control and its status.
const CONTROL: usize = 14;
const STATUS: usize = 15;
/// The bit in each of them that says: the oscillator stops, or has stopped.
const STOPS: u8 = 0x80;

/// A chip that is alone on its bus. Its time stands still.
#[derive(Clone, Debug)]
struct Chip {
    registers: [u8; REGISTERS],
    next: usize,
    is_there: bool,
}

impl Chip {
    /// As with a new battery: the first of January of the year 0, and it was stopped.
    fn new() -> Self {
        let mut registers = [0; REGISTERS];
        (registers[3], registers[4], registers[5]) = (1, 1, 1);
        (registers[CONTROL], registers[STATUS]) = (0x1C, 0x88);
        Self { registers, next: 0, is_there: true }
    }

    fn step(&mut self) -> &mut u8 {
        let at = self.next;
        self.next = (self.next + 1) % REGISTERS;
        &mut self.registers[at]
    }
}

impl ErrorType for Chip {
    type Error = ErrorKind;
}

impl I2c for Chip {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), ErrorKind> {
        if address != ADDRESS || !self.is_there {
            return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
        }
        for operation in operations {
            match operation {
                Operation::Write(bytes) => {
                    if let Some((first, rest)) = bytes.split_first() {
                        self.next = usize::from(*first) % REGISTERS;
                        for byte in rest {
                            *self.step() = *byte;
                        }
                    }
                }
                Operation::Read(bytes) => bytes.iter_mut().for_each(|byte| *byte = *self.step()),
            }
        }
        Ok(())
    }
}

/// Two decimal digits in a byte, as the clock keeps them.
const fn digits(number: u8) -> u8 {
    number / 10 * 16 + number % 10
}

const fn days_in(year: u16, month: u8) -> u8 {
    match month {
        2 if year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400)) => {
            29
        }
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// The day's number, counted from 1 January 2020, which is 1.
fn day_number(year: u16, month: u8, day: u8) -> u32 {
    let months = |year, until| (1..until).map(move |month| u32::from(days_in(year, month)));
    let years = (2020..year).flat_map(|year| months(year, 13)).sum::<u32>();
    years + months(year, month).sum::<u32>() + u32::from(day)
}

/// The clock's registers at a date and time.
fn set_to(clock: &mut Chip, date: (u16, u8, u8), time: (u8, u8, u8)) {
    let (year, month, day) = date;
    let century = if year >= 2100 { 0x80 } else { 0 };
    let values = [time.2, time.1, time.0, 1 + day % 7, day, month, (year % 100) as u8].map(digits);
    clock.registers[..7].copy_from_slice(&values);
    clock.registers[5] |= century;
    clock.registers[CONTROL] &= !STOPS;
    clock.registers[STATUS] &= !STOPS;
}

/// Dates that are, and registers that hold none: the driver gives the day, or says why not.
pub(super) fn read(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut clock = Chip::new();
    let mut below = |end: u32| rng.next_u32() % end;
    for n in 0..96 {
        let year = 2000 + below(200) as u16;
        let month = 1 + below(12) as u8;
        let last = days_in(year, month);
        let day = if below(3) == 0 { last } else { 1 + below(last.into()) as u8 };
        let time = (below(24) as u8, below(60) as u8, below(60) as u8);
        // The last moments of all units come up too.
        let (date, time) = match n {
            0 => ((2020, 1, 1), (0, 0, 0)),
            1 => ((2019, 12, 31), (23, 59, 59)),
            2 => ((2099, 12, 31), (23, 59, 59)),
            3 => ((2199, 12, 31), (23, 59, 59)),
            _ => ((year, month, day), time),
        };
        set_to(&mut clock, date, time);
        let mut expected = match date.0 {
            2020.. => u16::try_from(day_number(date.0, date.1, date.2)).ok(),
            _ => None,
        }
        .ok_or(ClockError::NoDate);
        match below(8) {
            0 => {
                clock.registers[CONTROL] |= STOPS;
                expected = Err(ClockError::Stopped);
            }
            1 => {
                clock.registers[STATUS] |= STOPS;
                expected = Err(ClockError::Stopped);
            }
            2 | 3 => {
                // A digit that is none, or a value just beyond its last.
                let at = below(7) as usize;
                let beyond = [0x60, 0x60, 0x24, 0x08, 0x32, 0x13, 0xA0][at];
                clock.registers[at] =
                    if below(2) == 0 { beyond } else { clock.registers[at] & 0xF0 | 0x0A };
                // Whatever the flags say: what is no date has none.
                clock.registers[STATUS] |= (below(2) as u8) << 7;
                expected = Err(ClockError::NoDate);
            }
            4 => {
                // Twelve hours, before or after noon.
                clock.registers[2] = 0x40 | digits(1 + below(12) as u8) | (below(2) as u8) << 5;
            }
            5 => {
                // A day that this month has not.
                clock.registers[4..6].copy_from_slice(&[0x31, 0x06]);
                expected = Err(ClockError::NoDate);
            }
            _ => {}
        }
        let registers = clock.registers;
        let told = Clock::new(&mut clock).day();
        if told != expected {
            return Err(format!("registers {registers:02X?} are {told:?}, not {expected:?}"));
        }
    }
    clock.is_there = false;
    match Clock::new(&mut clock).day() {
        Err(ClockError::NoAnswer) => Ok(()),
        told => Err(format!("one that does not answer gives {told:?}")),
    }
}

/// A clock that is set keeps what it was set to, runs, and is believed; for a time that there is
/// not, nothing is written.
pub(super) fn set(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed ^ 1);
    let mut clock = Chip::new();
    for n in 0..32 {
        let mut below = |end: u32| rng.next_u32() % end;
        let year = [2020, 2099, 2019, 2100, 2028, 2026][below(6) as usize];
        let month = below(14) as u8;
        let day = [0, 1, 28, 29, 30, 31, 32][below(7) as usize];
        let (hour, minute) = ([0, 7, 23, 24][below(4) as usize], [0, 59, 60][below(3) as usize]);
        let second = [0, 30, 59, 60][below(4) as usize];
        let (month, hour, minute, second) = if n % 2 == 0 {
            (1 + month % 12, hour % 24, minute % 60, second % 60)
        } else {
            (month, hour, minute, second)
        };
        let is_time = (2020..=2099).contains(&year)
            && (1..=12).contains(&month)
            && day >= 1
            && day <= days_in(year, month)
            && hour < 24
            && minute < 60
            && second < 60;
        let before = clock.clone();
        let time = WallTime { year, month, day, hour, minute, second };
        let told = Clock::new(&mut clock).set(time);
        if told != if is_time { Ok(()) } else { Err(ClockError::NoDate) } {
            return Err(format!("it was set to {time:?}: {told:?}"));
        }
        let after = clock.clone();
        if !is_time {
            if after.registers != before.registers {
                return Err(format!("it was not set to {time:?}, but was written to"));
            }
            continue;
        }
        let mut expected = after.clone();
        set_to(&mut expected, (year, month, day), (hour, minute, second));
        // Any weekday will do.
        expected.registers[3] = after.registers[3];
        if after.registers != expected.registers || !(1..=7).contains(&after.registers[3]) {
            return Err(format!("set to {time:?} it holds {:02X?}", after.registers));
        }
        let day_told = Clock::new(&mut clock).day();
        if day_told.map(u32::from) != Ok(day_number(year, month, day)) {
            return Err(format!("set to {time:?} it gives {day_told:?}"));
        }
    }
    clock.is_there = false;
    let (year, month, day, hour, minute, second) = (2026, 1, 1, 0, 0, 0);
    match Clock::new(&mut clock).set(WallTime { year, month, day, hour, minute, second }) {
        Err(ClockError::NoAnswer) => Ok(()),
        told => Err(format!("one that does not answer was set: {told:?}")),
    }
}
