//! The needle-position voltage, read by the analogue-to-digital converter.
//!
//! A divider gives the pin a quarter of the voltage at the machine's tap, so 0 to 3.3 V at the
//! pin are 0 to 13.2 V there. There is no calibration: the converter's own errors (about 1 % of
//! the range, from memory) are far smaller than the difference between the voltages of two
//! needles.

use rp2040_hal::pac::{ADC, RESETS};

use crate::gpio::{Function, Pin};
use crate::pins::Direction;
use crate::timer::Deadline;

const PIN: Pin = Pin::named("needle level", Direction::In);
/// First pin that the converter reaches (RP2040 datasheet, section "ADC and Temperature
/// Sensor").
const FIRST_PIN: u8 = 26;
const CHANNEL: u8 = PIN.number() as u8 - FIRST_PIN;
/// mV at the tap for the largest reading.
const FULL_MV: u32 = 4 * 3_300;
/// Largest reading: 12 bits.
const FULL: u32 = 4_095;
/// A reading takes 96 clocks of 48 MHz: 2 µs (RP2040 datasheet, same section).
const READING_US_MAX: u32 = 20;

/// The converter.
pub struct Level {
    adc: ADC,
}

impl Level {
    /// Starts the converter; its clock must run.
    pub fn new(adc: ADC, resets: &RESETS) -> Self {
        resets.reset().modify(|_, w| w.adc().set_bit());
        resets.reset().modify(|_, w| w.adc().clear_bit());
        let deadline = Deadline::after_us(READING_US_MAX);
        while resets.reset_done().read().adc().bit_is_clear() && !deadline.is_over() {}
        PIN.connect(Function::Null, false);
        // SAFETY: `CHANNEL` is 0 to 3.
        adc.cs().write(|w| unsafe { w.en().set_bit().ainsel().bits(CHANNEL) });
        Self { adc }
    }

    /// The voltage at the machine's tap, mV; `None` if the converter does not end.
    pub fn read_mv(&mut self) -> Option<u16> {
        let deadline = Deadline::after_us(READING_US_MAX);
        self.adc.cs().modify(|_, w| w.start_once().set_bit());
        while self.adc.cs().read().ready().bit_is_clear() {
            if deadline.is_over() {
                return None;
            }
        }
        Some((u32::from(self.adc.result().read().result().bits()) * FULL_MV / FULL) as u16)
    }
}
