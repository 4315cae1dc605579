//! Codecs and the ring's arithmetic, case by case: what the property tests beside the code do
//! not reach.

use shaftbook_core::authority::Key;
use shaftbook_core::codec::checkpoint::Checkpoint;
use shaftbook_core::codec::snapshot::{self, MARKS, MEMBERS_MAX, MemberPlace, STREAM_MAX};
use shaftbook_core::counters::Counters;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::medium::Geometry;
use shaftbook_core::retired::Retired;
use shaftbook_core::rules::Sound;
use shaftbook_core::serial::Lap;
use shaftbook_core::settings::{NeedleSource, ServiceMeasure, Settings};
use shaftbook_core::store::ring::{Place, Ring};

const ID: BoardId = BoardId(0x1234_5678_9ABC_DEF0);

fn stream(settings: Settings) -> [u8; STREAM_MAX] {
    let ledger = Ledger::new(settings, Key::new([9; 32]));
    let mut stream = [0; STREAM_MAX];
    let retired = Retired::default();
    snapshot::encode(&mut stream, ID, &Counters::default(), &ledger, &retired).expect("it fits");
    stream
}

#[test]
fn every_choice_in_the_settings_comes_back() {
    let mut levels = Settings { needles: 4, ..Settings::default() };
    levels.needle_level_mv[..4].copy_from_slice(&[500, 1_000, 1_500, 2_000]);
    for needle_source in [NeedleSource::NotWired, NeedleSource::Code, NeedleSource::Level] {
        for service_measure in [ServiceMeasure::Powered, ServiceMeasure::Running] {
            let settings = Settings { needle_source, service_measure, language: 1, ..levels };
            assert_eq!(settings.check(), Ok(()));
            let (ledger, _) = snapshot::decode(&stream(settings)).expect("a whole stream");
            assert_eq!(ledger.settings, settings);
        }
    }
}

#[test]
fn a_stream_of_another_version_or_with_settings_that_cannot_be_is_refused() {
    let sound = stream(Settings::default());
    assert!(snapshot::decode(&sound).is_some());
    assert!(snapshot::decode_counters(&sound).is_some());
    let mut other = sound;
    other[0] = 1;
    assert!(snapshot::decode(&other).is_none() && snapshot::decode_counters(&other).is_none());
    // Pulses per revolution: the first byte of the settings, after 180 of counters and a check.
    let mut other = sound;
    other[184] = 0;
    assert!(snapshot::decode(&other).is_none());
    // The last of the settings that a check is over.
    let mut other = sound;
    other[253] ^= 1;
    assert!(snapshot::decode(&other).is_none());
    assert!(snapshot::decode_counters(&sound[..179]).is_none(), "cut short");
}

#[test]
fn a_members_place_comes_back_for_every_index_count_and_mark() {
    let stream = stream(Settings::default());
    for count in 0..32_u8 {
        for index in 0..32_u8 {
            for mark in [0, 1, 7, 8, 0x2A, 0x15, MARKS - 1] {
                let place = MemberPlace { index, count, mark };
                let mut record = [0; 64];
                snapshot::write_member(&mut record, &stream, place);
                let possible = (4..=MEMBERS_MAX as u8).contains(&count) && index <= count;
                assert_eq!(snapshot::member_place(&record), possible.then_some(place));
                let names_board = possible && index == 0;
                assert_eq!(snapshot::board_of(&record), names_board.then_some(ID), "{place:?}");
            }
        }
    }
    assert_eq!(MARKS, 64);
}

#[test]
fn a_checkpoint_without_an_entry_names_its_own_snapshot_twice() {
    for entry_slot in [None, Some(17), Some(1_023)] {
        let checkpoint =
            Checkpoint { base_slot: 300, binding: 0x2A5, entry_slot, delta: Counters::default() };
        let record = checkpoint.encode::<Sound>();
        assert_eq!(Checkpoint::decode(&record).entry_slot, entry_slot);
        let bits = u32::from_le_bytes([record[3], record[4], record[5], record[6]]);
        assert_eq!(bits & 0x3FF, 300);
        assert_eq!(bits >> 10 & 0x3FF, 0x2A5);
        assert_eq!(bits >> 20 & 0x3FF, entry_slot.map_or(300, u32::from));
    }
}

#[test]
fn before_and_after_are_each_others_inverse_round_the_ring_and_the_laps() {
    let ring = Ring::new(Geometry::REFERENCE).expect("supported");
    let mut place = Place { lap: Lap::new((1 << 21) - 1), slot: 509 };
    let mut seen = Vec::new();
    for _ in 0..6 {
        let next = ring.after::<Sound>(place);
        assert_eq!(ring.before(next), place);
        assert!(next.is_after::<Sound>(place) && !place.is_after::<Sound>(next));
        place = next;
        seen.push((place.lap.get(), place.slot));
    }
    let last = (1 << 21) - 1;
    assert_eq!(seen, [(last, 510), (last, 511), (0, 0), (0, 1), (0, 2), (0, 3)]);
    assert_eq!((ring.distance(510, 2), ring.distance(2, 510), ring.distance(7, 7)), (4, 508, 0));
}

#[test]
fn retired_slots_are_a_set_that_skips() {
    let ring = Ring::new(Geometry::REFERENCE).expect("supported");
    let mut retired = Retired::default();
    assert!(retired.is_empty() && !retired.contains(0));
    for slot in [511, 0, 1, 64, 0] {
        assert!(retired.insert(slot));
    }
    assert!(!retired.is_empty());
    assert_eq!((retired.len(), retired.iter().collect::<Vec<_>>()), (4, vec![0, 1, 64, 511]));
    assert!(retired.contains(64) && !retired.contains(63) && !retired.contains(65));
    let place = Place { lap: Lap::new(5), slot: 510 };
    let next = ring.usable_after::<Sound>(place, &retired);
    assert_eq!(next, Place { lap: Lap::new(6), slot: 2 });
}
