//! The board as the main loop sees it: its parts as [`Hardware`].

use rp2040_hal::Watchdog;
use shaftbook_core::input::Input;
use shaftbook_drivers::capture::EdgeConsumer;
use shaftbook_mainloop::hardware::{ButtonEdge, Hardware};

use crate::bus::Bus;
use crate::capture;
use crate::flashed;
use crate::gpio::Pin;
use crate::level::Level;
use crate::pins::Direction::Out;
use crate::port::ServicePort;
use crate::timer;

const LAMP: Pin = Pin::named("status led", Out);
const BUZZER: Pin = Pin::named("buzzer", Out);

/// The parts of the board.
pub struct Parts {
    /// Memory part, display and clock.
    pub bus: Bus,
    /// Captured edges of the machine's inputs.
    pub edges: EdgeConsumer<'static>,
    /// Captured edges of the buttons.
    pub presses: EdgeConsumer<'static, ButtonEdge>,
    /// Needle-position voltage.
    pub level: Level,
    /// Service port.
    pub port: ServicePort,
    /// Running.
    pub watchdog: Watchdog,
}

/// Makes lamp and buzzer outputs, dark and quiet.
pub fn start_outputs() {
    LAMP.drive();
    BUZZER.drive();
}

impl Hardware for Parts {
    type Bus = Bus;

    fn bus(&mut self) -> &mut Bus {
        &mut self.bus
    }

    #[inline]
    fn tick_us(&mut self) -> u32 {
        timer::tick_us()
    }

    #[inline]
    fn take_edge(&mut self) -> Option<(u32, Input)> {
        self.edges.pop()
    }

    #[inline]
    fn take_missed(&mut self) -> u32 {
        self.edges.take_missed()
    }

    #[inline]
    fn take_press(&mut self) -> Option<(u32, ButtonEdge)> {
        self.presses.pop()
    }

    fn tell_levels(&mut self, tell: impl FnMut(Input)) {
        capture::tell_levels(tell);
    }

    fn sleep(&mut self, until_tick_us: u32) {
        timer::sleep(until_tick_us, || {
            !self.edges.is_empty() || !self.presses.is_empty() || self.port.has_byte()
        });
    }

    #[inline]
    fn feed_watchdog(&mut self) {
        self.watchdog.feed();
    }

    fn needle_level_mv(&mut self) -> Option<u16> {
        self.level.read_mv()
    }

    fn lamp(&mut self, lit: bool) {
        LAMP.assert(lit);
    }

    fn buzzer(&mut self, on: bool) {
        BUZZER.assert(on);
    }

    fn image(&self) -> &[u8] {
        flashed::image()
    }

    fn port_read(&mut self) -> Option<u8> {
        self.port.read()
    }

    fn port_write(&mut self, bytes: &[u8]) -> usize {
        self.port.write(bytes)
    }
}
