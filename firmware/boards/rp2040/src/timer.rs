//! The µs timer: stamps, deadlines, sleep.
//!
//! Invariant: a sleep ends at its deadline, whatever happens between setting the alarm and
//! falling asleep. Only [`sleep`] and [`pause_us`] wait.

use rp2040_hal::pac;
use rp2040_hal::pac::interrupt;

/// The alarm that ends a sleep.
const ALARM_0: u32 = 1 << 0;

/// The free-running µs timer, low word.
#[inline]
pub fn tick_us() -> u32 {
    registers().timerawl().read().bits()
}

/// Whether the timer has reached `tick_us`, which is less than 35 minutes away.
#[inline]
pub fn has_reached(until_tick_us: u32) -> bool {
    (tick_us().wrapping_sub(until_tick_us)).cast_signed() >= 0
}

/// A moment until which something may take its time.
#[derive(Clone, Copy)]
pub struct Deadline(u32);

impl Deadline {
    /// `wait_us` from now.
    pub fn after_us(wait_us: u32) -> Self {
        Self(tick_us().wrapping_add(wait_us))
    }

    /// Whether it is over.
    pub fn is_over(self) -> bool {
        has_reached(self.0)
    }
}

/// Busy for `wait_us`. For the few µs of the bus's clock only.
pub fn pause_us(wait_us: u32) {
    // One more: the present µs is partly over.
    let deadline = Deadline::after_us(wait_us + 1);
    while !deadline.is_over() {}
}

/// Lets the alarm interrupt. The timer itself runs since its reset.
pub fn start() {
    registers().inte().write(|w| w.alarm_0().set_bit());
    // SAFETY: the handler below shares nothing with the main program.
    unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::TIMER_IRQ_0) };
}

/// Sleeps until the timer reads `until_tick_us`, or an interrupt comes. `is_awake` is
/// asked with interrupts masked: if it says `true` there is no sleep.
pub fn sleep(until_tick_us: u32, is_awake: impl Fn() -> bool) {
    critical_section::with(|_| {
        if is_awake() {
            return;
        }
        // SAFETY: any value is allowed. Writing it arms the alarm.
        registers().alarm0().write(|w| unsafe { w.bits(until_tick_us) });
        // The alarm compares for equality: set too late it would fire in 71 minutes.
        if has_reached(until_tick_us) {
            // SAFETY: write-one-to-clear: disarms alarm 0.
            registers().armed().write(|w| unsafe { w.bits(ALARM_0) });
            return;
        }
        // An interrupt that is pending ends it, masked or not; it is served right after
        // this critical section.
        cortex_m::asm::dsb();
        cortex_m::asm::wfi();
    });
}

/// The end of a sleep.
#[interrupt]
fn TIMER_IRQ_0() {
    // SAFETY: write-one-to-clear.
    registers().intr().write(|w| unsafe { w.bits(ALARM_0) });
}

#[inline]
fn registers() -> &'static pac::timer::RegisterBlock {
    // SAFETY: the registers are always there. Alarm and enables are written by the main
    // program only, the flag by the handler only; the rest is read.
    unsafe { &*pac::TIMER::ptr() }
}
