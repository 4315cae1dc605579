//! The clock chip, transaction by transaction. Register values are those of the DS3231
//! data sheet's register map (from memory; crate `ds323x` decodes them the same).

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use shaftbook_drivers::clock::{ADDRESS, Clock, ClockError, WallTime};

/// 12:34:56 on Wednesday 25 November 2026: seconds, minutes, hours, weekday, day, month,
/// year, alarms, control (reset value 1Ch), status.
const GOOD: [u8; 16] = [0x56, 0x34, 0x12, 0x04, 0x25, 0x11, 0x26, 0, 0, 0, 0, 0, 0, 0, 0x1C, 0x00];
/// 25 November 2026 is day 365 × 6 + 2 leap days of 2020 and 2024 + 329.
const DAY: u16 = 2_521;

fn read(registers: [u8; 16]) -> Result<u16, ClockError> {
    let expected = [Transaction::write_read(ADDRESS, vec![0x00], registers.to_vec())];
    let mut clock = Clock::new(Mock::new(&expected));
    let day = clock.day();
    clock.release().done();
    day
}

fn with(changes: &[(usize, u8)]) -> [u8; 16] {
    let mut registers = GOOD;
    for (register, value) in changes {
        registers[*register] = *value;
    }
    registers
}

#[test]
fn a_date_is_a_day_number_in_one_transaction() {
    assert_eq!(read(GOOD), Ok(DAY));
    assert_eq!(read(with(&[(4, 0x01), (5, 0x01), (6, 0x20)])), Ok(1), "1 January 2020");
    assert_eq!(read(with(&[(4, 0x29), (5, 0x02), (6, 0x24)])), Ok(1_521), "29 February 2024");
    assert_eq!(read(with(&[(4, 0x31), (5, 0x12), (6, 0x99)])), Ok(29_220), "31 December 2099");
    // Twelve-hour form: 12:34:56 in the afternoon, and 11 at night.
    assert_eq!(read(with(&[(2, 0x72)])), Ok(DAY));
    assert_eq!(read(with(&[(2, 0x71)])), Ok(DAY));
}

#[test]
fn a_clock_that_stopped_or_would_stop_is_not_believed() {
    assert_eq!(read(with(&[(15, 0x80)])), Err(ClockError::Stopped));
    assert_eq!(read(with(&[(15, 0x88)])), Err(ClockError::Stopped), "as at first power");
    assert_eq!(read(with(&[(14, 0x9C)])), Err(ClockError::Stopped), "off on battery");
}

#[test]
fn what_is_no_date_is_said_so() {
    for changes in [
        [(0, 0x5A)], // seconds with a digit above 9
        [(0, 0x60)],
        [(1, 0x99)],
        [(2, 0x24)],
        [(2, 0x1F)],
        [(2, 0x7A)],
        [(3, 0x08)],
        [(4, 0x00)],
        [(4, 0x1F)], // would pass for the 25th
        [(4, 0x32)],
        [(5, 0x00)],
        [(5, 0x13)],
        [(5, 0x0B)],
        [(6, 0x19)], // 2019
        [(6, 0xA0)],
    ] {
        assert_eq!(read(with(&changes)), Err(ClockError::NoDate), "{changes:x?}");
    }
    assert_eq!(read(with(&[(4, 0x31), (5, 0x06)])), Err(ClockError::NoDate), "31 June");
    assert_eq!(read(with(&[(4, 0x29), (5, 0x02), (6, 0x25)])), Err(ClockError::NoDate));
    assert_eq!(read(with(&[(5, 0x91), (6, 0x99)])), Err(ClockError::NoDate), "beyond 65,535");
    assert_eq!(read([0xFF; 16]), Err(ClockError::NoDate), "an open bus");
    assert_eq!(read([0x00; 16]), Err(ClockError::NoDate));
}

/// Every value of every register of the date: a day, or an error; never a panic.
#[test]
fn no_register_value_panics() {
    let mut days = 0;
    for register in 0..16 {
        for value in 0..=u8::MAX {
            days += usize::from(read(with(&[(register, value)])).is_ok());
        }
    }
    // Free registers take any value; the others only what is a date.
    assert!(days > 7 * 256 && days < 10 * 256, "{days}");
    for month in 0..=u8::MAX {
        for day in 0..=u8::MAX {
            let _ = read(with(&[(4, day), (5, month)]));
        }
    }
}

#[test]
fn a_chip_that_does_not_answer_is_named() {
    let away = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
    let expected = [Transaction::write_read(ADDRESS, vec![0x00], vec![0; 16]).with_error(away)];
    let mut clock = Clock::new(Mock::new(&expected));
    assert_eq!(clock.day(), Err(ClockError::NoAnswer));
    clock.release().done();
}

const NOON: WallTime =
    WallTime { year: 2026, month: 11, day: 25, hour: 12, minute: 34, second: 56 };

#[test]
fn a_clock_is_set_and_the_flag_is_cleared_last() {
    let expected = [
        Transaction::write(ADDRESS, vec![0x00, 0x56, 0x34, 0x12, 0x04, 0x25, 0x11, 0x26]),
        Transaction::write(ADDRESS, vec![0x0E, 0x1C]),
        Transaction::write(ADDRESS, vec![0x0F, 0x0B]), // alarm flags and 32 kHz as they were
    ];
    let mut clock = Clock::new(Mock::new(&expected));
    assert_eq!(clock.set(NOON), Ok(()));
    clock.release().done();
}

#[test]
fn a_time_that_there_is_not_is_not_written() {
    for wrong in [
        WallTime { month: 13, ..NOON },
        WallTime { month: 2, day: 30, ..NOON },
        WallTime { hour: 24, ..NOON },
        WallTime { second: 60, ..NOON },
        WallTime { year: 2019, ..NOON },
        WallTime { year: 2100, ..NOON },
    ] {
        let mut clock = Clock::new(Mock::new(&[]));
        assert_eq!(clock.set(wrong), Err(ClockError::NoDate), "{wrong:?}");
        clock.release().done();
    }
}
