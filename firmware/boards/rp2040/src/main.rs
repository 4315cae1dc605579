//! The image of the RP2040 board.
//!
//! It sets the chip up, then turns the shared main loop (`shaftbook_mainloop`) for ever.
//!
//! It consists of interrupts and one blocking loop, without an async executor. An interrupt
//! does what must be in time (the stamp of an edge). The loop does what must be in order (a
//! poll, then at most one other piece of work), and the length of its longest turn is found by
//! adding up. An executor would put state machines of its own between a power-fail warning and
//! the checkpoint, for concurrency that the board does not have.
//!
//! - [`pins`], [`gpio`]: the pin table, and pins by their names
//! - [`capture`]: edges, in the interrupt
//! - [`timer`]: stamps and sleep
//! - [`bus`], [`bus_clear`]: the two-wire bus
//! - [`level`]: the needle-position voltage
//! - [`port`]: the service port
//! - [`watchdog`], [`panic`]: how the firmware ended, and the record of it
//! - [`number`]: the board's number
//! - [`board`]: the parts as the main loop's hardware
//!
//! Only one core runs: core 1 stays asleep in the boot ROM.

#![no_std]
#![no_main]

mod board;
mod bus;
mod bus_clear;
mod capture;
mod flashed;
mod gpio;
mod level;
mod number;
mod panic;
mod pins;
mod port;
mod timer;
mod watchdog;

use core::mem::MaybeUninit;

use defmt_rtt as _;
use rp2040_hal::{Clock, Watchdog, clocks, pac};
use shaftbook_core::board::Effect;
use shaftbook_core::identity::BoardId;
use shaftbook_drivers::capture::Capture;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_mainloop::hardware::ButtonEdge;
use shaftbook_mainloop::main_loop::MainLoop;
use shaftbook_mainloop::stop::Stop;

use crate::board::Parts;
use crate::bus::Bus;
use crate::capture::Ends;
use crate::level::Level;
use crate::port::{Received, ServicePort};
use crate::watchdog::LastEnd;

/// Second stage of the boot: flash by four lines, for the chips of the usual modules
/// (W25Q series and those that understand its commands).
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_W25Q080;

/// The memory part of the board: a board with an FRAM says so here.
const MEMORY: WiredPart = WiredPart::REFERENCE;
/// Its version; a release's has the commit behind it (`.ci/release`).
const VERSION: &str = match option_env!("SHAFTBOOK_VERSION") {
    Some(version) => version,
    None => env!("CARGO_PKG_VERSION"),
};
/// The crystal of the usual modules.
const CRYSTAL_HZ: u32 = 12_000_000;

defmt::timestamp!("{=u32:us}", timer::tick_us());

#[rp2040_hal::entry]
fn main() -> ! {
    static mut EDGES: Capture<256> = Capture::new();
    static mut PRESSES: Capture<32, ButtonEdge> = Capture::new();
    static mut RECEIVED: Received = Received::new();
    static mut MAIN_LOOP: MaybeUninit<MainLoop> = MaybeUninit::uninit();

    // SAFETY: the only place that takes them, run once. Not `take`: its failure would be a
    // panic for a case that there is not.
    let (pac, mut core) = unsafe { (pac::Peripherals::steal(), pac::CorePeripherals::steal()) };
    let mut resets = pac.RESETS;
    let mut watchdog = Watchdog::new(pac.WATCHDOG);
    let last_end = watchdog::last_end(&mut watchdog);
    let clocks = clocks::init_clocks_and_plls(
        CRYSTAL_HZ,
        pac.XOSC,
        pac.CLOCKS,
        pac.PLL_SYS,
        pac.PLL_USB,
        &mut resets,
        &mut watchdog,
    );
    // A frequency that cannot be made is a programmer's error, seen at the first start.
    let Ok(clocks) = clocks else { panic!() };
    watchdog::start(&mut watchdog);
    // Resets the timer: time begins.
    let _ = rp2040_hal::Timer::new(pac.TIMER, &mut resets, &clocks);
    release_pins(&resets);

    board::start_outputs();
    timer::start();
    let (edges, edges_in) = EDGES.split();
    let (presses, presses_in) = PRESSES.split();
    capture::start(Ends { edges, presses }, &mut core.NVIC);
    let mut parts = Parts {
        edges: edges_in,
        presses: presses_in,
        bus: Bus::new(pac.I2C0, &resets, clocks.system_clock.freq().to_Hz()),
        level: Level::new(pac.ADC, &resets),
        port: ServicePort::new(
            pac.UART0,
            &resets,
            clocks.peripheral_clock.freq().to_Hz(),
            RECEIVED,
        ),
        watchdog,
    };

    let id = number::board_id();
    let main_loop = main_loop(MAIN_LOOP, id, last_end);
    say_hello(id, last_end);
    loop {
        if let Some(effect) = main_loop.turn(&mut parts).effect {
            log(&effect);
        }
    }
}

/// Builds the loop's state in `place`, in a frame that is gone when the loop runs, so that
/// its copies are no part of the loop's stack.
#[inline(never)]
fn main_loop(
    place: &'static mut MaybeUninit<MainLoop>,
    id: BoardId,
    last_end: LastEnd,
) -> &'static mut MainLoop {
    let main_loop = place.write(MainLoop::new(id, MEMORY, VERSION, stop_of(last_end)));
    if last_end == LastEnd::Bitten {
        main_loop.was_reset_by_watchdog();
    }
    main_loop
}

/// Lets pins and their pads out of reset.
fn release_pins(resets: &pac::RESETS) {
    resets.reset().modify(|_, w| w.io_bank0().clear_bit().pads_bank0().clear_bit());
    let deadline = timer::Deadline::after_us(100);
    while !deadline.is_over() {
        let done = resets.reset_done().read();
        if done.io_bank0().bit_is_set() && done.pads_bank0().bit_is_set() {
            break;
        }
    }
}

fn stop_of(last_end: LastEnd) -> Option<Stop> {
    match last_end {
        LastEnd::Stopped(stop) => Some(stop),
        LastEnd::Ordinary | LastEnd::Bitten => None,
    }
}

fn say_hello(id: BoardId, last_end: LastEnd) {
    defmt::info!("shaftbook {=str}, board {=u64:016X}", VERSION, id.0);
    if id == number::UNNUMBERED {
        defmt::warn!("this board has no number: make one with `shaftbook number`");
    }
    match last_end {
        LastEnd::Ordinary => {}
        LastEnd::Stopped(stop) => defmt::warn!("the firmware had stopped: {}", stop),
        LastEnd::Bitten => defmt::warn!("the watchdog had reset the board"),
    }
}

/// Faults are worth a warning; all else is too frequent for a release, which logs nothing
/// while the machine sews.
fn log(effect: &Effect) {
    if let Effect::FaultRaised(fault) = effect {
        defmt::warn!("fault: {}", fault);
    } else {
        defmt::debug!("{}", effect);
    }
}
