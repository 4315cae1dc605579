//! The watchdog, and how the last run of the firmware ended.
//!
//! A reset by the watchdog keeps these words (the chip's scratch registers):
//!
//! | words | hold |
//! |---|---|
//! | 0 to 3 | a [`Stop`], or nothing |
//! | 4 | [`RUNNING`] while this firmware's watchdog runs |
//! | 5 to 7 | the boot ROM's; not touched here |
//!
//! Word 4 tells apart two resets: one by our watchdog, and one by which the boot ROM starts a
//! freshly copied image. The boot ROM uses the watchdog as well, but clears word 4 first (from
//! memory).
//!
//! The watchdog stands still while a debugger halts the chip. That is its state after reset,
//! and the chip library keeps it.

use rp2040_hal::Watchdog;
use rp2040_hal::fugit::ExtU32;
use rp2040_hal::pac;
use rp2040_hal::watchdog::ScratchRegister::{Scratch0, Scratch1, Scratch2, Scratch3, Scratch4};
use shaftbook_mainloop::hardware::SLEEP_MAX_US;
use shaftbook_mainloop::stop::Stop;

/// The loop must turn once in this time, µs.
const PERIOD_US: u32 = 1_000_000;
const _: () = assert!(PERIOD_US >= 2 * SLEEP_MAX_US, "a healthy board would be bitten");
const _: () = assert!(PERIOD_US <= 8_000_000, "the counter has 24 bits of half µs");
/// Not the word by which the boot ROM is told to start elsewhere.
const RUNNING: u32 = 0x5B0C_0A11;

/// How the firmware ended before this start.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum LastEnd {
    /// By the supply, or a freshly copied image.
    Ordinary,
    /// It stopped itself.
    Stopped(Stop),
    /// The watchdog bit.
    Bitten,
}

/// How the firmware ended before this start. Clears the record.
pub fn last_end(watchdog: &mut Watchdog) -> LastEnd {
    let words = [Scratch0, Scratch1, Scratch2, Scratch3].map(|word| watchdog.read_scratch(word));
    let was_running = watchdog.read_scratch(Scratch4) == RUNNING;
    for word in [Scratch0, Scratch1, Scratch2, Scratch3, Scratch4] {
        watchdog.write_scratch(word, 0);
    }
    let reason = registers().reason().read();
    let was_reset = reason.timer().bit_is_set() || reason.force().bit_is_set();
    match Stop::from_words(words) {
        Some(stop) => LastEnd::Stopped(stop),
        None if was_running && was_reset => LastEnd::Bitten,
        None => LastEnd::Ordinary,
    }
}

/// Starts the watchdog; the clocks must run.
pub fn start(watchdog: &mut Watchdog) {
    watchdog.write_scratch(Scratch4, RUNNING);
    watchdog.start(PERIOD_US.micros());
}

/// Records `stop` and resets the chip at once. For the end of the firmware: takes no lock
/// and needs no peripheral set up.
pub fn stop(stop: Stop) -> ! {
    let watchdog = registers();
    let [mark, kind, place, sum] = stop.to_words();
    // SAFETY: scratch registers take any value. Interrupts may still come; none writes
    // here.
    unsafe {
        watchdog.scratch0().write(|w| w.bits(mark));
        watchdog.scratch1().write(|w| w.bits(kind));
        watchdog.scratch2().write(|w| w.bits(place));
        watchdog.scratch3().write(|w| w.bits(sum));
        // All but the two oscillators is reset, as the chip library has it; set again
        // because this may come before the watchdog's start.
        (*pac::PSM::ptr()).wdsel().write(|w| w.bits(0x0001_FFFC));
    }
    loop {
        watchdog.ctrl().modify(|_, w| w.trigger().set_bit());
    }
}

fn registers() -> &'static pac::watchdog::RegisterBlock {
    // SAFETY: the registers are always there; the reason is only read, the rest written
    // by the main program, or by whoever ends it.
    unsafe { &*pac::WATCHDOG::ptr() }
}
