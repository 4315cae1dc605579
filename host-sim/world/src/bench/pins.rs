//! The pins and the port of the simulated chip: what is still to come in, what the interrupts
//! have queued, and what the outputs show.

use std::collections::VecDeque;

use heapless::Deque;
use shaftbook_core::input::Input;
use shaftbook_mainloop::hardware::ButtonEdge;

/// Edges that the capture queue of the machine's inputs holds, as on the boards.
const EDGES_MAX: usize = 255;
/// Edges that the capture queue of the buttons holds, as on the boards.
const PRESSES_MAX: usize = 31;

/// What comes in at a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Incoming {
    Machine(Input),
    Button(ButtonEdge),
}

/// What the chip's interrupts and outputs hold.
#[derive(Clone, Debug)]
pub struct Pins {
    /// What is yet to come in, by the time since reset, µs.
    pub(super) incoming: VecDeque<(u64, Incoming)>,
    pub(super) edges: Deque<(u32, Input), EDGES_MAX>,
    pub(super) presses: Deque<(u32, ButtonEdge), PRESSES_MAX>,
    pub(super) missed: u32,
    /// Edges that found the queue full since power-up.
    lost: u32,
    /// What came in last at each input of the machine.
    pub(super) levels: Vec<Input>,
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
    /// The firmware's own bytes, as they can be read.
    pub image: &'static [u8],
    /// When the watchdog was fed last, µs.
    pub(super) fed_us: u64,
    /// The longest time between two feedings, µs.
    pub longest_unfed_us: u64,
}

impl Pins {
    pub(super) fn new() -> Self {
        Self {
            incoming: VecDeque::new(),
            edges: Deque::new(),
            presses: Deque::new(),
            missed: 0,
            lost: 0,
            levels: Vec::new(),
            look_us: 1,
            level_mv: None,
            lamp: false,
            buzzer: false,
            typed: VecDeque::new(),
            said: String::new(),
            image: &[],
            fed_us: 0,
            longest_unfed_us: 0,
        }
    }

    /// Edges that found the queue full since power-up.
    #[must_use]
    pub const fn lost(&self) -> u32 {
        self.lost
    }

    /// What has come in by `now_us` reaches the queues, as by interrupts.
    #[inline]
    pub(super) fn interrupt(&mut self, now_us: u64) {
        while let Some((at_us, incoming)) =
            self.incoming.front().copied().filter(|(at_us, _)| *at_us <= now_us)
        {
            self.incoming.pop_front();
            match incoming {
                Incoming::Machine(input) => {
                    self.note_level(input);
                    if self.edges.push_back((at_us as u32, input)).is_err() {
                        self.missed = self.missed.saturating_add(1);
                        self.lost += 1;
                    }
                }
                Incoming::Button(edge) => {
                    let _ = self.presses.push_back((at_us as u32, edge));
                }
            }
        }
    }

    fn note_level(&mut self, input: Input) {
        let same = std::mem::discriminant(&input);
        match self.levels.iter_mut().find(|level| std::mem::discriminant(*level) == same) {
            Some(level) => *level = input,
            None => self.levels.push(input),
        }
    }
}
