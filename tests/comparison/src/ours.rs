//! Our own store: that of `shaftbook-core`, with the rules that boards run (`Sound`).
//!
//! It is configured as on a board: the driver of `shaftbook-drivers`, and in each snapshot the
//! ledger of a fitted machine of 21 wearing parts (that of the proofs). Its format is not a
//! value of 128 bytes but the delta since the last snapshot, packed into one page; the counters
//! are the same.
//!
//! Some work is left after a checkpoint is durable, because a snapshot goes on between
//! checkpoints. That work is done at the beginning of the next call. On a board there would be
//! ten seconds for it; here a cut in it finds the checkpoint acknowledged, which is the harder
//! case. A board also writes one checkpoint right after power-up; the workload asks no store
//! for that, so it is not in the figures.

use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::rules::Sound;
use shaftbook_core::store::{Store, StoreEvent, Wanted};
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::{Eeprom, WiredPart};
use shaftbook_evidence::campaign::store::{CounterStore, Pages, StoreError};
use shaftbook_world::bench::{self, BOARD};

/// Polls after which the store counts as hanging: a recovery takes some hundred.
const POLLS_MAX: u32 = 40_000;

/// The store, on its driver.
#[derive(Debug)]
pub struct Ours {
    store: Store<Sound>,
    /// Bus time at power-up, ns.
    origin_ns: u64,
}

impl Ours {
    /// One poll, at the part's time; after it time has come to where the next one acts.
    fn poll(
        &mut self,
        part: &mut Pages<'_>,
        checkpoint: bool,
        counters: &Counters,
    ) -> Result<Option<StoreEvent>, StoreError> {
        let now = Instant::from_us((part.bus().now_ns() - self.origin_ns).div_ceil(1_000));
        let wanted = Wanted { checkpoint, urgent: false, entry: None };
        let mut medium = Eeprom::new(&mut *part.bus(), WiredPart::REFERENCE);
        let event = self.store.poll(now, &mut medium, wanted, |to| *to = *counters);
        if part.bus().is_cut() {
            return Err(StoreError("the supply is gone".to_owned()));
        }
        let wake_ns = self.origin_ns + self.store.not_before().as_us() * 1_000;
        if wake_ns > part.bus().now_ns() {
            part.bus().advance_to(wake_ns);
        }
        match event {
            // Any other is told, and the store goes on.
            Some(StoreEvent::Trouble(
                fault @ (Fault::MemoryWornOut | Fault::MemoryNoAnswer | Fault::MemoryShape),
            )) => Err(StoreError(format!("{fault:?}"))),
            event => Ok(event),
        }
    }

    fn hangs() -> StoreError {
        StoreError("it does not come to rest".to_owned())
    }

    /// The ledger becomes that of a machine just fitted.
    fn fit(&mut self) -> Result<(), Fault> {
        let fitting = bench::fitting();
        let ledger = self.store.change_ledger()?;
        ledger.set_components::<Sound>(&fitting.components, &Counters::default(), None);
        ledger.settings = fitting.settings;
        ledger.carried_in = fitting.carried_in;
        ledger.key = fitting.key;
        Ok(())
    }
}

impl CounterStore for Ours {
    const NAME: &'static str = "Shaftbook's store";

    fn power_up(part: &mut Pages<'_>) -> Result<(Self, Option<Counters>), StoreError> {
        let mut this = Self { store: Store::new(BOARD), origin_ns: part.bus().now_ns() };
        for _ in 0..POLLS_MAX {
            match this.poll(part, false, &Counters::default())? {
                Some(StoreEvent::Ready) => {
                    let saved = *this.store.saved();
                    return Ok((this, Some(saved)));
                }
                Some(StoreEvent::Nothing(fault)) => {
                    this.fit().map_err(|why| StoreError(format!("{fault:?}, then {why:?}")))?;
                    return Ok((this, None));
                }
                _ => {}
            }
        }
        Err(Self::hangs())
    }

    fn store(&mut self, part: &mut Pages<'_>, counters: &Counters) -> Result<(), StoreError> {
        for _ in 0..POLLS_MAX {
            // The snapshot of before, if it is not done yet, and then the checkpoint.
            let is_behind = self.store.is_busy();
            let saved = match self.poll(part, !is_behind, counters)? {
                Some(StoreEvent::CheckpointStored | StoreEvent::SnapshotStored) => {
                    self.store.saved()
                }
                _ => continue,
            };
            if saved == counters {
                return Ok(());
            }
        }
        Err(Self::hangs())
    }
}
