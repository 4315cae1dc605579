//! The counting part of the main loop, and the interrupt's part. They are not weighed but
//! linked, to show that no panic can be reached from them.
//!
//! The compiler knows nothing of the hardware below, so what a real board's hardware adds is
//! not seen here: `.ci/images` searches each board's image for that.
//!
//! Feature `index-in-counting` puts a panic in, between queue and board. The program must then
//! not link; with `panics-spin` it does link, and the call graph must show the panic
//! (`.ci/sizes --self-test`).

#![no_std]
#![no_main]

use core::hint::black_box;
use shaftbook_core::board::Polled;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_drivers::capture::{Capture, EdgeConsumer, EdgeProducer};
use shaftbook_drivers::memory::WiredPart;
use shaftbook_mainloop::hardware::{ButtonEdge, Hardware};
use shaftbook_mainloop::main_loop::MainLoop;
use shaftbook_mainloop::pin::{Flags, edges};
use size_probe::Unknown;

#[cfg(not(feature = "panics-spin"))]
size_probe::panic_does_not_link!();
#[cfg(feature = "panics-spin")]
size_probe::panic_spins!();

/// Hardware whose every answer is unknown to the compiler.
struct Board<'a> {
    bus: Unknown,
    edges: EdgeConsumer<'a>,
    presses: EdgeConsumer<'a, ButtonEdge>,
}

impl Hardware for Board<'_> {
    type Bus = Unknown;

    fn bus(&mut self) -> &mut Unknown {
        &mut self.bus
    }

    fn tick_us(&mut self) -> u32 {
        // The sabotage: a place in a table that the compiler cannot know to be there.
        #[cfg(feature = "index-in-counting")]
        black_box([1_u8, 2, 3][black_box(4_usize)]);
        black_box(0)
    }

    fn take_edge(&mut self) -> Option<(u32, Input)> {
        self.edges.pop()
    }

    fn take_missed(&mut self) -> u32 {
        self.edges.take_missed()
    }

    fn take_press(&mut self) -> Option<(u32, ButtonEdge)> {
        self.presses.pop()
    }

    fn tell_levels(&mut self, mut tell: impl FnMut(Input)) {
        tell(black_box(Input::PowerFail(Level::Active)));
    }

    fn sleep(&mut self, _: u32) {}

    fn feed_watchdog(&mut self) {}

    fn needle_level_mv(&mut self) -> Option<u16> {
        black_box(None)
    }

    fn lamp(&mut self, _: bool) {}

    fn buzzer(&mut self, _: bool) {}

    fn port_read(&mut self) -> Option<u8> {
        black_box(None)
    }

    fn port_write(&mut self, _: &[u8]) -> usize {
        black_box(0)
    }
}

#[inline(never)]
fn probe_interrupt(producer: &mut EdgeProducer<'_>) {
    let flags = Flags { rose: black_box(true), fell: black_box(true) };
    edges(flags, black_box(true), black_box(true))
        .each(|level| producer.push(black_box(0), Input::Shaft(level)));
}

#[inline(never)]
fn probe_count(main_loop: &mut MainLoop, hardware: &mut Board<'_>) -> Polled {
    main_loop.count(hardware)
}

/// The entry point.
#[unsafe(no_mangle)]
pub extern "C" fn _start() -> ! {
    let mut edges = Capture::<64>::new();
    let mut presses = Capture::<16, ButtonEdge>::new();
    let (mut producer, edges) = edges.split();
    let (_, presses) = presses.split();
    let mut hardware = Board { bus: Unknown, edges, presses };
    let id = BoardId(black_box(1));
    let mut main_loop: MainLoop =
        black_box(MainLoop::new(id, black_box(WiredPart::REFERENCE), "0", black_box(None)));
    loop {
        probe_interrupt(&mut producer);
        black_box(probe_count(&mut main_loop, &mut hardware));
    }
}
