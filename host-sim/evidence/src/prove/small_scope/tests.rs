//! The search itself: that it cuts wherever a cut can be, and that no state is lost by being
//! taken for another.

use std::collections::{BTreeSet, HashMap, HashSet};

use shaftbook_core::counters::Counters;
use shaftbook_core::rules::Sound;

use super::path::{AT_BORDERS, ENDS, EVERY, FEWEST, Record, tear};
use super::scope::Scope;
use super::slots::{GEOMETRY, OnBus, SLOTS};
use super::starts::Start;
use super::*;
use crate::prove::sabotage::switches::Sabotaged;
use crate::prove::sabotage::{ALL, Sabotage};

/// The tears that are no mixes.
const PLAIN: [u8; 5] = [0, 1, 2, 3, 7];

fn root<R: Rules + Clone>(start: Start) -> State {
    let (image, known) = start.state::<R>().expect("the start is reached");
    State { image, known: Rc::new(known), path: Vec::new() }
}

/// The records of the images to which the search goes with one cut after `records`, and what
/// was acknowledged of each: all that a cut at any moment may leave.
fn left_by_the_search(state: &State, records: &[Record]) -> HashMap<u128, Vec<Counters>> {
    let mut left: HashMap<u128, Vec<Counters>> = HashMap::new();
    expand::<Sound>(state, records.len(), &EVERY, false, &mut |found| {
        let (_, child) = found.expect("a sound store does nothing that may never be");
        let found = child();
        if found.path.last().is_some_and(|leg| leg.records == records) {
            left.entry(found.image.key()).or_default().push(found.known.acknowledged);
        }
    });
    left
}

/// Cuts the same power-up at every byte of the bus, the part being written by the board's own
/// driver, with and without the page being torn before Stop, and in every program cycle; gives
/// the bytes, and the cuts that fell into a cycle.
fn cut_at_every_byte(state: &State, records: &[Record]) -> (u64, usize) {
    let left = left_by_the_search(state, records);
    let named = format!("{records:?}");
    let mut world: World<Sound, OnBus> =
        World::powered(state.image.clone(), (*state.known).clone());
    // Up to the last record: that one is cut, or the power-up if there is none.
    if let [before @ .., _] = records {
        world.work();
        for record in before {
            world.record(*record);
        }
    }
    if let Some(record) = records.last() {
        world.ask(*record);
    }
    let begun = world.part.bus.tally().bytes;
    let (mut in_cycle, mut seen) = (0, HashSet::new());
    loop {
        let before = world.clone();
        let told = world.poll();
        assert_eq!(world.violation, None, "{named}");
        let bytes = world.part.bus.tally().bytes - before.part.bus.tally().bytes;
        for passed in 0..bytes {
            for is_torn in [false, true] {
                let mut cut = before.clone();
                cut.part.bus.set_tears_before_stop(is_torn);
                cut.part.bus.cut_after_bytes(passed);
                cut.poll();
                assert!(cut.part.bus.is_cut(), "{named}: {passed} of {bytes} bytes");
                let tally = cut.part.bus.tally().bytes;
                assert_eq!(tally, before.part.bus.tally().bytes + passed, "{named}");
                let under_way = cut.part.bus.page_under_way();
                in_cycle += usize::from(under_way.is_some());
                let tears = match (under_way.is_some(), is_torn) {
                    (false, _) => &EVERY[..1],
                    (true, false) => &EVERY[..],
                    // Mixes of a page of which the first bytes had arrived: not in the list.
                    (true, true) => &PLAIN[..],
                };
                for number in tears {
                    let memory = cut.part.bus.cut_image(tear(*number));
                    let mut image = state.image.clone();
                    for slot in 0..SLOTS {
                        let page = &memory[slot * usize::from(GEOMETRY.page_bytes)..];
                        image.set(slot, *page.first_chunk().expect("a whole page"));
                    }
                    let image = image.key();
                    seen.insert(image);
                    // What was acknowledged by then is held against it.
                    let held = left.get(&image).is_some_and(|all| {
                        all.iter().any(|known| before.known().acknowledged.at_most(known))
                    });
                    let is_as_before = image == state.image.key() && records.is_empty();
                    let name = tear(*number);
                    assert!(
                        held || is_as_before,
                        "{named}: nothing like a cut after {passed} bytes of a transaction \
                         ({is_torn}, {name}) is in the search"
                    );
                }
            }
        }
        if told.is_none() && world.is_at_rest() {
            break;
        }
    }
    // And the other way round: every tear of the search can come about on the bus, but for
    // those after the last cycle.
    let never: Vec<_> = left.keys().filter(|image| !seen.contains(*image)).collect();
    assert!(never.len() <= 1, "{named}: {} images of the search come about in no way", never.len());
    (world.part.bus.tally().bytes - begun, in_cycle)
}

#[test]
fn a_cut_at_every_byte_of_the_bus_leaves_what_the_search_tries_and_nothing_else() {
    let mut sequences = vec![vec![]];
    sequences.extend(Record::ALL.map(|record| vec![record]));
    sequences.push(vec![Record::Entry, Record::Checkpoint]);
    for start in Start::ALL {
        let state = root::<Sound>(start);
        for records in &sequences {
            let (bytes, in_cycle) = cut_at_every_byte(&state, records);
            assert!(bytes > 66 && in_cycle > 0, "{start:?} {records:?}: {bytes}, {in_cycle}");
        }
    }
}

/// All that the search meets, as told to its caller, in its order.
fn met<R: Rules + Clone>(start: Start, scope: &Scope, once: bool) -> (Vec<u128>, Searched) {
    let mut met = Vec::new();
    let searched = search::<R>(&root::<R>(start), scope, once, &mut |state| {
        met.push(state);
        Checked::Now
    });
    (met, searched)
}

#[test]
fn states_that_are_equal_are_one_and_none_is_lost_by_it() {
    let scope = Scope { records: 1, tears: &[&FEWEST, &ENDS], decays: false };
    for start in [Start::FirstLap, Start::SnapshotDue, Start::JournalFull] {
        let (once, searched) = met::<Sound>(start, &scope, true);
        let (each, unmerged) = met::<Sound>(start, &scope, false);
        assert!(searched.failure.is_none() && unmerged.failure.is_none());
        assert!(once.len() < each.len() / 2, "{start:?}: {} of {}", once.len(), each.len());
        let (once, each): (BTreeSet<u128>, BTreeSet<u128>) =
            (once.into_iter().collect(), each.into_iter().collect());
        assert_eq!(once, each, "{start:?}");
    }
}

fn broken(name: &str) -> Sabotage {
    *ALL.iter().find(|it| it.name == name).expect("there is such a board")
}

#[test]
fn a_broken_store_fails_whether_or_not_equal_states_are_one() {
    let scope = Scope { records: 1, tears: &[&AT_BORDERS, &ENDS], decays: false };
    for (name, start) in [
        ("header-is-enough", Start::FirstLap),
        ("entry-overwritten", Start::FirstLap),
        ("entry-beside-snapshot", Start::SnapshotDue),
        ("head-on-newest", Start::LapEnd),
    ] {
        broken(name).take_effect();
        let path = |once| met::<Sabotaged>(start, &scope, once).1.failure.map(|it| it.0);
        let first = path(true);
        assert!(first.is_some(), "{name}");
        assert_eq!(first, path(false), "{name}: the first path that fails");
    }
}

#[test]
fn a_state_is_told_from_another_by_its_image_and_by_what_is_known() {
    let state = root::<Sound>(Start::FirstLap);
    let mut other = state.clone();
    assert_eq!(state.key(), other.key());
    let held = *other.image.slot(9);
    other.image.set(9, [0; RECORD_BYTES]);
    assert_ne!(state.key(), other.key());
    other.image.set(9, held);
    assert_eq!(state.key(), other.key(), "set to what it held");
    Rc::make_mut(&mut other.known).acknowledged.trims += 1;
    assert_ne!(state.key(), other.key());
}
