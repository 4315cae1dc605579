//! The service port: UART0, 115,200 baud, 8N1.
//!
//! An interrupt takes the bytes that come in into a queue, so that none is lost while the bus
//! is busy. Bytes go out through the controller's own queue of 32.
//!
//! Invariants: nothing waits; a byte that comes with an error, or finds the queue full, is
//! dropped (the main loop answers a line that it does not know with `? help`).

use core::cell::Cell;

use critical_section::Mutex;
use heapless::spsc::{Consumer, Producer, Queue};
use rp2040_hal::pac;
use rp2040_hal::pac::interrupt;

use crate::gpio::{Function, Pin};
use crate::pins::Direction::{In, Out};
use crate::timer::Deadline;

const TX: Pin = Pin::named("uart tx", Out);
const RX: Pin = Pin::named("uart rx", In);
const BAUD: u32 = 115_200;
/// Longest wait for the reset of the controller, µs.
const RESET_US_MAX: u32 = 100;
/// A byte's error flags: framing, parity, break, overrun.
const ERRORS: u32 = 0xF << 8;

/// Bytes that came in.
pub type Received = Queue<u8, 64>;

static HANDOVER: Mutex<Cell<Option<Producer<'static, u8>>>> = Mutex::new(Cell::new(None));

/// The port.
pub struct ServicePort {
    received: Consumer<'static, u8>,
}

impl ServicePort {
    /// Sets the port up; `peripheral_hz`: the clock of the peripherals. `_uart`: whoever
    /// has it may do so, once.
    pub fn new(
        _uart: pac::UART0,
        resets: &pac::RESETS,
        peripheral_hz: u32,
        received: &'static mut Received,
    ) -> Self {
        resets.reset().modify(|_, w| w.uart0().set_bit());
        resets.reset().modify(|_, w| w.uart0().clear_bit());
        let deadline = Deadline::after_us(RESET_US_MAX);
        while resets.reset_done().read().uart0().bit_is_clear() && !deadline.is_over() {}
        let uart = registers();
        // The divider in 64ths, rounded (PL011 manual, baud rate divisor).
        let divisor = (peripheral_hz * 4 + BAUD / 2) / BAUD;
        // SAFETY: the divider fits its fields (67 and 52 at 125 MHz); 8 bits, queues on;
        // queue levels of an eighth.
        unsafe {
            uart.uartibrd().write(|w| w.bits(divisor >> 6));
            uart.uartfbrd().write(|w| w.bits(divisor & 0x3F));
            uart.uartlcr_h().write(|w| w.wlen().bits(0b11).fen().set_bit());
            uart.uartifls().write(|w| w.bits(0));
        }
        uart.uartcr().write(|w| w.uarten().set_bit().txe().set_bit().rxe().set_bit());
        // Bytes have come in, or some and then none for a while.
        uart.uartimsc().write(|w| w.rxim().set_bit().rtim().set_bit());
        TX.connect(Function::Uart, false);
        RX.connect(Function::Uart, true);
        let (producer, received) = received.split();
        critical_section::with(|cs| HANDOVER.borrow(cs).set(Some(producer)));
        // SAFETY: the handler shares only the queue and `HANDOVER` with the main program.
        unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::UART0_IRQ) };
        Self { received }
    }

    /// The next byte that came in.
    pub fn read(&mut self) -> Option<u8> {
        self.received.dequeue()
    }

    /// Whether a byte waits.
    pub fn has_byte(&self) -> bool {
        self.received.ready()
    }

    /// Sends as many of `bytes` as there is room for; how many that was.
    #[allow(clippy::unused_self)] // Sending is the owner's right.
    pub fn write(&mut self, bytes: &[u8]) -> usize {
        let uart = registers();
        let mut sent = 0;
        for byte in bytes {
            if uart.uartfr().read().txff().bit_is_set() {
                break;
            }
            // SAFETY: a byte; the other bits of the register are only read.
            uart.uartdr().write(|w| unsafe { w.bits((*byte).into()) });
            sent += 1;
        }
        sent
    }
}

#[interrupt]
fn UART0_IRQ() {
    static mut RECEIVED: Option<Producer<'static, u8>> = None;
    if RECEIVED.is_none() {
        *RECEIVED = critical_section::with(|cs| HANDOVER.borrow(cs).take());
    }
    let uart = registers();
    // SAFETY: write-one-to-clear: all flags. What comes from here on sets them again.
    uart.uarticr().write(|w| unsafe { w.bits(0x7FF) });
    while uart.uartfr().read().rxfe().bit_is_clear() {
        let word = uart.uartdr().read().bits();
        if let Some(received) = RECEIVED
            && word & ERRORS == 0
        {
            let _ = received.enqueue(word as u8);
        }
    }
}

fn registers() -> &'static pac::uart0::RegisterBlock {
    // SAFETY: the registers are always there. Set up once, before the interrupt is let
    // through; from then on the handler takes bytes and clears flags, the main program
    // puts bytes in.
    unsafe { &*pac::UART0::ptr() }
}
