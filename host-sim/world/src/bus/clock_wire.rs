//! Transactions with the clock, which is on the bus beside the memory part.

use embedded_hal::i2c::Operation;

use super::clock::ClockSays;
use super::line::{Bus, BusError};

impl Bus {
    /// The clock says this from now on.
    pub fn set_clock(&mut self, says: ClockSays) {
        self.clock_says = says;
    }

    /// A transaction with the clock, if there is one.
    pub(super) fn ask_clock(
        &mut self,
        operations: &mut [Operation<'_>],
    ) -> Option<Result<(), BusError>> {
        let registers = self.clock_says.registers()?;
        Some(self.read_clock(registers, operations))
    }

    fn read_clock(
        &mut self,
        registers: [u8; 16],
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        let mut pointer = 0;
        for operation in operations {
            self.now_ns += self.timing.start_ns;
            self.pass_byte()?;
            match operation {
                Operation::Write(bytes) => {
                    for byte in *bytes {
                        self.pass_byte()?;
                        pointer = usize::from(*byte);
                    }
                }
                Operation::Read(bytes) => {
                    for byte in bytes.iter_mut() {
                        self.pass_byte()?;
                        *byte = registers[pointer % registers.len()];
                        pointer += 1;
                    }
                }
            }
        }
        self.now_ns += self.timing.stop_ns;
        if self.now_ns > self.cut.at_ns { self.cut_off() } else { Ok(()) }
    }
}
