//! Bring your own store: what a campaign asks of any store of counters on a memory part.
//!
//! Purpose: a store that somebody considers for a counter goes through the same sewing, the
//! same faults and the same judge as ours. `docs/CAMPAIGN.md` has an example that plugs in
//! another crate.
//!
//! Contract, which the campaign checks and does not take on trust:
//! - what [`CounterStore::power_up`] finds is at least what the last [`CounterStore::store`]
//!   that returned `Ok` was given, and at most what was handed to any call since;
//! - everything between a cut and the next power-up is lost except the part's bytes: the value
//!   is dropped, and a new one is made by `power_up`;
//! - after a cut every call on the bus fails: an implementation returns, and never waits for a
//!   part that does not come back.

use std::fmt;

use shaftbook_core::counters::Counters;
use shaftbook_core::medium::{Medium, MediumError};
use shaftbook_drivers::memory::{Eeprom, WiredPart};

use shaftbook_world::bus::Bus;

/// Longest a program cycle is waited for, µs: four times the 5 ms that 24-series
/// datasheets allow.
const PROGRAM_LIMIT_US: u64 = 20_000;
/// Pause between two acknowledge polls, µs.
const POLL_PAUSE_US: u64 = 500;

/// A store of counters on a memory part.
pub trait CounterStore: Sized {
    /// Its name and version, as reports show it.
    const NAME: &'static str;

    /// Finds on the part what was stored last: `None` on a part that was never stored to.
    ///
    /// # Errors
    /// [`StoreError`] when the part does not answer, or what it holds cannot be used.
    fn power_up(part: &mut Pages<'_>) -> Result<(Self, Option<Counters>), StoreError>;

    /// Stores `counters`, none of which is ever below what was stored before. They are
    /// durable when it returns `Ok`.
    ///
    /// # Errors
    /// [`StoreError`]; whether they are durable is then not known.
    fn store(&mut self, part: &mut Pages<'_>, counters: &Counters) -> Result<(), StoreError>;
}

/// Why a store did not do as asked, in its own words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoreError(pub String);

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for StoreError {}

impl From<MediumError> for StoreError {
    fn from(error: MediumError) -> Self {
        Self(format!("the part: {error:?}"))
    }
}

/// The memory part as a blocking store sees it: reads of any length, programs that are
/// split at page borders and waited for. Over the board's own driver and the simulated
/// bus, so that the bytes, the time and the cuts are those of the proofs.
#[derive(Debug)]
pub struct Pages<'a> {
    bus: &'a mut Bus,
}

impl<'a> Pages<'a> {
    /// The part on `bus`: the reference part at 0x50.
    #[must_use]
    pub fn new(bus: &'a mut Bus) -> Self {
        Self { bus }
    }

    /// The bus, to look at its tally, or to let time pass.
    pub fn bus(&mut self) -> &mut Bus {
        self.bus
    }

    /// Size of the part, bytes.
    #[must_use]
    pub fn size_bytes(&self) -> usize {
        self.bus.part().geometry().size_bytes as usize
    }

    /// Length of a page, bytes.
    #[must_use]
    pub fn page_bytes(&self) -> usize {
        usize::from(self.bus.part().geometry().page_bytes)
    }

    /// Reads `bytes.len()` bytes from `address`.
    ///
    /// # Errors
    /// [`MediumError`].
    pub fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        Eeprom::new(&mut *self.bus, WiredPart::REFERENCE).read(address, bytes)
    }

    /// Programs `bytes` at `address`, page by page, and waits for the end of each cycle.
    ///
    /// # Errors
    /// [`MediumError`]; what was programmed by then is not known.
    pub fn program(&mut self, address: u32, bytes: &[u8]) -> Result<(), MediumError> {
        let mut done = 0;
        while let Some(rest) = bytes.get(done..).filter(|rest| !rest.is_empty()) {
            let mut part = Eeprom::new(&mut *self.bus, WiredPart::REFERENCE);
            done += part.begin_program(address + done as u32, rest)?;
            self.wait()?;
        }
        Ok(())
    }

    fn wait(&mut self) -> Result<(), MediumError> {
        let since_ns = self.bus.now_ns();
        while !Eeprom::new(&mut *self.bus, WiredPart::REFERENCE).is_ready()? {
            let now_ns = self.bus.now_ns();
            if self.bus.is_cut() || now_ns - since_ns > PROGRAM_LIMIT_US * 1_000 {
                return Err(MediumError::NoAnswer);
            }
            self.bus.advance_to(now_ns + POLL_PAUSE_US * 1_000);
        }
        Ok(())
    }
}
