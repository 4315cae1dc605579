//! A checkpoint and an entry count only with a snapshot that holds what their own held.

use crate::support::{Bench, Plain};
use shaftbook_core::board::{Command, Effect};
use shaftbook_core::codec::checkpoint::Pointers;
use shaftbook_core::codec::frame::{Header, RECORD_BYTES, RecordKind};
use shaftbook_core::fault::Fault;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::ComponentSet;
use std::ops::Range;

fn record(part: &Plain, slot: usize) -> &[u8; RECORD_BYTES] {
    part.bytes[slot * RECORD_BYTES..].first_chunk().unwrap()
}

fn kind(part: &Plain, slot: usize) -> Option<RecordKind> {
    Header::decode(record(part, slot)).map(|header| header.kind)
}

/// The slots of the newest snapshot, and the slot after the newest record.
fn newest_snapshot(part: &Plain) -> (Range<usize>, usize) {
    let end = (0..512).find(|slot| kind(part, *slot).is_none()).unwrap();
    let newest = (0..end).rfind(|s| kind(part, *s) == Some(RecordKind::Checkpoint)).unwrap();
    let base = usize::from(Pointers::of(record(part, newest)).base_slot());
    let members = (base..end).take_while(|s| kind(part, *s) == Some(RecordKind::Snapshot)).count();
    (base..base + members, end)
}

/// A warning that comes and goes: all that was counted is stored.
fn warn(bench: &mut Bench) {
    for level in [Level::Active, Level::Inactive] {
        bench.board.input(bench.now, Input::PowerFail(level));
        bench.settle();
    }
}

/// A board that sewed on one needle only and renewed one component, in its second snapshot; all
/// lives run alike.
fn life(needle: u8) -> Bench {
    let mut bench = Bench::fitted();
    bench.sew(needle, 40, 66_667);
    warn(&mut bench);
    for _ in 0..13 {
        let components = ComponentSet::only(if needle == 9 { 0 } else { 3 });
        bench.board.request(bench.now, Command::Renew { components, reply: None }).unwrap();
        bench.settle();
    }
    for _ in 0..2 {
        bench.sew(needle, 5, 66_667);
        warn(&mut bench);
    }
    bench
}

/// Life on needle 9, with `slots` of life on needle 12.
fn spliced(slots: Range<usize>) -> Bench {
    let (mut into, from) = (life(9), life(12));
    let bytes = slots.start * RECORD_BYTES..slots.end * RECORD_BYTES;
    into.part.bytes[bytes.clone()].copy_from_slice(&from.part.bytes[bytes]);
    into.effects.clear();
    into.cut()
}

fn stitches(bench: &Bench) -> (u64, u64) {
    let past = bench.board.past().unwrap();
    (past.needle_stitches[8], past.needle_stitches[11])
}

#[test]
fn two_lives_run_alike_and_are_found_whole() {
    let (snapshot, end) = newest_snapshot(&life(9).part);
    assert!(snapshot.start > 20 && end > snapshot.end + 3, "{snapshot:?} {end}");
    assert_eq!(newest_snapshot(&life(12).part), (snapshot, end));
    assert_eq!(stitches(&spliced(0..0)), (50, 0));
    assert_eq!(stitches(&spliced(0..512)), (0, 50));
}

#[test]
fn a_snapshot_of_another_life_is_not_added_to() {
    let (snapshot, _) = newest_snapshot(&life(9).part);
    let first = snapshot.start;
    for range in [snapshot.clone(), first..first + 4, first..first + 2, first + 1..snapshot.end] {
        let bench = spliced(range.clone());
        assert_eq!(stitches(&bench), (40, 0), "{range:?}");
        let lost = Effect::FaultRaised(Fault::SnapshotLost);
        assert!(bench.effects.contains(&lost), "{range:?}: {:?}", bench.effects);
        // It goes on from there.
        assert_eq!(stitches(&bench.cut()), (40, 0), "{range:?}");
    }
}

#[test]
fn the_rest_of_a_snapshot_of_another_life_is_not_believed() {
    let (snapshot, _) = newest_snapshot(&life(9).part);
    let differ = |slot: &usize| record(&life(9).part, *slot) != record(&life(12).part, *slot);
    // What was renewed stands behind the counters. The parity's place is the last.
    let rest: Vec<usize> = (snapshot.start + 4..snapshot.end - 1).filter(differ).collect();
    assert!(!rest.is_empty());
    for slot in rest {
        let bench = spliced(slot..slot + 1);
        // The members that hold the counters are there, and so are the counters.
        assert_eq!(stitches(&bench), (50, 0), "slot {slot}");
        assert!(bench.effects.contains(&Effect::FaultRaised(Fault::SnapshotLost)), "slot {slot}");
        assert_eq!(bench.board.ledger().components[3].baseline, 0);
    }
}

#[test]
fn the_newest_checkpoint_of_another_life_is_left_out() {
    let (_, end) = newest_snapshot(&life(9).part);
    let bench = spliced(end - 1..end);
    assert_eq!(stitches(&bench), (45, 0), "the checkpoint before it counts");
    assert!(bench.effects.contains(&Effect::FaultRaised(Fault::SnapshotLost)));
    let again = bench.cut();
    assert_eq!(stitches(&again), (45, 0));
    assert!(!again.board.faults().contains(Fault::SnapshotLost), "it is written anew");
}
