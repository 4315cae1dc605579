//! The program of both race tests: an interrupt pushes edges while a main loop takes them.
//!
//! The runner (`tests/rp2040/race.mjs`) reads [`RACE_RESULT`] and writes one word of it. It
//! raises the interrupt whenever it likes while the phase is [`OPEN`]. At the end every edge
//! that was pushed must have been popped, in order, or counted as missed.
//!
//! `crate::capture` is the capture under test: that of the drivers, or the sabotaged one.

use core::cell::RefCell;
use core::panic::PanicInfo;
use core::sync::atomic::{AtomicU32, Ordering};

use cortex_m::asm;
use cortex_m::interrupt::InterruptNumber;
use cortex_m::peripheral::NVIC;
use cortex_m::singleton;
use cortex_m_rt::entry;
use critical_section::Mutex;
use shaftbook_core::input::{Input, Level};

use crate::capture::{Capture, EdgeConsumer, EdgeProducer};

// Its link script is asked for, and a critical section that masks interrupts.
use defmt as _;

/// Places of the queue: one less than this.
const QUEUE: usize = 4;
/// Turns of the main loop while interrupts come.
const ROUNDS: u32 = 3;

/// Interrupts may come; the runner begins.
const OPEN: u32 = 1;
/// Interrupts are masked; the rest is being taken.
const CLOSED: u32 = 2;
/// The figures are complete.
const DONE: u32 = 3;

/// What the runner reads, and the one word that it writes.
#[repr(C)]
struct Result {
    phase: AtomicU32,
    /// Edges that one interrupt pushes: the runner writes it when the phase is [`OPEN`].
    burst: AtomicU32,
    pushed: AtomicU32,
    popped: AtomicU32,
    missed: AtomicU32,
    /// 0, or 1 when an edge came out that is not a later one than that before it, that is
    /// not what was pushed, or that was announced and did not come.
    disorder: AtomicU32,
    interrupts: AtomicU32,
    panics: AtomicU32,
}

// SAFETY: nothing else has this name.
#[unsafe(no_mangle)]
static RACE_RESULT: Result = Result {
    phase: AtomicU32::new(0),
    burst: AtomicU32::new(0),
    pushed: AtomicU32::new(0),
    popped: AtomicU32::new(0),
    missed: AtomicU32::new(0),
    disorder: AtomicU32::new(0),
    interrupts: AtomicU32::new(0),
    panics: AtomicU32::new(0),
};

static SINK: Mutex<RefCell<Option<EdgeProducer<'static>>>> = Mutex::new(RefCell::new(None));

/// The first of the interrupts that the chip leaves to software (RP2040 datasheet, 2.3.2).
#[derive(Clone, Copy)]
struct Spare;

/// Its number.
const SPARE: u16 = 26;

// SAFETY: the number is constant and within the table.
unsafe impl InterruptNumber for Spare {
    fn number(self) -> u16 {
        SPARE
    }
}

/// Interrupts of this target.
const TABLE_LEN: usize = 32;

extern "C" fn unused() {}

// SAFETY: cortex-m-rt's link script places this section behind the exceptions' vectors,
// where the processor looks for it; the name is the one it asks for.
#[unsafe(link_section = ".vector_table.interrupts")]
#[unsafe(no_mangle)]
#[used]
static __INTERRUPTS: [extern "C" fn(); TABLE_LEN] = {
    let mut table = [unused as extern "C" fn(); TABLE_LEN];
    table[SPARE as usize] = interrupt;
    table
};

/// Adds `more` to a figure that only one side writes.
fn add(figure: &AtomicU32, more: u32) {
    figure.store(figure.load(Ordering::Relaxed) + more, Ordering::Relaxed);
}

/// What edge number `n` says.
fn edge(n: u32) -> Input {
    Input::Shaft(Level::from_bool(n.is_multiple_of(2)))
}

extern "C" fn interrupt() {
    add(&RACE_RESULT.interrupts, 1);
    critical_section::with(|cs| {
        let Ok(mut sink) = SINK.borrow(cs).try_borrow_mut() else { return };
        let Some(producer) = sink.as_mut() else { return };
        for _ in 0..RACE_RESULT.burst.load(Ordering::Relaxed) {
            let n = RACE_RESULT.pushed.load(Ordering::Relaxed);
            producer.push(n, edge(n));
            add(&RACE_RESULT.pushed, 1);
        }
    });
}

/// The main loop's side, and the number of the edge that must come at the earliest.
struct Taker {
    consumer: EdgeConsumer<'static>,
    next: u32,
}

impl Taker {
    /// Takes an edge, and what was missed. Whether there was an edge.
    fn take(&mut self) -> bool {
        let is_announced = !self.consumer.is_empty();
        let popped = self.consumer.pop();
        match popped {
            Some((n, input)) => {
                if n < self.next || input != edge(n) {
                    RACE_RESULT.disorder.store(1, Ordering::Relaxed);
                }
                self.next = n.saturating_add(1);
                add(&RACE_RESULT.popped, 1);
            }
            None if is_announced => RACE_RESULT.disorder.store(1, Ordering::Relaxed),
            None => {}
        }
        add(&RACE_RESULT.missed, self.consumer.take_missed());
        popped.is_some()
    }
}

#[entry]
fn main() -> ! {
    if let Some(capture) = singleton!(: Capture<QUEUE> = Capture::new()) {
        let (producer, consumer) = capture.split();
        critical_section::with(|cs| SINK.borrow(cs).replace(Some(producer)));
        // SAFETY: nothing relies on it being masked; shared state is atomic or behind
        // `critical-section`.
        unsafe { NVIC::unmask(Spare) }
        race(Taker { consumer, next: 0 });
    }
    loop {
        asm::nop();
    }
}

fn race(mut taker: Taker) {
    RACE_RESULT.phase.store(OPEN, Ordering::SeqCst);
    for _ in 0..ROUNDS {
        taker.take();
    }
    cortex_m::interrupt::disable();
    RACE_RESULT.phase.store(CLOSED, Ordering::SeqCst);
    while taker.take() {}
    RACE_RESULT.phase.store(DONE, Ordering::SeqCst);
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    add(&RACE_RESULT.panics, 1);
    RACE_RESULT.phase.store(DONE, Ordering::SeqCst);
    loop {
        asm::nop();
    }
}
