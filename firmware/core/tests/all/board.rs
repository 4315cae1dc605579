//! The board on a memory part that is a plain array: what it counts, keeps and
//! recovers. The bus, the driver and the fault model are tested in `host-sim` and
//! `tests/`.

use crate::support::{Bench, Plain, fitting};
use shaftbook_core::authority;
use shaftbook_core::board::{Command, Effect};
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::{ComponentSet, Event};
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::{Authorised, Refusal};

#[test]
fn a_blank_part_is_named_and_counting_goes_on_until_it_is_fitted() {
    let mut bench = Bench::power_up(Plain::new(Geometry::REFERENCE));
    assert!(bench.effects.contains(&Effect::FaultRaised(Fault::NotFitted)));
    bench.sew(3, 50, 66_667);
    assert_eq!(bench.board.lifetime(bench.now), None);
    assert_eq!(bench.board.session(bench.now).needle_stitches[2], 50);
    bench.board.request(bench.now, Command::Fit { fitting: fitting(), reply: None }).unwrap();
    bench.settle();
    assert_eq!(bench.lifetime().needle_stitches[2], 50);
    let again = bench.cut();
    assert_eq!(again.lifetime().needle_stitches[2], 50);
    assert_eq!(again.lifetime().power_ups, 2);
    assert_eq!(again.board.ledger().carried_in.hours, 1_234);
}

#[test]
fn counts_survive_cuts_over_several_laps_of_the_ring() {
    let mut bench = Bench::fitted();
    let mut sewn = 0;
    for round in 0..40 {
        for needle in 1..=15 {
            bench.sew(needle, 150, 66_667);
            sewn += 150;
        }
        // A checkpoint is at most 10 s of running (150 stitches) behind.
        let before = bench.lifetime();
        bench = bench.cut();
        let after = bench.lifetime();
        assert!(after.stitches() <= sewn && after.stitches() + 151 >= sewn, "round {round}");
        assert!(after.at_most(&Counters { power_ups: before.power_ups + 1, ..before }));
        assert!(!bench.board.store().scanned(), "round {round}");
        sewn = after.stitches();
    }
    assert!(bench.board.store().head().lap.get() >= 2, "{:?}", bench.board.store().head());
}

/// A stitch, then the warning comes and goes, and all is answered that is answered at once.
fn dip(bench: &mut Bench) {
    bench.board.input(bench.now, Input::Shaft(Level::Active));
    bench.now = bench.now.plus_us(40_000);
    bench.board.input(bench.now, Input::Shaft(Level::Inactive));
    bench.board.input(bench.now, Input::PowerFail(Level::Active));
    bench.poll();
    bench.now = bench.now.plus_us(40_000);
    bench.poll();
    assert_eq!(bench.board.saved().stitches(), bench.lifetime().stitches());
    bench.board.input(bench.now, Input::PowerFail(Level::Inactive));
    bench.poll();
}

#[test]
fn after_a_calm_while_in_which_nothing_was_due_eight_warnings_are_answered_at_once_again() {
    let mut bench = Bench::fitted();
    bench.sew(1, 1, 66_667);
    for _ in 0..2 {
        (0..8).for_each(|_| dip(&mut bench));
        // Nothing wants a poll in this time.
        bench.now = bench.now.plus_us(11_000_000);
    }
}

#[test]
fn a_warning_makes_everything_durable() {
    let mut bench = Bench::fitted();
    bench.sew(4, 77, 66_667);
    bench.board.input(bench.now, Input::PowerFail(Level::Active));
    bench.settle();
    let before = bench.lifetime();
    let after = bench.cut().lifetime();
    assert_eq!(after.needle_stitches[3], 77);
    assert_eq!(after.running_ms, before.running_ms);
}

#[test]
fn a_renewal_and_a_service_are_kept() {
    let mut bench = Bench::fitted();
    bench.sew(1, 200, 66_667);
    let needle = ComponentSet::only(0);
    bench.board.request(bench.now, Command::Renew { components: needle, reply: None }).unwrap();
    bench.settle();
    bench.sew(1, 30, 66_667);
    let knife = ComponentSet::only(1);
    let refused = bench.board.request(bench.now, Command::Renew { components: knife, reply: None });
    assert_eq!(refused, Err(Refusal::NeedsAuthority));
    bench.settle();
    bench.board.input(bench.now, Input::PowerFail(Level::Active));
    bench.settle();
    let mut bench = bench.cut();
    assert_eq!(bench.board.ledger().wear(0, &bench.lifetime(), None), Some(30));
    assert_eq!(bench.lifetime().needle_stitches[0], 230);

    let interval_before = bench.board.ledger().interval_ms(&bench.lifetime());
    assert!(interval_before > 13_000);
    let refused = bench.board.request(bench.now, Command::Service { reply: None });
    assert_eq!(refused, Err(Refusal::NeedsAuthority));
    let reply = bench.reply(Authorised::Service);
    bench.board.request(bench.now, Command::Service { reply: Some(reply) }).unwrap();
    bench.settle();
    assert_eq!(bench.board.ledger().services, 1);
    assert_eq!(bench.board.ledger().tries, 0);
    let bench = bench.cut();
    assert_eq!(bench.board.ledger().services, 1);
    assert!(bench.board.ledger().interval_ms(&bench.lifetime()) < 1_000);
    let events: Vec<Event> = bench.board.ledger().history.iter().map(|line| line.event).collect();
    assert_eq!(events, [Event::Renewed, Event::ReplyTried, Event::Served]);
}

#[test]
fn wrong_and_used_replies_are_refused_and_the_wait_survives_a_cut() {
    let mut bench = Bench::fitted();
    for _ in 0..3 {
        let right = bench.reply(Authorised::Service);
        let wrong = authority::EightDigits::new((right.get() + 1) % 100_000_000);
        bench.board.request(bench.now, Command::Service { reply: wrong }).unwrap();
        bench.settle();
        assert_eq!(bench.effects.last(), Some(&Effect::ReplyRefused));
        let used = bench.board.request(bench.now, Command::Service { reply: Some(right) });
        assert!(matches!(used, Err(Refusal::NoChallenge | Refusal::Wait { .. })), "{used:?}");
    }
    let mut bench = bench.cut();
    assert_eq!(bench.board.ledger().tries, 3);
    let right = bench.reply(Authorised::Service);
    let early = bench.board.request(bench.now, Command::Service { reply: Some(right) });
    assert!(matches!(early, Err(Refusal::Wait { seconds: 29..=30 })), "{early:?}");
    bench.now = bench.now.plus_us(31_000_000);
    let right = bench.reply(Authorised::Service);
    bench.board.request(bench.now, Command::Service { reply: Some(right) }).unwrap();
    bench.settle();
    assert_eq!(bench.board.ledger().services, 1);
}

#[test]
fn many_entries_force_snapshots_and_none_is_lost() {
    let mut bench = Bench::fitted();
    for n in 1..=100_u64 {
        bench.sew(1, n % 7 + 1, 66_667);
        let needle = ComponentSet::only(0);
        bench.board.request(bench.now, Command::Renew { components: needle, reply: None }).unwrap();
        bench.settle();
        if n % 3 == 0 {
            bench = bench.cut();
        }
        assert_eq!(bench.board.ledger().wear(0, &bench.lifetime(), None), Some(0), "entry {n}");
        assert_eq!(u64::from(bench.board.ledger().next_entry.get()), n);
    }
    let numbers: Vec<u32> =
        bench.board.ledger().history.iter().map(|line| line.number.get()).collect();
    assert_eq!(numbers, (84..100).collect::<Vec<_>>());
}

#[test]
fn all_supported_shapes_count_and_recover() {
    for size_kib in [8, 16, 32, 64] {
        for page_bytes in [16, 32, 64, 128, 256] {
            let geometry = Geometry { size_bytes: size_kib * 1_024, page_bytes };
            if !geometry.is_supported() {
                assert_eq!((size_kib, page_bytes), (8, 256));
                continue;
            }
            let mut bench = Bench::power_up(Plain::new(geometry));
            bench
                .board
                .request(bench.now, Command::Fit { fitting: fitting(), reply: None })
                .unwrap();
            bench.settle();
            let mut truth = 0;
            for round in 0..12_u64 {
                for needle in 1..=15 {
                    bench.sew(needle, 160, 66_667);
                    truth += 160;
                }
                bench.board.input(bench.now, Input::PowerFail(Level::Active));
                bench.settle();
                bench = bench.cut();
                assert!(bench.board.faults().is_empty());
                assert_eq!(bench.lifetime().stitches(), truth, "{geometry:?} round {round}");
            }
        }
    }
}

/// A record that took long to get onto the part holds what was counted when it was begun: the
/// next one is due one interval after that, not after it was told to be stored.
#[test]
fn the_limit_at_a_standstill_counts_from_what_is_durable() {
    let mut bench = Bench::fitted();
    let durable = |effects: &[Effect]| {
        effects.iter().rev().find_map(|effect| match effect {
            Effect::CheckpointDurable(counters) => Some(counters.powered_ms),
            _ => None,
        })
    };
    // Until a checkpoint is under way; then the part is away for 0.4 s.
    let before = durable(&bench.effects);
    let writes = bench.part.programs.iter().sum::<u32>();
    while bench.part.programs.iter().sum::<u32>() == writes {
        bench.now = bench.now.max(bench.board.deadline());
        bench.board.poll(bench.now, &mut bench.part);
    }
    bench.now = bench.now.plus_us(400_000);
    bench.poll();
    let stored_ms = durable(&bench.effects).filter(|ms| Some(*ms) != before).expect("stored");
    let power_up_ms = bench.board.past().map_or(0, |past| past.powered_ms);
    let next_us = bench.board.deadline().as_us();
    assert!(next_us <= (stored_ms - power_up_ms + 60_000) * 1_000, "{next_us} after {stored_ms}");
}

#[test]
fn a_shaft_signal_that_comes_too_soon_is_named() {
    let mut bench = Bench::fitted();
    bench.sew(1, 40, 12_000);
    bench.now = bench.now.max(bench.board.deadline());
    bench.settle();
    assert!(bench.board.faults().contains(Fault::ShaftGlitches));
    assert!(bench.effects.contains(&Effect::FaultRaised(Fault::ShaftGlitches)));
}
