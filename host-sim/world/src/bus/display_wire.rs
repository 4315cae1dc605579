//! Transactions with the display, which is on the bus beside the memory part.
//!
//! Invariant: what is said to the display changes no byte of the memory part, and takes none of
//! the bus's random numbers but those of random refusals, which are drawn for every
//! transaction. So, except for those refusals, the part behaves alike with and without a display.

use embedded_hal::i2c::Operation;
use rand_core::Rng;
use rand_pcg::Pcg32;

use super::clock::CLOCK_ADDRESS;
use super::display::{DisplayModel, Taken};
use super::line::{Answers, Bus, BusError};

/// The display's 7-bit address, pin SA0 low (SSD1306 datasheet, from memory).
pub(super) const DISPLAY_ADDRESS: u8 = 0x3C;

impl Bus {
    /// The same bus with a display on it at 0x3C, its supply just switched on; `seed`
    /// decides what its memory holds then.
    #[must_use]
    pub fn with_display(mut self, seed: u64) -> Self {
        let mut rng = Pcg32::new(seed, 0xD15);
        self.display = Some(Box::new(DisplayModel::new(rng.next_u64())));
        self
    }

    /// The display, if one is fitted.
    #[must_use]
    pub fn display(&self) -> Option<&DisplayModel> {
        self.display.as_deref()
    }

    /// The display, to let it fail.
    pub fn display_mut(&mut self) -> Option<&mut DisplayModel> {
        self.display.as_deref_mut()
    }

    /// A transaction with an address that is not the memory part's.
    #[inline(never)]
    pub(super) fn run_elsewhere(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        if address == CLOCK_ADDRESS
            && let Some(outcome) = self.ask_clock(operations)
        {
            return outcome;
        }
        // Taken out for the while, as the bus goes on beside it.
        match self.display.take() {
            Some(mut display) if address == DISPLAY_ADDRESS => {
                let outcome = self.talk(&mut display, operations);
                self.display = Some(display);
                outcome
            }
            other => {
                self.display = other;
                self.run(address, operations)
            }
        }
    }

    fn talk(
        &mut self,
        display: &mut DisplayModel,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        let mut direction = None;
        for operation in operations {
            let is_read = matches!(operation, Operation::Read(_));
            if direction.replace(is_read) != Some(is_read) {
                self.now_ns += self.timing.start_ns;
                self.pass_byte()?;
                let taken = if self.refuses() { Taken::NotAcknowledged } else { display.select() };
                self.go_on(taken, BusError::NotAcknowledged)?;
            }
            match operation {
                Operation::Write(bytes) => {
                    for byte in *bytes {
                        // The last byte before a cut has arrived.
                        let clocked = self.clock(1);
                        if clocked == Err(0) {
                            return self.cut_off();
                        }
                        self.tally.bytes_written += 1;
                        let taken = display.accept(*byte);
                        if clocked.is_err() {
                            return self.cut_off();
                        }
                        self.go_on(taken, BusError::DataNotAcknowledged)?;
                    }
                }
                Operation::Read(bytes) => {
                    for byte in bytes.iter_mut() {
                        self.pass_byte()?;
                        self.tally.bytes_read += 1;
                        *byte = display.status();
                    }
                }
            }
        }
        self.now_ns += self.timing.stop_ns;
        if self.now_ns > self.cut.at_ns {
            return self.cut_off();
        }
        display.stop();
        Ok(())
    }

    /// Clocks one byte, if the supply lasts.
    pub(super) fn pass_byte(&mut self) -> Result<(), BusError> {
        if self.clock(1).is_ok() { Ok(()) } else { self.cut_off() }
    }

    /// The supply is gone. No write to the memory part is open.
    pub(super) fn cut_off(&mut self) -> Result<(), BusError> {
        self.now_ns = self.now_ns.min(self.cut.at_ns);
        self.cut.is_done = true;
        Err(BusError::Cut)
    }

    /// Goes on after an acknowledge; ends the transaction after anything else.
    fn go_on(&mut self, taken: Taken, refusal: BusError) -> Result<(), BusError> {
        match taken {
            Taken::Acknowledged => Ok(()),
            Taken::NotAcknowledged => {
                self.tally.refused += u64::from(refusal == BusError::NotAcknowledged);
                self.now_ns += self.timing.stop_ns;
                Err(refusal)
            }
            Taken::Held => {
                self.held_from = Some(self.answers);
                self.answers = Answers::BusHeld;
                self.now_ns += self.timing.held_ns;
                Err(BusError::Held)
            }
        }
    }
}
