//! Pins, found by their names in the pin table.
//!
//! Invariant: every GPIO number in this program comes out of [`PINS`]. A name that is not in
//! the table, or is there with another direction, does not compile.

use rp2040_hal::pac;

use crate::pins::{Active, Direction, PINS};

/// Function numbers (RP2040 datasheet, table "GPIO functions"; the same for every pin
/// that the table gives them to).
#[derive(Clone, Copy)]
pub enum Function {
    /// UART.
    Uart = 2,
    /// Two-wire bus.
    I2c = 3,
    /// Software.
    Sio = 5,
    /// None.
    Null = 31,
}

/// A pin of the table.
#[derive(Clone, Copy)]
pub struct Pin {
    gpio: u8,
    active_low: bool,
}

impl Pin {
    /// The pin of `signal`, which goes in `direction`. For constants only.
    ///
    /// # Panics
    /// When it is compiled, if there is no such row.
    pub const fn named(signal: &str, direction: Direction) -> Self {
        let mut n = 0;
        while n < PINS.len() {
            let row = &PINS[n];
            if is_same(row.signal, signal) && row.direction as u8 == direction as u8 {
                assert!(row.gpio < 30, "the chip has 30 pins");
                return Self { gpio: row.gpio, active_low: matches!(row.active, Active::Low) };
            }
            n += 1;
        }
        panic!("no such signal in the pin table");
    }

    /// Its number.
    pub const fn number(self) -> usize {
        self.gpio as usize
    }

    /// Its bit in the registers of all pins.
    pub const fn mask(self) -> u32 {
        1 << self.gpio
    }

    /// Whether low is asserted.
    pub const fn is_active_low(self) -> bool {
        self.active_low
    }

    /// Whether it is asserted, given the levels of all pins.
    pub const fn is_active(self, levels: u32) -> bool {
        (levels & self.mask() != 0) != self.active_low
    }

    /// Gives the pin to `function`, pulled up or not.
    pub fn connect(self, function: Function, pulled_up: bool) {
        // `nth` instead of the index: what cannot fail need not be able to panic.
        let (pad, pin) =
            (pads().gpio_iter().nth(self.number()), bank().gpio_iter().nth(self.number()));
        if let (Some(pad), Some(pin)) = (pad, pin) {
            pad.write(|w| {
                w.ie().bit(!matches!(function, Function::Null)).od().clear_bit();
                w.pue().bit(pulled_up).pde().clear_bit().schmitt().set_bit()
            });
            // SAFETY: the function numbers are those of the table; the other fields are 0:
            // no override.
            pin.gpio_ctrl().write(|w| unsafe { w.bits(function as u32) });
        }
    }

    /// Makes it an input of the software, pulled up.
    pub fn listen(self) {
        self.let_go();
        self.connect(Function::Sio, true);
    }

    /// Makes it an output, not asserted.
    pub fn drive(self) {
        self.assert(false);
        self.connect(Function::Sio, false);
        // SAFETY: write-one-to-set register; any bits are allowed.
        sio().gpio_oe_set().write(|w| unsafe { w.bits(self.mask()) });
    }

    /// An output: asserts it, or not.
    pub fn assert(self, active: bool) {
        if active == self.active_low {
            // SAFETY: write-one-to-clear register; any bits are allowed.
            sio().gpio_out_clr().write(|w| unsafe { w.bits(self.mask()) });
        } else {
            // SAFETY: write-one-to-set register; any bits are allowed.
            sio().gpio_out_set().write(|w| unsafe { w.bits(self.mask()) });
        }
    }

    /// Open drain: pulls the line low. The output level must be 0.
    pub fn pull_low(self) {
        // SAFETY: write-one registers; any bits are allowed.
        sio().gpio_out_clr().write(|w| unsafe { w.bits(self.mask()) });
        // SAFETY: as above.
        sio().gpio_oe_set().write(|w| unsafe { w.bits(self.mask()) });
    }

    /// Open drain: lets the line go.
    pub fn let_go(self) {
        // SAFETY: write-one-to-clear register; any bits are allowed.
        sio().gpio_oe_clr().write(|w| unsafe { w.bits(self.mask()) });
    }

    /// Whether the line is high.
    pub fn is_high(self) -> bool {
        levels() & self.mask() != 0
    }
}

/// The levels of all pins, a bit each.
#[inline]
pub fn levels() -> u32 {
    sio().gpio_in().read().bits()
}

/// The pins' interrupt and function registers.
#[inline]
pub fn bank() -> &'static pac::io_bank0::RegisterBlock {
    // SAFETY: the registers are always there; each is written by one side only: functions
    // and enables at start-up (those of the bus also when it is clocked free), flags by
    // the capture interrupt.
    unsafe { &*pac::IO_BANK0::ptr() }
}

fn pads() -> &'static pac::pads_bank0::RegisterBlock {
    // SAFETY: as for `bank`; written by the main program only.
    unsafe { &*pac::PADS_BANK0::ptr() }
}

fn sio() -> &'static pac::sio::RegisterBlock {
    // SAFETY: set and clear registers of their own are used, so that two sides cannot
    // undo each other's writes.
    unsafe { &*pac::SIO::ptr() }
}

const fn is_same(one: &str, other: &str) -> bool {
    let (one, other) = (one.as_bytes(), other.as_bytes());
    let mut n = 0;
    while n < one.len() && n < other.len() && one[n] == other[n] {
        n += 1;
    }
    n == one.len() && n == other.len()
}
