//! A simulated chip for the boards' main loop: the simulated bus, events of a scenario as
//! interrupts, lamp, buzzer and service port.
//!
//! Invariants: time goes on by bus transactions, sleep, and [`Chip::look_us`] for each look
//! at the timer; an edge reaches the capture queue at its moment, also in the middle of a
//! transaction, as an interrupt would.

use std::collections::VecDeque;
use std::mem::discriminant;

// The lock of the capture queues, on a host.
use critical_section as _;

use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::time::Instant;
use shaftbook_drivers::capture::{Capture, EdgeConsumer, EdgeProducer};
use shaftbook_drivers::memory::WiredPart;
use shaftbook_mainloop::hardware::Hardware;
use shaftbook_mainloop::main_loop::{ButtonEdge, MainLoop};
use shaftbook_mainloop::stop::Stop;
use shaftbook_panel::button::Button;
use shaftbook_world::bus::Bus;
use shaftbook_world::sewing::{Event, Timed};

/// What comes in at a moment, µs since this power-up.
#[derive(Clone, Copy, Debug)]
pub enum Incoming {
    /// A change at the machine, as [`Timed`] says.
    Machine(Timed),
    /// A button moves.
    Button(u64, Button, Level),
}

impl Incoming {
    fn at_us(&self) -> u64 {
        match self {
            Self::Machine(timed) => timed.at_us,
            Self::Button(at_us, ..) => *at_us,
        }
    }
}

/// The chip.
pub struct Chip<'a> {
    /// The bus with the memory part and, if fitted, the display.
    pub bus: Bus,
    /// Bus time of this power-up, ns.
    origin_ns: u64,
    incoming: VecDeque<Incoming>,
    edges: EdgeProducer<'a>,
    presses: EdgeProducer<'a, ButtonEdge>,
    /// What came in last at each input of the machine.
    levels: Vec<Input>,
    /// What one look at the timer takes, µs.
    pub look_us: u64,
    /// Reading of the needle-position voltage, mV.
    pub level_mv: Option<u16>,
    /// Whether the lamp is lit.
    pub lamp: bool,
    /// Whether the buzzer sounds.
    pub buzzer: bool,
    /// What is typed at the port and not read yet.
    pub typed: VecDeque<u8>,
    /// What the port has said.
    pub said: String,
    /// Longest time between two feedings of the watchdog, µs.
    pub longest_unfed_us: u64,
    fed_us: u64,
}

impl Chip<'_> {
    /// Time since this power-up, µs.
    #[must_use]
    pub fn now_us(&self) -> u64 {
        (self.bus.now_ns() - self.origin_ns).div_ceil(1_000)
    }

    /// Everything has come in.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.incoming.is_empty()
    }

    /// Time goes on to `at_us` since power-up, the loop held up by something else; what comes
    /// in meanwhile is captured.
    pub fn advance_to(&mut self, at_us: u64) {
        self.bus.advance_to(self.origin_ns + at_us * 1_000);
        self.interrupt();
    }

    /// What has come in by now reaches the queues.
    fn interrupt(&mut self) {
        let now_us = self.now_us();
        while self.incoming.front().is_some_and(|next| next.at_us() <= now_us) {
            let Some(incoming) = self.incoming.pop_front() else { return };
            match incoming {
                Incoming::Machine(Timed { at_us, event: Event::Input(input) }) => {
                    self.levels.retain(|level| discriminant(level) != discriminant(&input));
                    self.levels.push(input);
                    self.edges.push(at_us as u32, input);
                }
                Incoming::Machine(_) => {}
                Incoming::Button(at_us, button, level) => {
                    self.presses.push(at_us as u32, (button, level));
                }
            }
        }
    }
}

impl Hardware for Chip<'_> {
    type Bus = Bus;

    fn bus(&mut self) -> &mut Bus {
        &mut self.bus
    }

    fn tick_us(&mut self) -> u32 {
        let now_us = self.now_us();
        self.advance_to(now_us + self.look_us);
        (now_us + self.look_us) as u32
    }

    fn tell_levels(&mut self, tell: impl FnMut(Input)) {
        self.levels.iter().copied().for_each(tell);
    }

    fn sleep(&mut self, until_tick_us: u32, has_edges: impl Fn() -> bool) {
        self.interrupt();
        let now_us = self.now_us();
        let ahead_us = until_tick_us.wrapping_sub(now_us as u32);
        if has_edges() || ahead_us > u32::MAX / 2 {
            return;
        }
        let mut until_us = now_us + u64::from(ahead_us);
        if let Some(next) = self.incoming.front() {
            until_us = until_us.min(next.at_us());
        }
        self.advance_to(until_us.max(now_us));
    }

    fn feed_watchdog(&mut self) {
        let now_us = self.now_us();
        self.longest_unfed_us = self.longest_unfed_us.max(now_us - self.fed_us);
        self.fed_us = now_us;
    }

    fn needle_level_mv(&mut self) -> Option<u16> {
        self.level_mv
    }

    fn lamp(&mut self, lit: bool) {
        self.lamp = lit;
    }

    fn buzzer(&mut self, on: bool) {
        self.buzzer = on;
    }

    fn port_read(&mut self) -> Option<u8> {
        self.typed.pop_front()
    }

    fn port_write(&mut self, bytes: &[u8]) -> usize {
        // A FIFO of 32 that is never full for long.
        let taken = bytes.len().min(32);
        self.said.push_str(&String::from_utf8_lossy(&bytes[..taken]));
        taken
    }
}

/// A board's main loop on the chip, from one power-up to the next cut.
pub struct Running<'a> {
    /// The chip.
    pub chip: Chip<'a>,
    /// The loop's state.
    pub unit: MainLoop,
    edges: EdgeConsumer<'a>,
    presses: EdgeConsumer<'a, ButtonEdge>,
}

/// The queues of a [`Running`].
pub type Queues = (Capture<256>, Capture<32, ButtonEdge>);

impl<'a> Running<'a> {
    /// Powers board `id` up on `bus`. `incoming`: what comes in, in order of time.
    pub fn power_up(
        queues: &'a mut Queues,
        bus: Bus,
        id: BoardId,
        incoming: impl IntoIterator<Item = Incoming>,
        last_stop: Option<Stop>,
    ) -> Self {
        let (edges_in, edges) = queues.0.split();
        let (presses_in, presses) = queues.1.split();
        let chip = Chip {
            origin_ns: bus.now_ns(),
            bus,
            incoming: incoming.into_iter().collect(),
            edges: edges_in,
            presses: presses_in,
            levels: Vec::new(),
            look_us: 1,
            level_mv: None,
            lamp: false,
            buzzer: false,
            typed: VecDeque::new(),
            said: String::new(),
            longest_unfed_us: 0,
            fed_us: 0,
        };
        let unit = MainLoop::new(id, WiredPart::REFERENCE, "1.2.3-test", last_stop);
        Self { chip, unit, edges, presses }
    }

    /// The board's time.
    #[must_use]
    pub fn now(&self) -> Instant {
        Instant::from_us(self.chip.now_us())
    }

    /// One turn.
    pub fn turn(&mut self) {
        self.unit.turn(&mut self.chip, &mut self.edges, &mut self.presses);
    }

    /// Turns until `at_us` since power-up.
    pub fn run_until(&mut self, at_us: u64) {
        while self.chip.now_us() < at_us {
            self.turn();
        }
    }

    /// Types a line at the port and runs for a while; what was said since.
    pub fn ask(&mut self, line: &str) -> String {
        self.chip.said.clear();
        self.chip.typed.extend(line.bytes().chain([b'\n']));
        let until_us = self.chip.now_us() + 2_000_000;
        self.run_until(until_us);
        self.chip.said.clone()
    }
}
