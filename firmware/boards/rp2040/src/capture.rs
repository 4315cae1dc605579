//! Captures the edges of the pins, in the interrupt.
//!
//! The order is: take the stamp, clear the flags, read the levels. So no edge is lost, because
//! one that comes after the clearing interrupts again. The power-fail warning is pushed before
//! everything else.
//!
//! Invariants: nothing waits. The first interrupt takes over its ends of the queues, which
//! belong to the handler alone from then on. After that a lock is taken only to count an edge
//! that found its queue full.

use core::cell::Cell;

use critical_section::Mutex;
use rp2040_hal::pac;
use rp2040_hal::pac::interrupt;
use shaftbook_core::input::{Input, Level};
use shaftbook_drivers::capture::EdgeProducer;
use shaftbook_mainloop::hardware::ButtonEdge;
use shaftbook_mainloop::pin::{Edges, Flags, edges};
use shaftbook_panel::button::Button;

use crate::gpio::{self, Pin};
use crate::pins::Direction::In;
use crate::timer;

const POWER_FAIL: Pin = Pin::named("power fail", In);
const SHAFT: Pin = Pin::named("shaft", In);
const TRIM: Pin = Pin::named("trim", In);
const THREAD_BREAK: Pin = Pin::named("thread break", In);
const JUMP: Pin = Pin::named("jump", In);
const NEEDLE_CODE: [Pin; 4] = [
    Pin::named("needle code 0", In),
    Pin::named("needle code 1", In),
    Pin::named("needle code 2", In),
    Pin::named("needle code 3", In),
];
const BUTTONS: [(Pin, Button); 3] = [
    (Pin::named("button back", In), Button::Back),
    (Pin::named("button next", In), Button::Next),
    (Pin::named("button act", In), Button::Act),
];

/// Flags of a pin: four bits, of which these two are used.
const FELL: u32 = 1 << 2;
const ROSE: u32 = 1 << 3;
/// Flags of the pins 0 to 7, and of 8 to 15. Two words of 32 bits: this processor shifts
/// longer ones by a call.
type Flagged = [u32; 2];
const ENABLED: Flagged = {
    let mut flags = NEEDLE_FLAGS;
    let others =
        [POWER_FAIL, SHAFT, TRIM, THREAD_BREAK, JUMP, BUTTONS[0].0, BUTTONS[1].0, BUTTONS[2].0];
    let mut n = 0;
    while n < others.len() {
        flags[word(others[n])] |= (FELL | ROSE) << shift(others[n]);
        n += 1;
    }
    flags
};
const NEEDLE_FLAGS: Flagged = {
    let mut flags = [0; 2];
    let mut n = 0;
    while n < NEEDLE_CODE.len() {
        flags[word(NEEDLE_CODE[n])] |= (FELL | ROSE) << shift(NEEDLE_CODE[n]);
        n += 1;
    }
    flags
};

/// What the interrupt pushes to.
pub struct Ends {
    /// Edges at the machine.
    pub edges: EdgeProducer<'static>,
    /// Edges of the buttons.
    pub presses: EdgeProducer<'static, ButtonEdge>,
}

/// From the main program to the first interrupt.
static HANDOVER: Mutex<Cell<Option<Ends>>> = Mutex::new(Cell::new(None));

/// Begins to capture; before it, what stands at the inputs goes to the queues.
///
/// Only states are told: power-fail warning, needle code, jump. What is counted by its
/// beginning (shaft, trim, thread break) began before the supply came, and is not counted
/// a second time.
pub fn start(mut ends: Ends, nvic: &mut cortex_m::peripheral::NVIC) {
    for pin in [POWER_FAIL, SHAFT, TRIM, THREAD_BREAK, JUMP] {
        pin.listen();
    }
    for pin in NEEDLE_CODE {
        pin.listen();
    }
    for (pin, _) in BUTTONS {
        pin.listen();
    }
    // The pull-ups charge the lines: some µs.
    timer::pause_us(20);
    let bank = gpio::bank();
    // SAFETY: four enable bits a pin; flags are cleared by writing ones.
    unsafe {
        bank.proc0_inte(0).write(|w| w.bits(ENABLED[0]));
        bank.proc0_inte(1).write(|w| w.bits(ENABLED[1]));
        bank.intr(0).write(|w| w.bits(u32::MAX));
        bank.intr(1).write(|w| w.bits(u32::MAX));
    }
    // From here on each edge sets its flag, and interrupts as soon as it may.
    let (tick_us, levels) = (timer::tick_us(), gpio::levels());
    if POWER_FAIL.is_active(levels) {
        ends.edges.push(tick_us, Input::PowerFail(Level::Active));
    }
    ends.edges.push(tick_us, Input::NeedleCode(needle_code(levels)));
    if JUMP.is_active(levels) {
        ends.edges.push(tick_us, Input::Jump(Level::Active));
    }
    critical_section::with(|cs| HANDOVER.borrow(cs).set(Some(ends)));
    // SAFETY: the handler shares only queues and `HANDOVER` with the main program; nothing
    // relies on interrupts being masked by priority.
    unsafe {
        for other in [pac::Interrupt::TIMER_IRQ_0, pac::Interrupt::UART0_IRQ] {
            nvic.set_priority(other, LOW_PRIORITY);
        }
        nvic.set_priority(pac::Interrupt::IO_IRQ_BANK0, HIGH_PRIORITY);
        cortex_m::peripheral::NVIC::unmask(pac::Interrupt::IO_IRQ_BANK0);
    }
}

/// Tells the levels of all inputs of the machine, as they are now.
pub fn tell_levels(mut tell: impl FnMut(Input)) {
    let levels = gpio::levels();
    let level = |pin: Pin| Level::from_bool(pin.is_active(levels));
    tell(Input::PowerFail(level(POWER_FAIL)));
    tell(Input::NeedleCode(needle_code(levels)));
    tell(Input::Shaft(level(SHAFT)));
    tell(Input::Trim(level(TRIM)));
    tell(Input::ThreadBreak(level(THREAD_BREAK)));
    tell(Input::Jump(level(JUMP)));
}

/// Two upper bits count; 0 goes before all.
const HIGH_PRIORITY: u8 = 0;
const LOW_PRIORITY: u8 = 0x40;

#[interrupt]
fn IO_IRQ_BANK0() {
    static mut ENDS: Option<Ends> = None;
    let tick_us = timer::tick_us();
    if ENDS.is_none() {
        *ENDS = critical_section::with(|cs| HANDOVER.borrow(cs).take());
    }
    let flags = take_flags();
    if let Some(ends) = ENDS {
        ends.push(tick_us, flags, gpio::levels());
    }
}

/// Reads the flags that are set and enabled, and clears those.
#[inline]
fn take_flags() -> Flagged {
    let bank = gpio::bank();
    let flags = [bank.proc0_ints(0).read().bits(), bank.proc0_ints(1).read().bits()];
    // SAFETY: write-one-to-clear.
    unsafe {
        bank.intr(0).write(|w| w.bits(flags[0]));
        bank.intr(1).write(|w| w.bits(flags[1]));
    }
    flags
}

/// Whether `$pin` has a flag in `$flags`: one mask, made when it is compiled, so that the
/// pins that did not move cost next to nothing.
macro_rules! has_moved {
    ($flags:expr, $pin:expr) => {
        $flags[const { word($pin) }] & const { (FELL | ROSE) << shift($pin) } != 0
    };
}

impl Ends {
    #[inline]
    fn push(&mut self, tick_us: u32, flags: Flagged, levels: u32) {
        macro_rules! machine {
            ($pin:expr, $input:path) => {
                if has_moved!(flags, $pin) {
                    edges_of($pin, flags, levels)
                        .each(|level| self.edges.push(tick_us, $input(level)));
                }
            };
        }
        macro_rules! button {
            ($button:expr) => {
                if has_moved!(flags, $button.0) {
                    edges_of($button.0, flags, levels)
                        .each(|level| self.presses.push(tick_us, ($button.1, level)));
                }
            };
        }
        machine!(POWER_FAIL, Input::PowerFail);
        machine!(SHAFT, Input::Shaft);
        machine!(TRIM, Input::Trim);
        machine!(THREAD_BREAK, Input::ThreadBreak);
        machine!(JUMP, Input::Jump);
        if (flags[0] & NEEDLE_FLAGS[0]) | (flags[1] & NEEDLE_FLAGS[1]) != 0 {
            self.edges.push(tick_us, Input::NeedleCode(needle_code(levels)));
        }
        button!(BUTTONS[0]);
        button!(BUTTONS[1]);
        button!(BUTTONS[2]);
    }
}

/// The edges of a pin that has moved.
fn edges_of(pin: Pin, flags: Flagged, levels: u32) -> Edges {
    let flags = flags[word(pin)] >> shift(pin);
    let flags = Flags { rose: flags & ROSE != 0, fell: flags & FELL != 0 };
    edges(flags, levels & pin.mask() != 0, pin.is_active_low())
}

/// The four lines as they read together.
#[inline]
fn needle_code(levels: u32) -> u8 {
    let mut code = 0;
    for (bit, pin) in NEEDLE_CODE.into_iter().enumerate() {
        code |= u8::from(pin.is_active(levels)) << bit;
    }
    code
}

/// Where a pin's flags are: which word, and how far up.
const fn word(pin: Pin) -> usize {
    assert!(pin.number() < 16, "the capture looks at the first two registers of flags");
    pin.number() / 8
}

const fn shift(pin: Pin) -> u32 {
    4 * (pin.number() % 8) as u32
}
