//! What a proof is run on: the core's rules, and what stands between the core and the
//! wires: the memory driver, the inputs' way to the core, the timer, the reset.
//!
//! Purpose: many mistakes are made outside the core. A board that is broken there replaces
//! one of the functions of [`UnderTest`]; the core knows nothing of it.
//!
//! Invariant: every default is what a sound board does ([`sound`]).

// The queue of edges needs one; on a host it is a lock.
use critical_section as _;
use shaftbook_core::board::{Board, Polled};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Input;
use shaftbook_core::rules::{Rules, Sound};
use shaftbook_core::time::{Instant, TickClock};
use shaftbook_drivers::capture::EdgeConsumer;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_mainloop::rules::LoopRules;

use crate::bus::Bus;

/// A board that a proof can be run on. Every default is the sound one.
pub trait UnderTest: LoopRules + Clone + Send + Sync + 'static {
    /// One poll of the board on its memory driver.
    fn poll(board: &mut Board<Self>, now: Instant, bus: &mut Bus, part: WiredPart) -> Polled {
        sound::poll(board, now, bus, part)
    }

    /// Whether a poll at `now` would do nothing. Where [`UnderTest::poll`] does more than the
    /// board's own poll at `now` or before, this must say so.
    #[must_use]
    #[inline]
    fn is_idle(board: &Board<Self>, now: Instant) -> bool {
        board.is_idle(now)
    }

    /// One change of an input, stamped `at`, reaches the core.
    #[inline]
    fn input(board: &mut Board<Self>, at: Instant, input: Input) {
        sound::input(board, at, input);
    }

    /// The board after the supply was gone. `before` is what its RAM held.
    #[must_use]
    fn power_up(id: BoardId, before: &Board<Self>) -> Board<Self> {
        sound::power_up(id, before)
    }

    /// The board after its watchdog has reset it: the supply was there all the time.
    #[must_use]
    fn watchdog(id: BoardId, before: &Board<Self>) -> Board<Self> {
        sound::power_up(id, before)
    }

    /// The moment of reading `tick` of a timer of `bits` bits, 16 or 32.
    fn extend(clock: &mut ExtendedTimer, bits: u32, tick: u32) -> Instant {
        sound::extend(clock, bits, tick)
    }

    /// The main loop takes the count of edges that found the queue full, and tells the
    /// board. An interrupt may come at any instruction of it: `interrupt` does its work.
    fn take_missed(
        board: &mut Board<Self>,
        edges: &mut EdgeConsumer<'_>,
        interrupt: &mut dyn FnMut(),
    ) {
        sound::take_missed(board, edges, interrupt);
    }
}

impl UnderTest for Sound {}

/// A timer of either width, extended.
#[derive(Clone, Debug, Default)]
pub struct ExtendedTimer {
    /// Of 16 bits.
    pub narrow: TickClock<16>,
    /// Of 32 bits.
    pub wide: TickClock<32>,
    /// The newest moment, µs; only for a broken board's use.
    pub newest_us: u64,
}

/// What a sound board does.
pub mod sound {
    use shaftbook_core::settings::Settings;
    use shaftbook_drivers::memory::Memory;

    use super::{
        Board, BoardId, Bus, EdgeConsumer, ExtendedTimer, Input, Instant, Polled, Rules, WiredPart,
    };

    /// [`super::UnderTest::poll`].
    pub fn poll<R: Rules>(
        board: &mut Board<R>,
        now: Instant,
        bus: &mut Bus,
        part: WiredPart,
    ) -> Polled {
        board.poll(now, &mut Memory::new(bus, part))
    }

    /// [`super::UnderTest::input`].
    #[inline]
    pub fn input<R: Rules>(board: &mut Board<R>, at: Instant, input: Input) {
        board.input(at, input);
    }

    /// [`super::UnderTest::power_up`] and [`super::UnderTest::watchdog`]: all RAM is new.
    #[must_use]
    pub fn power_up<R: Rules>(id: BoardId, _before: &Board<R>) -> Board<R> {
        Board::new(id, Settings::default())
    }

    /// [`super::UnderTest::extend`].
    pub fn extend(clock: &mut ExtendedTimer, bits: u32, tick: u32) -> Instant {
        if bits == 16 { clock.narrow.extend(tick) } else { clock.wide.extend(tick) }
    }

    /// [`super::UnderTest::take_missed`]: no interrupt comes in between, as the count is
    /// taken with interrupts off.
    pub fn take_missed<R: Rules>(
        board: &mut Board<R>,
        edges: &mut EdgeConsumer<'_>,
        interrupt: &mut dyn FnMut(),
    ) {
        let missed = edges.take_missed();
        interrupt();
        board.missed_edges(missed);
    }
}
