//! The I²C bus: two lines, driven bit by bit, at 400 kHz of the board's time.
//!
//! Invariants: every transaction ends, whatever the wires do. A byte that is not acknowledged
//! ends it with an error. If the data line is held low at a start, the line is clocked free; if
//! that does not help, the transaction ends with an error. Each bit takes 2.5 µs of the
//! scripted time. Clock stretching is not handled, because no target on this machine does it.

use embedded_hal::i2c::{
    ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation, SevenBitAddress,
};

use crate::register::Register;
use crate::time::ScriptTime;

/// The two-wire block: writing `SET` or `CLEAR` moves the lines named by bits; `SET` reads
/// the data line.
const BASE: usize = 0x4002_A000;
const SET: Register = Register::of(BASE, 0);
const CLEAR: Register = Register::of(BASE, 4);
const CLOCK: u32 = 1 << 0;
const DATA: u32 = 1 << 1;
/// A bit at 400 kHz, ns.
const BIT_NS: u64 = 2_500;
/// Clocks after which any target has let go of the data line: a byte and its
/// acknowledgement (I²C specification UM10204, 3.1.16 "Bus clear").
const FREEING_CLOCKS: usize = 9;

/// The bus.
pub struct Wire {
    /// What each bit takes time of.
    pub time: ScriptTime,
}

impl Wire {
    /// Both lines let go.
    pub fn new(time: ScriptTime) -> Self {
        SET.write(CLOCK | DATA);
        Self { time }
    }

    fn start(&mut self) -> Result<(), ErrorKind> {
        SET.write(DATA);
        SET.write(CLOCK);
        self.time.pass(BIT_NS);
        if !is_high() {
            self.free()?;
        }
        CLEAR.write(DATA);
        CLEAR.write(CLOCK);
        Ok(())
    }

    fn stop(&mut self) {
        CLEAR.write(DATA);
        SET.write(CLOCK);
        SET.write(DATA);
        self.time.pass(BIT_NS);
    }

    /// Clocks a target free that holds the data line.
    fn free(&mut self) -> Result<(), ErrorKind> {
        for _ in 0..FREEING_CLOCKS {
            CLEAR.write(CLOCK);
            SET.write(CLOCK);
            self.time.pass(BIT_NS);
        }
        self.stop();
        if is_high() { Ok(()) } else { Err(ErrorKind::Bus) }
    }

    /// Sends a byte; whether it was acknowledged.
    fn send(&mut self, byte: u8) -> bool {
        for bit in (0..8).rev() {
            drive(byte >> bit & 1 != 0);
            clock();
        }
        SET.write(DATA);
        SET.write(CLOCK);
        let acknowledged = !is_high();
        CLEAR.write(CLOCK);
        self.time.pass(9 * BIT_NS);
        acknowledged
    }

    /// Receives a byte, and acknowledges it unless it is the last one.
    fn receive(&mut self, is_last: bool) -> u8 {
        SET.write(DATA);
        let byte = (0..8).fold(0, |byte, _| {
            SET.write(CLOCK);
            let bit = u8::from(is_high());
            CLEAR.write(CLOCK);
            byte << 1 | bit
        });
        drive(is_last);
        clock();
        self.time.pass(9 * BIT_NS);
        byte
    }

    fn run(&mut self, address: u8, mut rest: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let mut was_read = None;
        while let Some((operation, after)) = rest.split_first_mut() {
            let is_read = matches!(operation, Operation::Read(_));
            if was_read != Some(is_read) {
                self.start()?;
                if !self.send(address << 1 | u8::from(is_read)) {
                    return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
                }
            }
            was_read = Some(is_read);
            match operation {
                Operation::Read(bytes) => {
                    // The last byte before a stop or another direction is not acknowledged.
                    let goes_on = matches!(after.first(), Some(Operation::Read(_)));
                    self.read(bytes, goes_on);
                }
                Operation::Write(bytes) => {
                    if !bytes.iter().all(|byte| self.send(*byte)) {
                        return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data));
                    }
                }
            }
            rest = after;
        }
        Ok(())
    }

    fn read(&mut self, bytes: &mut [u8], goes_on: bool) {
        let count = bytes.len();
        for (place, byte) in bytes.iter_mut().enumerate() {
            *byte = self.receive(place + 1 == count && !goes_on);
        }
    }
}

impl ErrorType for Wire {
    type Error = ErrorKind;
}

impl I2c for Wire {
    fn transaction(
        &mut self,
        address: SevenBitAddress,
        operations: &mut [Operation<'_>],
    ) -> Result<(), ErrorKind> {
        if operations.is_empty() {
            return Ok(());
        }
        let result = self.run(address, operations);
        self.stop();
        result
    }
}

fn is_high() -> bool {
    SET.read() & DATA != 0
}

fn drive(high: bool) {
    if high { SET.write(DATA) } else { CLEAR.write(DATA) }
}

fn clock() {
    SET.write(CLOCK);
    CLEAR.write(CLOCK);
}
