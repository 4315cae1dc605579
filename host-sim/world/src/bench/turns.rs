//! The bench's main loop with a display on the bus. Its turns follow the rule that boards
//! follow (`shaftbook_core::turn`).
//!
//! Inputs are fed between turns, as all callers of the bench do. Only the power-fail warning
//! can also come in the middle of a turn.

use shaftbook_core::board::Polled;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::time::Instant;
use shaftbook_core::turn::Next;

use super::device::Device;
use super::{Bench, Meant};

impl<D: Device> Bench<D> {
    /// Puts a display on the bus. From now on it is redrawn without pause, whenever time
    /// passes with [`Bench::pass_to`] or [`Bench::turn`]: a board that boots, or rests, is
    /// alone.
    pub fn fit_screen(&mut self, seed: u64) {
        self.bus = self.bus.clone().with_display(seed);
        self.device.fit_screen(seed);
    }

    /// Whether there is a display.
    #[must_use]
    pub fn has_screen(&self) -> bool {
        self.device.has_screen()
    }

    /// What a board's main loop does after a poll that answered `polled`.
    #[must_use]
    pub fn next(&self, polled: Polled) -> Next {
        self.device.next(self.now(), polled)
    }

    /// One step of the screen. Time passes.
    pub fn step(&mut self) {
        self.bus.advance_to(self.origin_ns + self.now_us * 1_000);
        let processor_us = self.device.step(&mut self.bus);
        let bus_us = (self.bus.now_ns() - self.origin_ns).div_ceil(1_000);
        self.now_us = self.now_us.max(bus_us) + processor_us;
    }

    /// One turn of the main loop: a poll, then a step of the screen or the sleep until
    /// the deadline, at most to `until_us`. Gives what the poll gave.
    pub fn turn(&mut self, until_us: u64, watch: &mut impl FnMut(&Self)) -> Polled {
        let polled = self.poll_once(watch);
        match self.next(polled) {
            Next::Poll => {}
            Next::Step => self.step(),
            Next::Sleep(deadline) => {
                self.now_us = self.now_us.max(deadline.as_us().min(until_us));
            }
        }
        polled
    }

    /// Leaves out whole rounds of the screen that would end well before `until_us`. The
    /// polls between them do nothing, so the board cannot tell; a test says so.
    pub(super) fn skip_rounds(&mut self, until_us: u64) {
        if let Some(round_us) = self.device.round_us() {
            let left_us = until_us.saturating_sub(self.now_us + 4 * round_us);
            self.now_us += left_us / round_us * round_us;
        }
    }

    /// The power-fail warning somewhere in the next turn of the main loop, `share` of 2^32
    /// on: in the middle of a transaction of the poll, or of the step of the screen after
    /// it. It is stamped then and handed over when the turn is done. When it came, µs.
    pub fn warn_in_turn(&mut self, share: u32) -> u64 {
        let begun_us = self.now_us;
        let polled = self.poll_once(&mut |_| {});
        if self.next(polled) == Next::Step {
            self.step();
        }
        let at_us = begun_us + (((self.now_us - begun_us) * u64::from(share)) >> 32);
        self.feed(Instant::from_us(at_us), Input::PowerFail(Level::Active), Meant::Nothing);
        at_us
    }
}
