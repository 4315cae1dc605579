//! Clocks a bus free. A part that was cut off in the middle of a byte holds the data line low
//! until it has been clocked to the end of that byte.
//!
//! The method is that of the I²C-bus specification and user manual UM10204, section "Bus
//! clear". There are always nine clock pulses, even if the data line is high, because that may
//! be a 1 that a part is sending. One of the nine is the place of an acknowledge; nobody gives
//! it, so the part stops sending. A Stop after them ends what the part takes for a transaction.
//!
//! Invariant: it ends within 0.4 ms, even when a line is held for good, and leaves both lines
//! released.

use crate::gpio::{Function, Pin};
use crate::timer::{Deadline, pause_us};

/// Half a clock of 100 kHz, which every part understands.
const HALF_US: u32 = 5;
const PULSES: u8 = 9;
/// How long a part may hold the clock line.
const STRETCH_US: u32 = 20;

/// Takes the lines from the controller and clocks the bus free. The caller gives them back.
pub fn run(sda: Pin, scl: Pin) {
    for line in [sda, scl] {
        line.let_go();
        line.connect(Function::Sio, true);
    }
    pause_us(HALF_US);
    for _ in 0..PULSES {
        scl.pull_low();
        pause_us(HALF_US);
        raise(scl);
    }
    // Stop: the data line rises while the clock line is high.
    scl.pull_low();
    pause_us(HALF_US);
    sda.pull_low();
    pause_us(HALF_US);
    raise(scl);
    sda.let_go();
    pause_us(HALF_US);
}

/// Lets the clock line go and waits until it is high, for half a clock at least.
fn raise(scl: Pin) {
    scl.let_go();
    let deadline = Deadline::after_us(STRETCH_US);
    while !scl.is_high() && !deadline.is_over() {}
    pause_us(HALF_US);
}
