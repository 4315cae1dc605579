//! What a board must provide to the main loop: the trait [`Hardware`].

use embedded_hal::i2c::I2c;
use shaftbook_core::input::{Input, Level};
use shaftbook_panel::button::Button;

/// An edge of a button: which, and the level it now has.
pub type ButtonEdge = (Button, Level);

/// Longest sleep, µs: the main loop turns at least this often, so that a watchdog of
/// twice that (or more) never bites a healthy board.
pub const SLEEP_MAX_US: u32 = 250_000;

/// The hardware below the main loop.
///
/// No method may wait for the world, but for the bus (bounded by the bus driver itself)
/// and [`Hardware::sleep`].
pub trait Hardware {
    /// The I²C bus with memory part, display and clock.
    ///
    /// A transaction must end within a few ms whatever the wires do: a line that is held
    /// low is an error, after which the driver clocks the bus free by itself.
    type Bus: I2c;

    /// The bus.
    fn bus(&mut self) -> &mut Self::Bus;

    /// The free-running µs timer by which edges are stamped: 32 bits, wrapping, 0 at reset.
    fn tick_us(&mut self) -> u32;

    /// The oldest edge of the machine's inputs that was captured and not taken yet: the
    /// timer's reading at that moment, and what changed. Edges come in their order.
    fn take_edge(&mut self) -> Option<(u32, Input)>;

    /// How many edges of the machine's inputs found the queue full since the last call.
    fn take_missed(&mut self) -> u32;

    /// The oldest edge of a button that was captured and not taken yet, as
    /// [`Hardware::take_edge`] gives those of the machine.
    fn take_press(&mut self) -> Option<(u32, ButtonEdge)>;

    /// Tells the level at which each digital input of the machine stands now, power-fail
    /// warning first, each once. Asked after edges were lost: a level that was told by the
    /// lost one would else be wrong until the input's next edge.
    fn tell_levels(&mut self, tell: impl FnMut(Input));

    /// Sleeps until the timer reads `until_tick_us`, or an interrupt comes; may return
    /// early for any reason.
    ///
    /// Whether an edge waits must be asked with interrupts masked, right before the
    /// processor goes to sleep: one that waits already must not be slept over. A tick that
    /// has already passed must not be waited for until the timer wraps.
    fn sleep(&mut self, until_tick_us: u32);

    /// Tells the watchdog that the loop turns.
    fn feed_watchdog(&mut self);

    /// A reading of the needle-position voltage, mV at the machine's tap; `None` on a
    /// board without that input. Some µs.
    fn needle_level_mv(&mut self) -> Option<u16>;

    /// Lights or darkens the status lamp.
    fn lamp(&mut self, lit: bool);

    /// Turns the buzzer on or off.
    fn buzzer(&mut self, on: bool);

    /// The firmware's own bytes as they stand in the flash; none where they cannot be read.
    /// The same in each call.
    fn image(&self) -> &[u8] {
        &[]
    }

    /// The next byte that came in at the service port; `None` when there is none.
    fn port_read(&mut self) -> Option<u8>;

    /// Sends as many of `bytes` as there is room for without waiting; how many that was.
    fn port_write(&mut self, bytes: &[u8]) -> usize;
}
