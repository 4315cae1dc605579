//! Damage to single slots and to runs of slots, at the places where such damage once misled the
//! store.

use crate::support::{Bench, Plain, fitting};
use shaftbook_core::board::{Command, Effect};
use shaftbook_core::codec::checkpoint::Pointers;
use shaftbook_core::codec::entry::StoredEntry;
use shaftbook_core::codec::frame::{self, Header, Record};
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::{ComponentSet, Entry, EntryNumber, Event};
use shaftbook_core::medium::Geometry;
use shaftbook_core::rules::Sound;
use shaftbook_core::service::Authorised;

const SLOT: usize = 64;

fn warn(bench: &mut Bench, level: Level) {
    bench.board.input(bench.now, Input::PowerFail(level));
    bench.settle();
}

/// Idles, powered, until the next place to write is in this lap at this slot or later.
fn run_to(bench: &mut Bench, lap: u32, slot: u16) {
    let start = bench.board.store().head().lap.get();
    while (bench.board.store().head().lap.get() - start, bench.board.store().head().slot)
        < (lap, slot)
    {
        bench.sew(1, 3, 66_667);
        bench.now = bench.now.plus_us(60_000_000);
        bench.settle();
    }
}

#[test]
fn no_run_of_stuck_slots_hides_a_newer_record() {
    for (first, count) in [(256, 5), (250, 40), (127, 60), (0, 30), (500, 20)] {
        let mut bench = Bench::fitted();
        run_to(&mut bench, 1, 60);
        // Stuck at what they hold: valid records of the lap before.
        bench.part.stuck = (first..first + count).map(|slot| slot % 512).collect();
        run_to(&mut bench, u32::from(first < 60), (first as u16 + 2) % 512);
        for _ in 0..count * 2 + 12 {
            bench.sew(1, 3, 66_667);
            bench.now = bench.now.plus_us(60_000_000);
            bench.settle();
            let saved = *bench.board.saved();
            let again = Bench::power_up(bench.part.clone());
            let lifetime = again.lifetime();
            assert!(saved.at_most(&lifetime), "slots {first} + {count}: {saved:?} {lifetime:?}");
        }
    }
}

#[test]
fn counters_that_were_told_do_not_go_down_when_their_snapshot_turns_out_lost() {
    let mut bench = Bench::fitted();
    bench.sew(1, 100, 66_667);
    let reply = bench.reply(Authorised::Refit);
    let again = Command::Fit { fitting: fitting(), reply: Some(reply) };
    bench.board.request(bench.now, again).unwrap();
    bench.settle();
    bench.sew(1, 50, 66_667);
    warn(&mut bench, Level::Active);
    let saved = *bench.board.saved();
    // Members 4 and 5 of the second snapshot; the first begins at slot 0.
    let base = (0..512).rev().find(|slot| {
        let record: &[u8] = &bench.part.bytes[slot * SLOT..(slot + 1) * SLOT];
        record[0] % 8 == 3 && record[3].is_multiple_of(32)
    });
    let base = base.unwrap();
    assert!(base > 0);
    for member in [4, 5] {
        bench.part.bytes[(base + member) * SLOT + 30] ^= 0x55;
    }
    let bench = bench.cut();
    assert!(bench.effects.contains(&Effect::FaultRaised(Fault::SnapshotLost)));
    let told = bench.effects.iter().filter_map(|effect| match effect {
        Effect::LifetimeKnown(counters) => Some(*counters),
        _ => None,
    });
    let mut least = saved;
    for counters in told {
        assert!(least.at_most(&counters), "{least:?} {counters:?}");
        least = counters;
    }
    assert!(saved.at_most(&bench.lifetime()));
    let bench = bench.cut();
    assert!(saved.at_most(&bench.lifetime()), "after the next boot");
    assert!(bench.board.faults().is_empty(), "{:?}", bench.board.faults());
}

#[test]
fn a_part_read_as_half_its_size_ends_the_recovery() {
    let mut bench = Bench::power_up(Plain::new(Geometry { size_bytes: 65_536, page_bytes: 64 }));
    bench.board.request(bench.now, Command::Fit { fitting: fitting(), reply: None }).unwrap();
    bench.settle();
    run_to(&mut bench, 0, 1_000);
    let set = ComponentSet::only(0);
    bench.board.request(bench.now, Command::Renew { components: set, reply: None }).unwrap();
    bench.settle();
    for half in [0..32_768, 32_768..65_536] {
        let mut part = Plain::new(Geometry::REFERENCE);
        part.bytes.copy_from_slice(&bench.part.bytes[half]);
        let small = Bench::power_up(part); // settles, or says that it spins
        assert!(small.board.is_ready() || !small.board.faults().is_empty());
    }
}

/// Whatever one slot is damaged after a boot, the next boot loses nothing more, since
/// this one makes good what it finds.
#[test]
fn two_members_lost_one_boot_apart_cost_nothing() {
    let fresh = Bench::fitted();
    let last = usize::from(fresh.board.store().head().slot) - 3;
    for (first, second) in (0..last).flat_map(|a| (0..last).map(move |b| (a, b))) {
        let mut part = fresh.part.clone();
        part.bytes[first * SLOT + 9] ^= 1;
        let mut part = Bench::power_up(part).part;
        part.bytes[second * SLOT + 9] ^= 1;
        let bench = Bench::power_up(part);
        assert!(bench.board.is_ready(), "{first} {second}: {:?}", bench.board.faults());
        assert_eq!(bench.board.ledger(), fresh.board.ledger(), "{first} {second}");
    }
}

#[test]
fn retired_slots_outlive_a_reboot_and_a_write_protect_of_a_while_retires_few() {
    let mut bench = Bench::fitted();
    bench.part.stuck = vec![40];
    run_to(&mut bench, 0, 45);
    assert!(bench.board.store().retired().contains(40));
    let mut bench = bench.cut();
    assert!(bench.board.store().retired().contains(40));
    bench.part.stuck = (0..512).collect();
    bench.sew(1, 8, 66_667);
    bench.part.stuck = vec![40];
    bench.sew(1, 200, 66_667);
    assert!(bench.board.store().retired().len() <= 5, "{}", bench.board.store().retired().len());
    assert!(bench.board.faults().is_empty(), "{:?}", bench.board.faults());
}

#[test]
fn a_board_that_is_cut_in_every_snapshot_keeps_its_ring() {
    let mut bench = Bench::fitted();
    run_to(&mut bench, 0, 350);
    let place = bench.board.store().head();
    let renewals = |bench: &Bench| {
        let lines = bench.board.ledger().history.iter();
        lines.filter(|line| line.event == Event::Renewed).count()
    };
    for _ in 0..150 {
        let part = bench.part.clone();
        bench = Bench { board: Bench::unpowered(), part, now: bench.now, effects: vec![] };
        bench.now = shaftbook_core::time::Instant::ZERO;
        // Until the boot record and some members of the snapshot are there.
        let mut start = None;
        for _ in 0..400 {
            let polled = bench.board.poll(bench.now, &mut bench.part);
            if polled.effect.is_none() {
                bench.now = polled.deadline.min(bench.now.plus_us(1_000));
            }
            let store = bench.board.store();
            if store.is_ready() && store.head().slot >= *start.get_or_insert(store.head().slot) + 7
            {
                break;
            }
        }
    }
    let bench = bench.cut();
    assert!(bench.board.faults().is_empty(), "{:?} {place:?}", bench.board.faults());
    assert_eq!(renewals(&bench), 0);
}

/// Both copies of an entry are gone, and just beyond the newest record lies an entry of
/// the lap before that names a snapshot in the same slot: it is not taken for the lost one.
#[test]
fn an_entry_of_the_lap_before_is_not_taken_for_a_lost_one() {
    let mut bench = Bench::fitted();
    let head = bench.board.store().head();
    let components = ComponentSet::only(0);
    bench.board.request(bench.now, Command::Renew { components, reply: None }).unwrap();
    bench.settle();
    bench.now = bench.now.plus_us(60_000_000);
    bench.settle();
    assert_eq!(bench.board.store().head().slot, head.slot + 3, "two copies and a checkpoint");
    for slot in [head.slot, head.slot + 1] {
        bench.part.bytes[usize::from(slot) * SLOT..][..SLOT].fill(0x5A);
    }
    let commit: Record =
        *bench.part.bytes[usize::from(head.slot - 1) * SLOT..].first_chunk().unwrap();
    let stale = StoredEntry {
        base_slot: 0,
        binding: Pointers::of(&commit).binding(),
        previous_slot: None,
        second_copy: false,
        entry: Entry {
            number: EntryNumber::new(7),
            event: Event::Served,
            subject: 0,
            renewed: ComponentSet::default(),
            day: None,
            at: Counters::default(),
        },
    };
    let mut record = stale.encode::<Sound>();
    let header = Header { kind: frame::RecordKind::Entry, lap: head.lap.previous() };
    frame::seal::<Sound>(&mut record, header, crate::support::ID, head.slot + 3);
    bench.part.bytes[usize::from(head.slot + 3) * SLOT..][..SLOT].copy_from_slice(&record);
    let again = bench.cut();
    assert_eq!(again.board.ledger().services, 0);
    assert!(again.effects.contains(&Effect::FaultRaised(Fault::JournalGap)), "{:?}", again.effects);
}
