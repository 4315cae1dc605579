//! The board image for QEMU's machine `mps2-an385`. It runs the same main loop as the real
//! board, over this machine's bus and UARTs. Its time is made by a script, so that hours of
//! sewing take seconds and every run gives the same counts.
//!
//! - [`machine`]: what the main loop asks of the hardware
//! - [`wire`]: the I²C bus
//! - [`time`], [`record`]: the scripted time and its records
//! - [`received`], [`uart`], [`interrupts`], [`register`]: the two UARTs
//! - [`stopped`]: panic and hard fault
//! - [`log`]: `defmt` over semihosting

#![no_std]
#![no_main]

mod interrupts;
mod log;
mod machine;
mod received;
mod record;
mod register;
mod stopped;
mod time;
mod uart;
mod wire;

use cortex_m::singleton;
use cortex_m_rt::entry;
use shaftbook_core::identity::BoardId;
use shaftbook_drivers::capture::Capture;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_mainloop::hardware::ButtonEdge;
use shaftbook_mainloop::main_loop::MainLoop;
use shaftbook_mainloop::stop::Stop;

use machine::Machine;
use received::Received;
use time::ScriptTime;
use wire::Wire;

/// Of every board of this kind: the machine has no number. A real board's is written into
/// its flash.
const ID: BoardId = BoardId(0x5EED);
const VERSION: &str = match option_env!("SHAFTBOOK_VERSION") {
    Some(version) => version,
    None => env!("CARGO_PKG_VERSION"),
};

#[entry]
fn main() -> ! {
    let last_stop = stopped::taken();
    log::boot(VERSION, last_stop);
    // Once each: `main` runs once.
    let (Some(edges), Some(presses), Some(port), Some(script)) = (
        singleton!(: Capture<256> = Capture::new()),
        singleton!(: Capture<32, ButtonEdge> = Capture::new()),
        Received::at_port(),
        Received::at_script(),
    ) else {
        cortex_m::peripheral::SCB::sys_reset()
    };
    let (edges_in, edges) = edges.split();
    let (presses_in, presses) = presses.split();
    let time = ScriptTime::new(script, edges_in, presses_in);
    let mut machine = Machine::new(Wire::new(time), edges, presses, port);
    interrupts::let_in();
    let Some(main_loop) = main_loop(last_stop) else { cortex_m::peripheral::SCB::sys_reset() };
    loop {
        if let Some(effect) = main_loop.turn(&mut machine).effect {
            log::happened(&effect);
        }
    }
}

/// The loop's state, in a place of its own: built in a frame that is gone when the loop
/// runs, so that its copies are no part of the loop's stack. `None` the second time.
#[inline(never)]
fn main_loop(last_stop: Option<Stop>) -> Option<&'static mut MainLoop> {
    singleton!(: MainLoop = MainLoop::new(ID, WiredPart::REFERENCE, VERSION, last_stop))
}
