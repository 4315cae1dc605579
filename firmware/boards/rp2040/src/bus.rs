//! The two-wire bus: I²C master over I2C0, 400 kHz.
//!
//! The driver is our own. The blocking driver of the chip's library can wait without end, and
//! it reports a short write to a missing part as done (seen with rp2040-hal 0.12).
//!
//! Invariants:
//! - every wait ends: a transaction has a deadline, twice its time on the wire plus
//!   [`SLACK_US`];
//! - a transaction is done when its Stop has been on the wire and nothing was refused;
//! - after a wait that ran out, or a lost arbitration, the lines are clocked free
//!   ([`crate::bus_clear`]) and the controller is started anew.
//!
//! The controller cannot send an address without a byte after it, so a transaction without
//! bytes is refused as [`BusError::Empty`].
//!
//! Registers: RP2040 datasheet, section "I2C". Writing 0 to `IC_ENABLE` abandons the
//! transaction under way and clears the interrupt flags, so it is done only when the bus is
//! idle, or before the lines are clocked free.

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use rp2040_hal::pac::{I2C0, RESETS};

use crate::bus_clear;
use crate::gpio::{Function, Pin};
use crate::pins::Direction;
use crate::timer::Deadline;

/// Data line.
pub const SDA: Pin = Pin::named("i2c sda", Direction::Both);
/// Clock line.
pub const SCL: Pin = Pin::named("i2c scl", Direction::Both);

const BUS_HZ: u32 = 400_000;
/// Twice the 22.5 µs of nine clocks.
const BYTE_US: u32 = 45;
/// For start, stop, and interrupts in between.
const SLACK_US: u32 = 500;
/// After a refusal the controller makes a Stop of its own: 2.5 µs, and a byte before it.
const STOP_US_MAX: u32 = 100;
/// Depth of both queues of the controller.
const QUEUE: usize = 16;

/// Bits of a command, and of the flags.
const READ: u32 = 1 << 8;
const STOP: u32 = 1 << 9;
const RESTART: u32 = 1 << 10;

/// Why a transaction failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, defmt::Format)]
pub enum BusError {
    /// Nobody acknowledged the address.
    NoAddress,
    /// A byte was not acknowledged.
    NoData,
    /// Somebody else pulled the data line low.
    ArbitrationLost,
    /// A line is held, or the controller hangs.
    Timeout,
    /// No byte to send or to read.
    Empty,
    /// The controller gave another reason.
    Other,
}

impl embedded_hal::i2c::Error for BusError {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::NoAddress => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            Self::NoData => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data),
            Self::ArbitrationLost => ErrorKind::ArbitrationLoss,
            Self::Timeout => ErrorKind::Bus,
            Self::Empty | Self::Other => ErrorKind::Other,
        }
    }
}

/// The bus.
pub struct Bus {
    i2c: I2C0,
    /// Clocks of the peripheral in a bit.
    bit: u32,
}

impl Bus {
    /// Sets the bus up; `peripheral_hz`: the clock of the system, from which the
    /// controller makes its own.
    pub fn new(i2c: I2C0, resets: &RESETS, peripheral_hz: u32) -> Self {
        resets.reset().modify(|_, w| w.i2c0().set_bit());
        resets.reset().modify(|_, w| w.i2c0().clear_bit());
        let deadline = Deadline::after_us(SLACK_US);
        while resets.reset_done().read().i2c0().bit_is_clear() && !deadline.is_over() {}
        let bus = Self { i2c, bit: peripheral_hz.div_ceil(BUS_HZ) };
        // A part that a reset has cut off in the middle of a read holds the data line.
        bus.clear();
        bus
    }

    /// Clocks the lines free and starts the controller anew.
    fn clear(&self) {
        self.i2c.ic_enable().write(|w| w.enable().clear_bit());
        bus_clear::run(SDA, SCL);
        SDA.connect(Function::I2c, true);
        SCL.connect(Function::I2c, true);
        self.configure();
    }

    fn configure(&self) {
        self.i2c.ic_con().write(|w| {
            w.speed().fast().master_mode().enabled().ic_slave_disable().slave_disabled();
            w.ic_restart_en().enabled().tx_empty_ctrl().enabled()
        });
        // Low for three fifths of the bit: 1.5 µs of 2.5 (at least 1.3 and 0.6 µs, I²C-bus
        // specification, fast mode). The data hold time is 300 ns; spikes of a sixteenth
        // of the low time are filtered, as in the chip maker's own library (from memory).
        let low = self.bit * 3 / 5;
        let high = self.bit - low;
        let hold = self.bit * 3 / 25 + 1;
        // SAFETY: the values fit their fields: a bit is 313 clocks at 125 MHz.
        unsafe {
            self.i2c.ic_fs_scl_hcnt().write(|w| w.bits(high));
            self.i2c.ic_fs_scl_lcnt().write(|w| w.bits(low));
            self.i2c.ic_fs_spklen().write(|w| w.bits((low / 16).max(1)));
            self.i2c.ic_sda_hold().write(|w| w.bits(hold));
            self.i2c.ic_rx_tl().write(|w| w.bits(0));
            self.i2c.ic_tx_tl().write(|w| w.bits(0));
            self.i2c.ic_intr_mask().write(|w| w.bits(0));
        }
    }

    /// A transaction from its start to its Stop.
    fn run(
        &self,
        address: u8,
        operations: &mut [Operation<'_>],
        deadline: Deadline,
    ) -> Result<(), BusError> {
        let last = operations.iter().rposition(|one| length(one) != 0).ok_or(BusError::Empty)?;
        // The bus is idle: the address may be changed.
        self.i2c.ic_enable().write(|w| w.enable().clear_bit());
        // SAFETY: seven bits of address; the two special functions are off.
        self.i2c.ic_tar().write(|w| unsafe { w.bits(u32::from(address & 0x7F)) });
        self.i2c.ic_enable().write(|w| w.enable().set_bit());
        // Reading it clears all flags.
        let _ = self.i2c.ic_clr_intr().read();
        let mut was_reading = None;
        for (place, operation) in operations.iter_mut().enumerate() {
            if length(operation) == 0 {
                continue;
            }
            let is_reading = matches!(operation, Operation::Read(_));
            // Adjacent operations of one kind are one, without a start in between.
            let turns = was_reading.is_some_and(|was| was != is_reading);
            let first = if turns { RESTART } else { 0 };
            let end = if place == last { STOP } else { 0 };
            match operation {
                Operation::Write(bytes) => self.write(bytes, first, end, deadline)?,
                Operation::Read(bytes) => self.read(bytes, first, end, deadline)?,
            }
            was_reading = Some(is_reading);
        }
        self.wait(deadline, || self.i2c.ic_raw_intr_stat().read().stop_det().bit_is_set())?;
        // The last byte may have been refused while the flags were looked at.
        self.check()
    }

    fn write(
        &self,
        bytes: &[u8],
        first: u32,
        end: u32,
        deadline: Deadline,
    ) -> Result<(), BusError> {
        for (n, byte) in bytes.iter().enumerate() {
            self.wait(deadline, || self.has_room())?;
            self.command(u32::from(*byte) | at_ends(n, bytes.len(), first, end));
        }
        Ok(())
    }

    fn read(
        &self,
        bytes: &mut [u8],
        first: u32,
        end: u32,
        deadline: Deadline,
    ) -> Result<(), BusError> {
        let count = bytes.len();
        let mut asked = 0;
        for (n, slot) in bytes.iter_mut().enumerate() {
            // As many as the queue takes of what comes back: none can be lost.
            while asked < count && asked - n < QUEUE && self.has_room() {
                self.command(READ | at_ends(asked, count, first, end));
                asked += 1;
            }
            self.wait(deadline, || self.i2c.ic_rxflr().read().bits() != 0)?;
            *slot = self.i2c.ic_data_cmd().read().dat().bits();
        }
        Ok(())
    }

    fn has_room(&self) -> bool {
        self.i2c.ic_status().read().tfnf().bit_is_set()
    }

    fn command(&self, command: u32) {
        // SAFETY: a byte or a read, and the three flags of a command.
        self.i2c.ic_data_cmd().write(|w| unsafe { w.bits(command) });
    }

    /// Waits until `is_so`, unless the transaction fails or `deadline` is over.
    fn wait(&self, deadline: Deadline, is_so: impl Fn() -> bool) -> Result<(), BusError> {
        loop {
            self.check()?;
            if is_so() {
                return Ok(());
            }
            if deadline.is_over() {
                return Err(BusError::Timeout);
            }
        }
    }

    /// The reason, if the controller has given up.
    fn check(&self) -> Result<(), BusError> {
        if self.i2c.ic_raw_intr_stat().read().tx_abrt().bit_is_clear() {
            return Ok(());
        }
        // Read once: some models clear it by that.
        let why = self.i2c.ic_tx_abrt_source().read();
        let _ = self.i2c.ic_clr_tx_abrt().read();
        if why.arb_lost().bit_is_set() {
            return Err(BusError::ArbitrationLost);
        }
        // Its own Stop must be on the wire before the controller is touched again.
        let deadline = Deadline::after_us(STOP_US_MAX);
        while self.i2c.ic_raw_intr_stat().read().stop_det().bit_is_clear()
            && self.i2c.ic_status().read().mst_activity().bit_is_set()
        {
            if deadline.is_over() {
                return Err(BusError::Timeout);
            }
        }
        Err(if why.abrt_7b_addr_noack().bit_is_set() {
            BusError::NoAddress
        } else if why.abrt_txdata_noack().bit_is_set() {
            BusError::NoData
        } else {
            BusError::Other
        })
    }
}

impl ErrorType for Bus {
    type Error = BusError;
}

impl I2c for Bus {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        // Each operation may begin with an address byte.
        let bytes: usize = operations.iter().map(|one| length(one) + 1).sum();
        let deadline = Deadline::after_us(SLACK_US + BYTE_US * bytes as u32);
        let outcome = self.run(address, operations, deadline);
        if matches!(outcome, Err(BusError::Timeout | BusError::ArbitrationLost)) {
            self.clear();
        }
        outcome
    }
}

const fn length(operation: &Operation<'_>) -> usize {
    match operation {
        Operation::Read(bytes) => bytes.len(),
        Operation::Write(bytes) => bytes.len(),
    }
}

/// The flags of command `n` of `count`.
const fn at_ends(n: usize, count: usize, first: u32, end: u32) -> u32 {
    (if n == 0 { first } else { 0 }) | (if n + 1 == count { end } else { 0 })
}
