//! One UART of the machine (CMSDK APB UART).
//!
//! Invariant: nothing waits. Reception can be paused: then the byte that has come in stays in
//! the UART, and the sender is held back.

use crate::register::Register;

/// Receiver holds a byte; transmitter is full.
const RX_FULL: u32 = 1 << 1;
const TX_FULL: u32 = 1 << 0;
/// Transmitter and receiver on; interrupt for a byte received.
const TX_ON: u32 = 1 << 0;
const RX_ON: u32 = 1 << 1;
const RX_INTERRUPT: u32 = 1 << 3;
/// "Byte received" in the interrupt register, cleared by writing it.
const RX_SEEN: u32 = 1 << 1;
/// Clocks of a bit. 16 is the least that the machine takes; QEMU's UARTs are as fast as
/// their other end.
const CLOCKS_OF_A_BIT: u32 = 16;

/// The system timer's control, reload and current value (Armv7-M Architecture Reference
/// Manual, B3.3), and what starts it without an interrupt.
const TICK_CONTROL: Register = Register::of(0xE000_E000, 0x10);
const TICK_RELOAD: Register = Register::of(0xE000_E000, 0x14);
const TICK_VALUE: Register = Register::of(0xE000_E000, 0x18);
const TICK_ON: u32 = 0b101;
const TICK_LONGEST: u32 = 0x00FF_FFFF;

/// A UART.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Uart {
    data: Register,
    state: Register,
    control: Register,
    interrupt: Register,
    divider: Register,
}

impl Uart {
    /// UART 0: the service port.
    pub const PORT: Self = Self::at(0x4000_4000);
    /// UART 1: the script.
    pub const SCRIPT: Self = Self::at(0x4000_5000);

    const fn at(base: usize) -> Self {
        Self {
            data: Register::of(base, 0x00),
            state: Register::of(base, 0x04),
            control: Register::of(base, 0x08),
            interrupt: Register::of(base, 0x0C),
            divider: Register::of(base, 0x10),
        }
    }

    /// Switches it on, with an interrupt for each byte that comes in.
    pub fn switch_on(self) {
        self.divider.write(CLOCKS_OF_A_BIT);
        TICK_RELOAD.write(TICK_LONGEST);
        TICK_CONTROL.write(TICK_ON);
        self.resume();
    }

    /// Takes the byte that has come in, and makes room for the next.
    pub fn read(self) -> Option<u8> {
        (self.state.read() & RX_FULL != 0).then(|| {
            // In this order: as soon as the byte is taken, the next may come and say so.
            self.interrupt.write(RX_SEEN);
            let byte = self.data.read() as u8;
            nudge();
            byte
        })
    }

    /// Sends `byte`; whether there was room.
    pub fn write(self, byte: u8) -> bool {
        let has_room = self.state.read() & TX_FULL == 0;
        if has_room {
            self.data.write(byte.into());
        }
        has_room
    }

    /// No more interrupts for what comes in, until [`Uart::resume`].
    pub fn pause(self) {
        self.control.write(TX_ON | RX_ON);
        self.interrupt.write(RX_SEEN);
    }

    /// Interrupts for what comes in.
    pub fn resume(self) {
        self.control.write(TX_ON | RX_ON | RX_INTERRUPT);
    }

    /// Whether a byte is in the receiver.
    pub fn has_byte(self) -> bool {
        self.state.read() & RX_FULL != 0
    }
}

/// Makes QEMU look for the next byte now. It looks only when its event loop turns, which
/// reading a UART does not make it do; setting a timer does. (Seen with QEMU 7.2: without
/// this, the board stood still.) A chip needs none of it.
fn nudge() {
    TICK_VALUE.write(0);
}
