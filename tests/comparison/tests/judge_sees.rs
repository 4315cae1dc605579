//! The judge finds what is wrong with stores that are wrong on purpose, and nothing with sound
//! ones.

use comparison::blob;
use comparison::hosted::Hosted;
use comparison::judge::{self, Outcome, Verdict};
use comparison::lent::Lent;
use comparison::ours::Ours;
use comparison::{run, workload};
use comparison_stores::ring::Ring;
use shaftbook_core::counters::Counters;
use shaftbook_evidence::campaign::store::{CounterStore, Pages, StoreError};

/// Each of the first checkpoints, cut everywhere.
fn verdict<S: CounterStore>(count: usize) -> Verdict {
    let steps = workload::steps(3, count);
    let run = run::run::<S>(&steps, 3).expect("it runs without cuts");
    let places: Vec<usize> = (0..count).collect();
    judge::judge::<S>(&run, &places, 3)
}

#[test]
fn sound_stores_hold() {
    // 300: round the ring of 256 slots.
    for verdict in [verdict::<Hosted<Ring<Lent>>>(300), verdict::<Ours>(60)] {
        assert_eq!(verdict.failures(), 0, "{verdict:?}");
        assert!(verdict.cases() > 60 * 70, "{verdict:?}");
    }
}

#[test]
fn a_ring_without_a_checksum_is_caught() {
    let verdict = verdict::<Hosted<Ring<Lent, false>>>(300);
    assert!(verdict.of(Outcome::AboveTruth) > 0, "{verdict:?}");
    assert!(verdict.of(Outcome::FellBack) > 0, "{verdict:?}");
}

/// Acknowledges before it writes: what it is given is written at the next call.
struct Boastful {
    ring: Hosted<Ring<Lent>>,
    waiting: Option<Counters>,
}

impl CounterStore for Boastful {
    const NAME: &'static str = "acknowledges first";

    fn power_up(part: &mut Pages<'_>) -> Result<(Self, Option<Counters>), StoreError> {
        let (ring, found) = Hosted::power_up(part)?;
        Ok((Self { ring, waiting: None }, found))
    }

    fn store(&mut self, part: &mut Pages<'_>, counters: &Counters) -> Result<(), StoreError> {
        let before = self.waiting.replace(*counters);
        before.map_or(Ok(()), |before| self.ring.store(part, &before))
    }
}

#[test]
fn a_store_that_acknowledges_first_is_caught() {
    let verdict = verdict::<Boastful>(20);
    assert_eq!(verdict.of(Outcome::Held), 0, "{verdict:?}");
    assert!(verdict.of(Outcome::FellBack) > 0 && verdict.of(Outcome::Empty) > 0, "{verdict:?}");
}

/// One record, written over in place; it believes what it reads as `STYLE` says.
struct InPlace<const STYLE: u8>;

/// A record that is not whole counts as nothing.
const GIVES_UP: u8 = 0;
/// It is an error.
const REFUSES: u8 = 1;
/// It is a panic.
const ASSERTS: u8 = 2;
/// It is read until it is whole.
const WAITS: u8 = 3;

impl<const STYLE: u8> CounterStore for InPlace<STYLE> {
    const NAME: &'static str = "in place";

    fn power_up(part: &mut Pages<'_>) -> Result<(Self, Option<Counters>), StoreError> {
        // Lent, as to the adapters: the accesses of one that hangs are counted.
        let lent = Lent::default();
        let read = lent.during(part, || {
            use comparison_stores::Part;
            let mut part = lent.clone();
            loop {
                let (mut value, mut sum) = ([1; 128], [0]);
                part.read(0, &mut value).ok();
                part.read(128, &mut sum).ok();
                let is_whole =
                    value.iter().fold(0, |sum: u8, byte| sum.wrapping_add(*byte)) == sum[0];
                if is_whole || value == [0xFF; 128] || STYLE != WAITS {
                    return (value, is_whole);
                }
            }
        });
        match read {
            ([0xFF, .., 0xFF], _) => Ok((Self, None)),
            (value, true) => Ok((Self, Some(blob::decode(&value)))),
            _ if STYLE == REFUSES => Err(StoreError("not whole".to_owned())),
            _ if STYLE == ASSERTS => panic!("not whole"),
            _ => Ok((Self, None)),
        }
    }

    fn store(&mut self, part: &mut Pages<'_>, counters: &Counters) -> Result<(), StoreError> {
        let value = blob::encode(counters).expect("it fits");
        part.program(0, &value)?;
        let sum = value.iter().fold(0, |sum: u8, byte| sum.wrapping_add(*byte));
        Ok(part.program(128, &[sum])?)
    }
}

#[test]
fn a_record_written_in_place_is_caught_whatever_it_makes_of_a_torn_one() {
    let gives_up = verdict::<InPlace<GIVES_UP>>(8);
    assert!(gives_up.of(Outcome::Empty) > 0, "{gives_up:?}");
    let refuses = verdict::<InPlace<REFUSES>>(8);
    assert!(refuses.of(Outcome::WouldNotOpen) > 0, "{refuses:?}");
    let asserts = verdict::<InPlace<ASSERTS>>(8);
    assert!(asserts.of(Outcome::Panicked) > 0, "{asserts:?}");
    let waits = verdict::<InPlace<WAITS>>(2);
    assert!(waits.of(Outcome::Panicked) > 0, "{waits:?}");
}

/// Appends to the first blank place, but reads only up to the first record that is not
/// whole: after a torn one it writes where it never looks. `FULL` refuses to append then.
struct Log<const REFUSES_AFTER_TORN: bool>;

impl<const REFUSES_AFTER_TORN: bool> Log<REFUSES_AFTER_TORN> {
    fn record(part: &mut Pages<'_>, place: u32) -> Result<[u8; 128], StoreError> {
        let mut record = [0; 128];
        part.read(place * 128, &mut record)?;
        Ok(record)
    }

    /// Byte 127 is the sum of the others, and one.
    fn is_whole(record: &[u8; 128]) -> bool {
        record[..127].iter().fold(1, |sum: u8, byte| sum.wrapping_add(*byte)) == record[127]
    }
}

impl<const REFUSES_AFTER_TORN: bool> CounterStore for Log<REFUSES_AFTER_TORN> {
    const NAME: &'static str = "log";

    fn power_up(part: &mut Pages<'_>) -> Result<(Self, Option<Counters>), StoreError> {
        let mut newest = None;
        for place in 0..256 {
            let record = Self::record(part, place)?;
            if !Self::is_whole(&record) {
                break;
            }
            let mut value = record;
            value[127] = 0;
            newest = Some(blob::decode(&value));
        }
        Ok((Self, newest))
    }

    fn store(&mut self, part: &mut Pages<'_>, counters: &Counters) -> Result<(), StoreError> {
        let mut record = blob::encode(counters).expect("it fits");
        record[127] = record[..127].iter().fold(1, |sum: u8, byte| sum.wrapping_add(*byte));
        for place in 0..256 {
            let there = Self::record(part, place)?;
            if there == [0xFF; 128] {
                return Ok(part.program(place * 128, &record)?);
            }
            if REFUSES_AFTER_TORN && !Self::is_whole(&there) {
                break;
            }
        }
        Err(StoreError("full".to_owned()))
    }
}

#[test]
fn a_write_that_is_acknowledged_and_then_not_found_is_caught() {
    let verdict = verdict::<Log<false>>(20);
    assert!(verdict.of(Outcome::LostNext) > 0, "{verdict:?}");
}

#[test]
fn a_store_that_does_not_store_any_more_is_caught() {
    let verdict = verdict::<Log<true>>(20);
    assert!(verdict.of(Outcome::WouldNotStore) > 0, "{verdict:?}");
}

#[test]
fn a_store_that_loses_without_a_cut_ends_the_run() {
    let steps = workload::steps(3, workload::CHECKPOINTS);
    let why = run::run::<Boastful>(&steps, 3).expect_err("a reboot must show it");
    assert!(why.contains("other counters"), "{why}");
}

/// The counters of a machine that sews on one needle all the time.
fn sewn_for(powered_ms: u64) -> Counters {
    let mut counters = Counters { powered_ms, running_ms: powered_ms, ..Counters::default() };
    counters.needle_stitches[0] = powered_ms / workload::INTERVAL_MS * 150;
    counters
}

/// A tear that reaches the whole page is told from one of the bytes being written: byte 0
/// stays as it is, so only the former can change it.
struct Marked;

impl CounterStore for Marked {
    const NAME: &'static str = "marked";

    fn power_up(part: &mut Pages<'_>) -> Result<(Self, Option<Counters>), StoreError> {
        let mut bytes = [0; 9];
        part.read(0, &mut bytes)?;
        match bytes {
            [0xFF, 0xFF, ..] => Ok((Self, None)),
            [b'M', figure @ ..] => Ok((Self, Some(sewn_for(u64::from_le_bytes(figure))))),
            _ => Err(StoreError("no mark".to_owned())),
        }
    }

    fn store(&mut self, part: &mut Pages<'_>, counters: &Counters) -> Result<(), StoreError> {
        part.program(0, b"M")?;
        Ok(part.program(1, &counters.powered_ms.to_le_bytes())?)
    }
}

#[test]
fn tears_of_the_written_bytes_are_told_from_those_of_the_whole_page() {
    let step = |powered_ms| workload::Step { counters: sewn_for(powered_ms), reboots: false };
    // From nothing to something: whatever prefix or mix of both is between them.
    let run = run::run::<Marked>(&[step(0), step(workload::INTERVAL_MS)], 3).expect("it runs");
    let verdict = judge::judge::<Marked>(&run, &[1], 3);
    assert!(verdict.of(Outcome::Empty) > 0 && verdict.of(Outcome::WouldNotOpen) > 0, "{verdict:?}");
    assert_eq!(verdict.failures_within, 0, "{verdict:?}");
    // In place over more bytes, a prefix is enough.
    let torn = self::verdict::<InPlace<REFUSES>>(8);
    assert!(torn.failures_within > 0, "{torn:?}");
}
