//! The RP2040 board's pin table: no pin twice, only functions that the chip has there, and
//! the same table in `docs/BOARD.md` and `docs/WIRING.md`.

#[path = "../../firmware/boards/rp2040/src/pins.rs"]
mod of_board;

use std::collections::BTreeSet;

use of_board::{Active, Direction, PINS, PinRow};

/// The first four columns of the rows of the table whose head begins with `head`.
fn documented(text: &str, head: &str) -> Vec<[String; 4]> {
    let (_, table) = text.split_once(head).expect("a table of the pins");
    let rows = table.lines().skip(2).take_while(|line| line.starts_with('|'));
    let cells = |line: &str| -> Vec<String> {
        line.split('|').skip(1).map(|cell| cell.trim().to_owned()).collect()
    };
    rows.map(|line| cells(line)[..4].to_vec().try_into().expect("four columns")).collect()
}

fn as_documented(row: &PinRow) -> [String; 4] {
    let direction = match row.direction {
        Direction::In => "in",
        Direction::Out => "out",
        Direction::Both => "both",
    };
    let active = match row.active {
        Active::Low => "low",
        Active::High => "high",
        Active::Neither => "",
    };
    [row.gpio.to_string(), row.signal.into(), direction.into(), active.into()]
}

#[test]
fn the_documented_table_is_the_table_of_the_code() {
    let coded: Vec<_> = PINS.iter().map(as_documented).collect();
    assert_eq!(documented(include_str!("../../docs/BOARD.md"), "| GP |"), coded);
    let wiring: Vec<_> = documented(include_str!("../../docs/WIRING.md"), "| GPIO | signal |")
        .into_iter()
        .map(|row| row.map(|cell| cell.replace("put", "").replace('–', "")))
        .collect();
    assert_eq!(wiring, coded);
    let moved = "| GP |\n|---|\n| 3 | shaft | in | low |";
    assert_ne!(documented(moved, "| GP |"), coded[2..3]);
}

#[test]
fn every_pin_and_every_signal_stands_there_once_and_says_what_it_is() {
    let pins: BTreeSet<u8> = PINS.iter().map(|row| row.gpio).collect();
    let signals: BTreeSet<&str> = PINS.iter().map(|row| row.signal).collect();
    assert_eq!((pins.len(), signals.len()), (PINS.len(), PINS.len()));
    assert!(PINS.iter().all(|row| !row.note.is_empty()));
}

/// RP2040 datasheet, table "GPIO functions": UART0 is on 0, 12, 16, 28 (TX) and the
/// pin after each (RX), I2C0 on every fourth pin (SDA) and the next (SCL), the
/// converter on 26 to 29 (from memory).
#[test]
fn the_chip_has_these_functions_on_these_pins() {
    let of = |signal: &str| {
        PINS.iter().find(|row| row.signal == signal).map(|row| row.gpio).expect("it is there")
    };
    assert!([0, 12, 16, 28].contains(&of("uart tx")));
    assert!([1, 13, 17, 29].contains(&of("uart rx")));
    assert_eq!((of("i2c sda") % 4, of("i2c scl") % 4), (0, 1));
    assert!((26..30).contains(&of("needle level")));
}
