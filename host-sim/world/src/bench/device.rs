//! A board as the bench sees it.
//!
//! Purpose: the same bench, workload and judge drive two kinds of board: the bare core
//! ([`Core`]), which is fast, and the whole firmware that ships, with its loop, panel and
//! display ([`Firmware`](super::firmware::Firmware)).
//!
//! Contract: over [`Device::powered_again`] a device keeps nothing that a board would lose.
//! Time comes in as an argument, and passes only by the bus and by [`Device::step`].

pub mod core;

use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::{Board, Command, Polled};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Input;
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_core::turn::Next;
use shaftbook_drivers::memory::WiredPart;

use self::core::Core;
use super::Bench;
use super::under_test::UnderTest;
use crate::bus::Bus;

/// A board on the bench.
pub trait Device: Clone + Send + Sync {
    /// The rules that it keeps.
    type Rules: UnderTest;

    /// Its name in tables.
    const NAME: &'static str;
    /// Polls after which a board that has not come to rest counts as hanging.
    const POLLS_MAX: u32;
    /// It has a panel of its own, with a display on the bus.
    const HAS_PANEL: bool;

    /// A board at its first reset. `fallback` is what it counts with while its part gives
    /// no settings, where that can be chosen.
    fn new(id: BoardId, wired: WiredPart, fallback: Settings) -> Self;

    /// The part of a board that the bare core has fitted goes into one of this kind.
    fn take_over(core: Bench<Core<Self::Rules>>) -> Bench<Self>;

    /// The board after the supply was gone.
    #[must_use]
    fn powered_again(&self) -> Self;

    /// The board after its watchdog has reset it: the supply was there all the time.
    #[must_use]
    fn watchdog(&self) -> Self;

    /// The core's state.
    fn board(&self) -> &Board<Self::Rules>;

    /// An edge of an input, stamped `at`.
    fn edge(&mut self, at: Instant, input: Input);

    /// The next piece of work at `now_us`, which is moved on to when it was done;
    /// `origin_ns` is the bus's time at reset.
    fn turn(&mut self, now_us: &mut u64, bus: &mut Bus, origin_ns: u64) -> Polled;

    /// Up to when turns from `now` on would do nothing and take no time, if nothing comes in;
    /// `None` if that is not known before a turn.
    #[inline]
    fn rests_until(&self, now: Instant) -> Option<Instant> {
        let _ = now;
        None
    }

    /// What the main loop does after a turn that gave `polled`.
    fn next(&self, now: Instant, polled: Polled) -> Next;

    /// One step of the panel, if it is the bench that calls for it: bus time passes, and
    /// the processor's time beside it is given, µs.
    fn step(&mut self, bus: &mut Bus) -> u64;

    /// A display is on the bus from now on.
    fn fit_screen(&mut self, seed: u64);

    /// How long it will have nothing to do with counting and storing, after a turn at `now`
    /// that gave `polled`, µs.
    fn idle_us(&self, now: Instant, polled: Polled) -> u64;

    /// Whether a display is redrawn.
    fn has_screen(&self) -> bool;

    /// How long one round of the panel takes, µs, if rounds in which nothing else happens
    /// may be left out.
    fn round_us(&self) -> Option<u64>;

    /// The nearest to `command` that a person can ask of it at once.
    #[must_use]
    fn narrowed(command: Command) -> Command {
        command
    }

    /// A person asks for `command`, which is as [`Device::narrowed`] gave it; time may
    /// pass. What it will change is noted by `Bench::expect`.
    ///
    /// # Errors
    /// What the board refused it with.
    fn request(bench: &mut Bench<Self>, command: Command) -> Result<(), Refusal>;

    /// A person asks for a challenge; time may pass.
    ///
    /// # Errors
    /// What the board refused it with.
    fn challenge(bench: &mut Bench<Self>, allows: Authorised) -> Result<EightDigits, Refusal>;

    /// What the device did that no board may do, whatever it counts.
    ///
    /// # Errors
    /// That, in a sentence.
    fn conduct(&self) -> Result<(), String> {
        Ok(())
    }
}
