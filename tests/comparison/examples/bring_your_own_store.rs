//! Bring your own store: a foreign crate behind the trait `CounterStore`, and the judge.
//!
//! The crate is `sequential-storage`, as it would be used on a board: a map with one key.
//! `Flash` is all that the crate needs of the part; the counters go in as 128 bytes. Unlike the
//! adapters of the comparison, this one makes its map anew for each call, without caches. That
//! is the least code, and the bytes that are written are the same.
//!
//! Run it in `tests/comparison`. Without arguments it cuts a thousand checkpoints of the
//! comparison's workload everywhere. With arguments it is a campaign, with the options of
//! `shaftbook campaign`:
//!
//! ```text
//! cargo run --release --example bring_your_own_store
//! cargo run --release --example bring_your_own_store -- \
//!     ../../host-sim/campaigns/cuts-only.toml --out target/brought
//! ```

use std::process::ExitCode;

use comparison::{blob, judge, run, workload};
use embassy_futures::block_on;
use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use sequential_storage::cache::Cache;
use sequential_storage::map::{MapConfig, MapStorage};
use shaftbook_core::counters::Counters;
use shaftbook_core::medium::MediumError;
use shaftbook_evidence::campaign::store::{CounterStore, Pages, StoreError};

/// The simulated part as the flash that the crate asks for.
struct Flash<'a, 'b>(&'a mut Pages<'b>);

#[derive(Debug)]
struct FlashError(MediumError);

impl NorFlashError for FlashError {
    fn kind(&self) -> NorFlashErrorKind {
        match self.0 {
            MediumError::OutOfRange => NorFlashErrorKind::OutOfBounds,
            _ => NorFlashErrorKind::Other,
        }
    }
}

impl ErrorType for Flash<'_, '_> {
    type Error = FlashError;
}

impl ReadNorFlash for Flash<'_, '_> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashError> {
        self.0.read(offset, bytes).map_err(FlashError)
    }

    fn capacity(&self) -> usize {
        self.0.size_bytes()
    }
}

impl NorFlash for Flash<'_, '_> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = 1_024;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashError> {
        // An EEPROM has no erase.
        (from..to)
            .step_by(64)
            .try_for_each(|page| self.0.program(page, &[0xFF; 64]).map_err(FlashError))
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashError> {
        self.0.program(offset, bytes).map_err(FlashError)
    }
}

/// The store that is brought.
struct Brought;

const KEY: u8 = 1;

fn map<'a, 'b>(
    part: &'a mut Pages<'b>,
) -> MapStorage<
    u8,
    Flash<'a, 'b>,
    Cache<
        sequential_storage::cache::Uncached,
        sequential_storage::cache::Uncached,
        sequential_storage::cache::Uncached,
        u8,
    >,
> {
    MapStorage::new(Flash(part), const { MapConfig::new(0..32_768) }, Cache::new_uncached())
}

impl CounterStore for Brought {
    const NAME: &'static str = "sequential-storage, brought";

    fn power_up(part: &mut Pages<'_>) -> Result<(Self, Option<Counters>), StoreError> {
        let mut buffer = [0; 132];
        let found = block_on(map(part).fetch_item::<&[u8]>(&mut buffer, &KEY))
            .map_err(|error| StoreError(format!("{error:?}")))?;
        let counters =
            found.and_then(|bytes| bytes.try_into().ok()).map(|value| blob::decode(&value));
        Ok((Self, counters))
    }

    fn store(&mut self, part: &mut Pages<'_>, counters: &Counters) -> Result<(), StoreError> {
        let value = blob::encode(counters).ok_or_else(|| StoreError("too big".to_owned()))?;
        block_on(map(part).store_item(&mut [0; 132], &KEY, &value.as_slice()))
            .map_err(|error| StoreError(format!("{error:?}")))
    }
}

fn main() -> ExitCode {
    if std::env::args_os().len() > 1 {
        return host_sim::cli::campaign::main::<Brought>();
    }
    match judged() {
        Ok(()) => ExitCode::SUCCESS,
        Err(what) => {
            eprintln!("{what}");
            ExitCode::from(2)
        }
    }
}

/// Cuts its checkpoints everywhere, as the comparison does.
fn judged() -> Result<(), String> {
    let seed = 1;
    let steps = workload::steps(seed, 1_000);
    let run = run::run::<Brought>(&steps, seed)?;
    let places = judge::sample(&run, 0, seed);
    let verdict = judge::judge::<Brought>(&run, &places, seed);
    println!("{}: {} checkpoints cut at every bus byte", Brought::NAME, verdict.checkpoints);
    for outcome in judge::Outcome::ALL {
        println!("{:8} {outcome:?}", verdict.of(outcome));
    }
    Ok(())
}
