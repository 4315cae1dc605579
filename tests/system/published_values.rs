//! Published values that bound what the core counts, each with its source.

use shaftbook_core::authority::Key;
use shaftbook_core::codec::snapshot;
use shaftbook_core::counters::Counters;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::retired::Retired;
use shaftbook_core::settings::Settings;
use system_tests::bench::ID;

/// SAE J1939-71, SPN 247 (engine total hours of operation): 0.05 h a bit, 32 bits,
/// largest valid value `0xFAFF_FFFF`.
const SPN_247_MS_PER_BIT: u64 = 180_000; // 0.05 h
const SPN_247_LARGEST: u64 = 0xFAFF_FFFF;

fn stored(counters: &Counters) -> Counters {
    let mut stream = [0; snapshot::STREAM_MAX];
    let ledger = Ledger::new(Settings::default(), Key::new([0; 32]));
    let length = snapshot::encode(&mut stream, ID, counters, &ledger, &Retired::default()).unwrap();
    snapshot::decode_counters(&stream[..length]).unwrap()
}

#[test]
fn the_largest_spn_247_is_210_554_060_75_hours() {
    // In hundredths of an hour, so that nothing is rounded.
    assert_eq!(SPN_247_LARGEST * 5, 21_055_406_075);
}

#[test]
fn a_hundred_years_are_stored_to_the_ms_and_fit_spn_247() {
    let powered_ms = 100 * 8_766 * 3_600_000 + 1; // Julian years
    let counters = Counters { powered_ms, running_ms: powered_ms - 2, ..Counters::default() };
    assert_eq!(stored(&counters), counters);
    assert!(powered_ms / SPN_247_MS_PER_BIT < SPN_247_LARGEST);
}

/// 2,000 stitches a minute, day and night, for a hundred years, on one needle.
#[test]
fn a_hundred_years_of_stitches_are_stored_and_one_more_counts() {
    let most = 100 * 8_766 * 60 * 2_000_u64;
    for stitches in [most, most + 1] {
        let mut counters = Counters { trims: most, jumps: most, ..Counters::default() };
        counters.needle_stitches[15] = stitches;
        counters.unattributed_stitches = stitches;
        assert_eq!(stored(&counters), counters);
    }
}
