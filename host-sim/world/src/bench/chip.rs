//! The simulated chip below the main loop, for one turn.
//!
//! Invariants: time goes on by bus transactions and by [`Pins::look_us`] for each look at the
//! timer; an edge that comes in meanwhile is captured at its own moment.

use shaftbook_core::input::Input;
use shaftbook_mainloop::hardware::{ButtonEdge, Hardware};

use super::pins::Pins;
use crate::bus::Bus;

/// Bytes that the port's FIFO takes at a time.
const PORT_FIFO: usize = 32;

/// The chip.
pub(super) struct Chip<'a> {
    bus: &'a mut Bus,
    pins: &'a mut Pins,
    origin_ns: u64,
    /// Time since reset, µs: goes on without the bus too.
    local_us: u64,
    wakes_us: Option<u64>,
}

impl<'a> Chip<'a> {
    /// The chip at `now_us` since its reset, which was at the bus's time `origin_ns`.
    pub(super) fn new(bus: &'a mut Bus, pins: &'a mut Pins, origin_ns: u64, now_us: u64) -> Self {
        Self { bus, pins, origin_ns, local_us: now_us, wakes_us: None }
    }

    /// When the loop that went to sleep wakes up, µs since reset; `None` if it did not
    /// sleep.
    pub(super) fn wakes_us(&self) -> Option<u64> {
        self.wakes_us
    }

    /// Time since reset, µs.
    pub(super) fn now_us(&self) -> u64 {
        self.local_us.max((self.bus.now_ns() - self.origin_ns).div_ceil(1_000))
    }
}

impl Hardware for Chip<'_> {
    type Bus = Bus;

    fn bus(&mut self) -> &mut Bus {
        self.bus
    }

    fn tick_us(&mut self) -> u32 {
        let now_us = self.now_us() + self.pins.look_us;
        self.local_us = now_us;
        self.bus.advance_to(self.origin_ns + now_us * 1_000);
        self.pins.interrupt(now_us);
        now_us as u32
    }

    fn take_edge(&mut self) -> Option<(u32, Input)> {
        self.pins.edges.pop_front()
    }

    fn take_missed(&mut self) -> u32 {
        std::mem::take(&mut self.pins.missed)
    }

    fn take_press(&mut self) -> Option<(u32, ButtonEdge)> {
        self.pins.presses.pop_front()
    }

    fn tell_levels(&mut self, tell: impl FnMut(Input)) {
        self.pins.levels.iter().copied().for_each(tell);
    }

    fn sleep(&mut self, until_tick_us: u32) {
        let now_us = self.now_us();
        self.pins.interrupt(now_us);
        let ahead_us = until_tick_us.wrapping_sub(now_us as u32);
        let has_edges = !self.pins.edges.is_empty() || !self.pins.presses.is_empty();
        if has_edges || !self.pins.typed.is_empty() || ahead_us > u32::MAX / 2 {
            return;
        }
        let mut until_us = now_us + u64::from(ahead_us);
        if let Some((at_us, _)) = self.pins.incoming.front() {
            until_us = until_us.min((*at_us).max(now_us));
        }
        self.wakes_us = Some(until_us);
    }

    fn feed_watchdog(&mut self) {
        let now_us = self.now_us();
        let pins = &mut *self.pins;
        pins.longest_unfed_us = pins.longest_unfed_us.max(now_us.saturating_sub(pins.fed_us));
        pins.fed_us = now_us;
    }

    fn needle_level_mv(&mut self) -> Option<u16> {
        self.pins.level_mv
    }

    fn lamp(&mut self, lit: bool) {
        self.pins.lamp = lit;
    }

    fn buzzer(&mut self, on: bool) {
        self.pins.buzzer = on;
    }

    fn image(&self) -> &[u8] {
        self.pins.image
    }

    fn port_read(&mut self) -> Option<u8> {
        self.pins.typed.pop_front()
    }

    fn port_write(&mut self, bytes: &[u8]) -> usize {
        let taken = bytes.len().min(PORT_FIFO);
        self.pins.said.push_str(&String::from_utf8_lossy(&bytes[..taken]));
        taken
    }
}
