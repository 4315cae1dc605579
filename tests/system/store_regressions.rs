//! Single sequences that once broke the store, or looked as if they might. Each is the smallest
//! that shows the case, on the real driver and the modelled bus.

use shaftbook_core::board::{Command, Effect};
use shaftbook_core::component::Measure;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::{ComponentSet, Event};
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::Authorised;
use shaftbook_world::bus::{Answers, Bus, Stuck, Tear};
use system_tests::bench::{Bench, fitting};

const STITCH_US: u64 = 66_667; // 900 stitches a minute
const SECOND_US: u64 = 1_000_000;

fn held() -> Answers {
    Answers::BusHeld
}

/// Writes checkpoints by waiting, powered and idle, until a snapshot is near.
fn age(bench: &mut Bench, checkpoints: u64) {
    for _ in 0..checkpoints {
        bench.advance_us(61 * SECOND_US);
    }
}

#[test]
fn one_refused_read_at_boot_does_not_cost_the_newest_checkpoint() {
    let mut bench = Bench::fitted(1);
    bench.sew(400, STITCH_US);
    bench.warn(Level::Active);
    bench.advance_us(SECOND_US);
    let kept = bench.acknowledged().unwrap();
    let off = bench;
    for refused in 0..60 {
        let mut bench = off.clone();
        bench.reboot(Tear::New);
        // One transaction of the recovery is not acknowledged.
        for _ in 0..refused {
            bench.poll();
        }
        bench.bus.set_answers(Answers::Nobody);
        bench.poll();
        bench.bus.set_answers(Answers::Part);
        let lifetime = bench.settled_lifetime();
        assert!(kept.at_most(&lifetime), "poll {refused} refused: {kept:?} > {lifetime:?}");
    }
}

#[test]
fn a_bus_that_was_dead_while_counters_outgrew_their_fields_is_used_again() {
    let mut bench = Bench::fitted(2);
    bench.bus.set_answers(held());
    // 6 h of running at two-second gaps: more than 2^24 ms since the snapshot.
    bench.sew(6 * 3_600 / 2, 2 * SECOND_US);
    bench.bus.set_answers(Answers::Part);
    let cycles = bench.bus.tally().cycles;
    bench.advance_us(60 * SECOND_US);
    let used = bench.bus.tally().cycles - cycles;
    assert!(!bench.board.faults().contains(Fault::MemoryWornOut), "after {used} cycles");
    assert!(used < 60, "{used} cycles");
    let kept = bench.acknowledged().unwrap();
    assert_eq!(kept.needle_stitches[0], bench.truth.needle_stitches[0]);
    bench.reboot(Tear::Old);
    assert!(kept.at_most(&bench.settled_lifetime()));
}

/// A supply whose warning chatters at 100 Hz for a minute, as rectified mains does.
#[test]
fn a_chattering_warning_does_not_wear_the_ring_out() {
    let mut bench = Bench::fitted(3);
    for _ in 0..6_000 {
        bench.warn(Level::Active);
        bench.advance_us(5_000);
        bench.warn(Level::Inactive);
        bench.advance_us(5_000);
    }
    assert!(!bench.board.faults().contains(Fault::MemoryWornOut));
    bench.reboot(Tear::Old);
    bench.settled_lifetime();
    assert!(bench.board.faults().is_empty(), "{:?}", bench.board.faults());
}

#[test]
fn a_warning_that_stays_on_while_sewing_does_not_wear_the_ring_out() {
    let mut bench = Bench::fitted(4);
    bench.warn(Level::Active);
    for _ in 0..200 {
        bench.sew(10, STITCH_US);
        bench.trim();
    }
    assert!(!bench.board.faults().contains(Fault::MemoryWornOut));
    bench.reboot(Tear::Old);
    bench.settled_lifetime();
    assert!(bench.board.faults().is_empty(), "{:?}", bench.board.faults());
}

#[test]
fn a_board_can_be_fitted_while_the_warning_is_on() {
    let part = shaftbook_world::bus::Part::blank(Geometry::REFERENCE).unwrap();
    let mut bench = Bench::power_up(part, 5);
    bench.warn(Level::Active);
    bench.advance_us(SECOND_US);
    assert!(bench.request(Command::Fit { fitting: fitting(), reply: None }));
    bench.advance_us(5 * SECOND_US);
    let durable = bench.effects.iter().any(|e| matches!(e, Effect::LedgerDurable(_)));
    assert!(durable, "{} cycles, not durable", bench.bus.tally().cycles);
}

#[test]
fn a_part_that_is_dead_at_power_up_does_not_stop_the_counting() {
    let mut bench = Bench::fitted(6);
    bench.reboot(Tear::Old);
    bench.bus.set_answers(Answers::Nobody);
    bench.advance_us(3 * SECOND_US);
    bench.select(3);
    bench.sew(2_000, STITCH_US);
    let session = bench.board.session(bench.now());
    assert_eq!(session.needle_stitches[2], 2_000, "counted without a part");
    bench.bus.set_answers(Answers::Part);
    assert_eq!(bench.settled_lifetime().needle_stitches[2], 2_000, "added when it is back");
}

#[test]
fn a_storm_of_cuts_in_every_snapshot_leaves_a_sound_part_usable() {
    let mut bench = Bench::fitted(7);
    while bench.board.store().head().slot < 455 {
        age(&mut bench, 1);
    }
    for storm in 0..60 {
        bench.reboot(Tear::Old);
        // Until the boot record and some members of the snapshot are there.
        let cycles = bench.bus.tally().cycles;
        for _ in 0..3_000 {
            bench.advance_us(200);
            if bench.bus.tally().cycles > cycles + 8 {
                break;
            }
        }
        let worn = bench.board.faults().contains(Fault::MemoryWornOut);
        assert!(!worn, "storm {storm}: {:?}", bench.board.store().head());
    }
    bench.reboot(Tear::Old);
    bench.settled_lifetime();
    assert!(bench.board.faults().is_empty(), "{:?}", bench.board.faults());
}

fn damage_slot(bus: &mut Bus, slot: u16) {
    bus.part_mut().damage(usize::from(slot) * 64, &[0x5A; 64]);
}

/// One page a day goes bad, and the board is booted and writes in between.
#[test]
fn damage_is_noticed_and_made_good_before_the_next() {
    let fresh = Bench::fitted(8);
    let head = fresh.board.store().head().slot;
    for (first, second) in (0..head).flat_map(|a| (0..head).map(move |b| (a, b))) {
        let mut bench = fresh.clone();
        let kept = bench.acknowledged().unwrap();
        for slot in [first, second] {
            damage_slot(&mut bench.bus, slot);
            bench.reboot(Tear::Old);
            bench.advance_us(2 * SECOND_US);
        }
        let lifetime = bench.board.lifetime(bench.now());
        let floor = Counters { powered_ms: 0, ..kept }; // one record's worth may go
        assert!(
            lifetime.is_some_and(|l| floor.at_most(&l)),
            "slots {first}, {second}: {lifetime:?} {:?}",
            bench.board.faults()
        );
    }
}

#[test]
fn a_renewal_survives_the_loss_of_its_copies_one_after_the_other() {
    let mut bench = Bench::fitted(9);
    bench.sew(100, STITCH_US);
    let head = bench.board.store().head().slot;
    assert!(bench.request(Command::Renew { components: ComponentSet::only(0), reply: None }));
    bench.advance_us(SECOND_US);
    for order in [[0, 1], [1, 0]] {
        let mut bench = bench.clone();
        for copy in order {
            damage_slot(&mut bench.bus, head + copy);
            bench.reboot(Tear::Old);
            bench.advance_us(2 * SECOND_US);
        }
        let wear = bench.board.ledger().wear(0, &bench.board.lifetime(bench.now()).unwrap(), None);
        assert_eq!(wear, Some(0), "{order:?} {:?}", bench.board.faults());
    }
}

#[test]
fn a_retired_slot_is_remembered_over_a_reboot() {
    let mut bench = Bench::fitted(10);
    let slot = bench.board.store().head().slot + 1;
    bench.bus.part_mut().stick_page(usize::from(slot), Stuck::Reads(0));
    bench.advance_us(600 * SECOND_US);
    assert!(bench.board.store().retired().contains(slot));
    let stored = |e: &Effect| matches!(e, Effect::EntryDurable { event: Event::SlotRetired, .. });
    assert!(bench.effects.iter().any(stored));
    bench.reboot(Tear::Old);
    bench.advance_us(5 * SECOND_US);
    assert!(bench.board.store().retired().contains(slot), "forgotten");
}

#[test]
fn what_is_counted_after_the_warning_was_answered_is_stored_too() {
    let mut bench = Bench::fitted(11);
    bench.sew(20, STITCH_US);
    bench.warn(Level::Active);
    bench.advance_us(50_000);
    bench.sew(5, 100_000); // the shaft runs out
    bench.advance_us(100_000);
    bench.reboot(Tear::Old);
    assert_eq!(bench.settled_lifetime().needle_stitches[0], 25);
}

#[test]
fn a_pulse_before_a_needle_change_belongs_to_the_needle_before() {
    for polled_us in [0, 1_000] {
        let mut bench = Bench::fitted(12);
        bench.select(2);
        let at_us = bench.now_us() + 1_000;
        bench.run_to_us(at_us);
        bench.board.input(bench.now(), Input::Shaft(Level::Active));
        if polled_us > 0 {
            bench.advance_us(polled_us);
        }
        // Taken from the capture queue together, without a poll in between.
        let at = |us| shaftbook_core::time::Instant::from_us(at_us + us);
        bench.board.input(at(10_000), Input::NeedleCode(2));
        bench.board.input(at(33_000), Input::Shaft(Level::Inactive));
        bench.advance_us(200_000);
        let session = bench.board.session(bench.now());
        assert_eq!(session.needle_stitches[1], 1, "polled {polled_us}: {session:?}");
    }
}

/// Five neighbours fail one after the other in five laps; none of them hides newer ones.
#[test]
fn a_run_of_bad_slots_does_not_hide_the_newest_record() {
    let mut bench = Bench::fitted(13);
    let slots = 60..68_u16;
    while bench.board.store().head().slot < 120 {
        if bench.board.store().head().slot == slots.start - 2 {
            for slot in slots.clone() {
                bench.bus.part_mut().stick_page(usize::from(slot), Stuck::Reads(0xFF));
            }
        }
        bench.advance_us(61 * SECOND_US);
    }
    // Wherever the newest record is after the run, it is found.
    while bench.board.store().head().slot < 200 {
        bench.advance_us(61 * SECOND_US);
        let kept = bench.acknowledged().unwrap();
        let mut again = bench.clone();
        again.reboot(Tear::Old);
        let lifetime = again.settled_lifetime();
        assert!(kept.at_most(&lifetime), "head {:?}", bench.board.store().head());
    }
}

#[test]
fn a_baseline_is_the_same_before_and_after_a_reboot() {
    let mut bench = Bench::fitted(14);
    for n in 0..30 {
        bench.sew(7, 15_000);
        let set = ComponentSet(0b1001);
        if bench.request(Command::Renew { components: set, reply: None }) {
            bench.sew(9, 15_000);
        }
        bench.advance_us(SECOND_US);
        let before: Vec<u64> = bench.board.ledger().components.iter().map(|c| c.baseline).collect();
        let mut again = bench.clone();
        again.reboot(Tear::Old);
        again.advance_us(SECOND_US);
        let after: Vec<u64> = again.board.ledger().components.iter().map(|c| c.baseline).collect();
        assert_eq!(before, after, "entry {n}");
    }
}

#[test]
fn a_warning_is_answered_although_the_part_has_just_been_away() {
    let mut bench = Bench::fitted(15);
    bench.sew(100, STITCH_US);
    bench.bus.set_answers(held());
    bench.sew(200, STITCH_US);
    bench.bus.set_answers(Answers::Part);
    let stitches = bench.truth.needle_stitches[0];
    bench.warn(Level::Active);
    bench.advance_us(50_000);
    bench.reboot(Tear::Old);
    assert_eq!(bench.settled_lifetime().needle_stitches[0], stitches);
}

#[test]
fn a_part_smaller_than_believed_is_named_at_fitting() {
    let small = Geometry { size_bytes: 8_192, page_bytes: 64 };
    let mut bench = Bench::power_up(shaftbook_world::bus::Part::blank(small).unwrap(), 16);
    bench.wired = shaftbook_drivers::memory::WiredPart::REFERENCE;
    bench.advance_us(SECOND_US);
    let _ = bench.request(Command::Fit { fitting: fitting(), reply: None });
    age(&mut bench, 300);
    let told = !bench.board.faults().is_empty();
    let kept = bench.acknowledged();
    bench.reboot(Tear::Old);
    bench.advance_us(5 * SECOND_US);
    let lifetime = bench.board.lifetime(bench.now());
    let lost = kept.is_some_and(|k| lifetime.is_none_or(|l| !k.at_most(&l)));
    assert!(told || !lost, "lost without a word: {kept:?} {:?}", bench.board.faults());
}

#[test]
fn a_right_reply_ends_the_wait() {
    let mut bench = Bench::fitted(17);
    let measure = Measure::Trims;
    assert_eq!(bench.board.ledger().components[1].component.measure, measure);
    for _ in 0..2 {
        let right = bench.right_reply(Authorised::Service);
        let wrong = shaftbook_core::authority::EightDigits::new((right.get() + 1) % 100_000_000);
        assert!(bench.request(Command::Service { reply: wrong }));
        bench.advance_us(SECOND_US);
    }
    let reply = bench.right_reply(Authorised::Service);
    assert!(bench.request(Command::Service { reply: Some(reply) }));
    bench.advance_us(SECOND_US);
    assert_eq!(bench.board.ledger().services, 1);
    let reply = Some(bench.right_reply(Authorised::Renew(ComponentSet::only(1))));
    let knife = Command::Renew { components: ComponentSet::only(1), reply };
    assert_eq!(bench.board.request(bench.now(), knife), Ok(()));
}
