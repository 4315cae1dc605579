//! This machine as the main loop sees it: its parts as [`Hardware`].

use shaftbook_core::input::Input;
use shaftbook_drivers::capture::EdgeConsumer;
use shaftbook_mainloop::hardware::{ButtonEdge, Hardware};

use crate::received::Received;
use crate::wire::Wire;

/// The machine's hardware.
pub struct Machine {
    wire: Wire,
    edges: EdgeConsumer<'static>,
    presses: EdgeConsumer<'static, ButtonEdge>,
    port: Received,
    /// The port had no room for all that was to be sent.
    port_is_full: bool,
}

impl Machine {
    /// The machine with its bus, the queues of its edges, and its service port.
    pub fn new(
        wire: Wire,
        edges: EdgeConsumer<'static>,
        presses: EdgeConsumer<'static, ButtonEdge>,
        port: Received,
    ) -> Self {
        Self { wire, edges, presses, port, port_is_full: false }
    }
}

impl Hardware for Machine {
    type Bus = Wire;

    fn bus(&mut self) -> &mut Wire {
        &mut self.wire
    }

    fn tick_us(&mut self) -> u32 {
        self.wire.time.pass(1_000);
        self.wire.time.now_us() as u32
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

    fn tell_levels(&mut self, tell: impl FnMut(Input)) {
        self.wire.time.tell_levels(tell);
    }

    fn sleep(&mut self, until_tick_us: u32) {
        let now_us = self.wire.time.now_us();
        let ahead_us = until_tick_us.wrapping_sub(now_us as u32);
        // Edges come from this script, not from an interrupt: none can come in between.
        let has_edges = !self.edges.is_empty() || !self.presses.is_empty();
        if has_edges || ahead_us > u32::MAX / 2 {
            return;
        }
        let (port, is_full) = (&self.port, self.port_is_full);
        // No interrupt tells that the port has room again: while time stands, look.
        let is_asked = || is_full || !port.is_empty();
        self.wire.time.sleep(now_us + u64::from(ahead_us), is_asked);
    }

    /// None: the machine's watchdog runs in real time, which stands while the script is
    /// waited for.
    fn feed_watchdog(&mut self) {}

    fn needle_level_mv(&mut self) -> Option<u16> {
        self.wire.time.level_mv()
    }

    /// None.
    fn lamp(&mut self, _: bool) {}

    /// None.
    fn buzzer(&mut self, _: bool) {}

    fn port_read(&mut self) -> Option<u8> {
        self.port.pop()
    }

    fn port_write(&mut self, bytes: &[u8]) -> usize {
        let uart = self.port.uart();
        let sent = bytes.iter().take_while(|byte| uart.write(**byte)).count();
        self.port_is_full = sent < bytes.len();
        sent
    }
}
