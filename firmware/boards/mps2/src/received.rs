//! The bytes that the UARTs receive, on their way from the interrupts to the main loop.
//!
//! Invariants: an interrupt takes one byte and returns. When its queue is full, it pauses
//! reception and the sender is held back, so that nothing is lost and nothing waits.

use core::cell::RefCell;

use cortex_m::singleton;
use critical_section::Mutex;
use heapless::spsc::{Consumer, Producer, Queue};

use crate::uart::Uart;

/// Places of a queue.
const PLACES: usize = 1_024;

/// An interrupt's end.
type Sink = Mutex<RefCell<Option<Producer<'static, u8>>>>;

static PORT: Sink = Mutex::new(RefCell::new(None));
static SCRIPT: Sink = Mutex::new(RefCell::new(None));

/// The main loop's end: bytes received by one UART.
pub struct Received {
    uart: Uart,
    bytes: Consumer<'static, u8>,
}

impl Received {
    /// Switches the service port's UART on; `None` the second time.
    pub fn at_port() -> Option<Self> {
        let queue = singleton!(: Queue<u8, PLACES> = Queue::new())?;
        Some(Self::switch_on(Uart::PORT, &PORT, queue))
    }

    /// Switches the script's UART on; `None` the second time.
    pub fn at_script() -> Option<Self> {
        let queue = singleton!(: Queue<u8, PLACES> = Queue::new())?;
        Some(Self::switch_on(Uart::SCRIPT, &SCRIPT, queue))
    }

    fn switch_on(uart: Uart, sink: &Sink, queue: &'static mut Queue<u8, PLACES>) -> Self {
        let (producer, bytes) = queue.split();
        critical_section::with(|cs| sink.borrow_ref_mut(cs).replace(producer));
        uart.switch_on();
        Self { uart, bytes }
    }

    /// How many bytes wait.
    pub fn len(&self) -> usize {
        self.bytes.len()
    }

    /// Whether none waits.
    pub fn is_empty(&self) -> bool {
        !self.bytes.ready()
    }

    /// The oldest byte not yet taken.
    pub fn pop(&mut self) -> Option<u8> {
        let byte = self.bytes.dequeue();
        if self.bytes.len() == PLACES / 2 {
            // It may have been paused. In one piece: the interrupt writes there too.
            critical_section::with(|_| self.uart.resume());
            // A byte that came in meanwhile has raised no interrupt.
            if self.uart.has_byte() {
                self.take();
            }
        }
        byte
    }

    /// The UART, to send.
    pub fn uart(&self) -> Uart {
        self.uart
    }

    fn take(&self) {
        match self.uart {
            Uart::PORT => on_port(),
            _ => on_script(),
        }
    }
}

/// The port's interrupt: a byte has come in.
pub extern "C" fn on_port() {
    take(Uart::PORT, &PORT);
}

/// The script's interrupt: a byte has come in.
pub extern "C" fn on_script() {
    take(Uart::SCRIPT, &SCRIPT);
}

fn take(uart: Uart, sink: &Sink) {
    critical_section::with(|cs| {
        // Never borrowed twice; asked for so that no panic is in an interrupt.
        let Ok(mut sink) = sink.borrow(cs).try_borrow_mut() else { return uart.pause() };
        let Some(queue) = sink.as_mut() else { return uart.pause() };
        if !queue.ready() {
            return uart.pause();
        }
        if let Some(byte) = uart.read() {
            // There is room: this is the only end that fills it.
            let _ = queue.enqueue(byte);
        }
    });
}
