//! The pin table: the one place that says what is wired where.
//!
//! It is plain data without imports, so that a test on a host can include this file and compare
//! the wiring guide with it. `gpio.rs` looks signals up by name at compile time.

/// Which way a signal goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Into the board.
    In,
    /// Out of the board.
    Out,
    /// Both: open drain.
    Both,
}

/// The level at which a signal is asserted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Active {
    /// Low.
    Low,
    /// High.
    High,
    /// It has none: a bus, a serial line, a voltage.
    Neither,
}

/// A pin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PinRow {
    /// GPIO number, 0 to 29: GP0 to GP29 of a module, not a place on its header.
    pub gpio: u8,
    /// Name of the signal.
    pub signal: &'static str,
    /// Which way it goes.
    pub direction: Direction,
    /// When it is asserted.
    pub active: Active,
    /// What is connected.
    pub note: &'static str,
}

const fn row(
    gpio: u8,
    signal: &'static str,
    direction: Direction,
    active: Active,
    note: &'static str,
) -> PinRow {
    PinRow { gpio, signal, direction, active, note }
}

use Active::{High, Low, Neither};
use Direction::{Both, In, Out};

/// All pins that are used.
#[rustfmt::skip]
pub const PINS: [PinRow; 19] = [
    row(0, "uart tx", Out, Neither, "service port, 115,200 baud 8N1"),
    row(1, "uart rx", In, Neither, "service port, pulled up"),
    row(2, "shaft", In, Low, "main-shaft sensor by an opto-coupler, pulled up"),
    row(3, "trim", In, Low, "thread trimmer's drive by an opto-coupler, pulled up"),
    row(4, "thread break", In, Low, "thread-break signal by an opto-coupler, pulled up"),
    row(5, "jump", In, Low, "jump signal by an opto-coupler, pulled up"),
    row(6, "needle code 0", In, Low, "needle code, value 1, by an opto-coupler, pulled up"),
    row(7, "needle code 1", In, Low, "needle code, value 2, by an opto-coupler, pulled up"),
    row(8, "needle code 2", In, Low, "needle code, value 4, by an opto-coupler, pulled up"),
    row(9, "needle code 3", In, Low, "needle code, value 8, by an opto-coupler, pulled up"),
    row(10, "power fail", In, Low, "supply comparator, open drain, pulled up"),
    row(11, "button back", In, Low, "Back: button to ground, pulled up"),
    row(12, "button next", In, Low, "Next: button to ground, pulled up"),
    row(13, "button act", In, Low, "Act: button to ground, pulled up"),
    row(16, "i2c sda", Both, Neither, "memory part 0x50, display 0x3C, clock 0x68; 400 kHz"),
    row(17, "i2c scl", Both, Neither, "clock line of the same bus"),
    row(18, "status led", Out, High, "through a resistor to ground"),
    row(19, "buzzer", Out, High, "by a transistor"),
    row(26, "needle level", In, Neither, "needle-position voltage, a quarter of the tap's"),
];
