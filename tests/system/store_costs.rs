//! What storing and booting cost, pinned: pages and bytes programmed, bytes read, bus time,
//! wear. The bus model counts these figures at 400 kHz; nothing is timed.

use shaftbook_core::board::{Command, Effect};
use shaftbook_core::component::{COMPONENTS_MAX, Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::Needle;
use shaftbook_core::input::Level;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::Authorised;
use shaftbook_world::bus::{Bus, BusTally, Part, Tear, Timing};
use system_tests::bench::{Bench, fitting};

const STITCH_US: u64 = 66_667; // 900 stitches a minute
const SECOND_US: u64 = 1_000_000;

fn since(now: BusTally, before: BusTally) -> BusTally {
    BusTally {
        transactions: now.transactions - before.transactions,
        refused: now.refused - before.refused,
        bytes: now.bytes - before.bytes,
        bytes_read: now.bytes_read - before.bytes_read,
        bytes_written: now.bytes_written - before.bytes_written,
        cycles: now.cycles - before.cycles,
        bytes_programmed: now.bytes_programmed - before.bytes_programmed,
        bus_ns: now.bus_ns - before.bus_ns,
    }
}

/// The fitting with as many components as a profile can hold.
fn full_fitting() -> shaftbook_core::board::Fitting {
    let mut full = fitting();
    while full.components.len() < COMPONENTS_MAX {
        let place = full.components.len() as u8;
        let needle = Needle::new(place % 16 + 1).unwrap();
        let component = Component {
            kind: ComponentKind(place),
            measure: Measure::NeedleStitches(needle),
            renewed_by: Role::Operator,
            with_service: true,
            notice: 1,
            due: 2,
        };
        full.components.push(component).unwrap();
    }
    full
}

#[test]
fn a_checkpoint_programs_one_page_and_reads_it_back_once() {
    let mut bench = Bench::fitted(1);
    let before = bench.bus.tally();
    bench.sew(160, STITCH_US); // a little over 10 s
    let cost = since(bench.bus.tally(), before);
    assert_eq!(bench.board.saved().needle_stitches[0], 149, "one checkpoint, before 10 s are over");
    assert_eq!((cost.cycles, cost.bytes_programmed), (1, 64));
    assert_eq!(
        cost.bytes_written,
        66 + 2,
        "one write of 64 bytes, one read-back, no other address"
    );
    let polls = cost.transactions - cost.refused - 2;
    assert_eq!(cost.bytes_read, 64 + polls, "the read-back, and one byte from the poll that ends");
    assert_eq!(polls, 1);
}

#[test]
fn a_renewal_programs_two_pages_and_a_service_with_its_reply_four() {
    let mut bench = Bench::fitted(2);
    let before = bench.bus.tally();
    assert!(bench.request(Command::Renew { components: ComponentSet::only(0), reply: None }));
    bench.advance_us(SECOND_US);
    let cost = since(bench.bus.tally(), before);
    assert_eq!((cost.cycles, cost.bytes_programmed), (2, 128));

    let before = bench.bus.tally();
    let reply = Some(bench.right_reply(Authorised::Service));
    assert!(bench.request(Command::Service { reply }));
    bench.advance_us(SECOND_US);
    let cost = since(bench.bus.tally(), before);
    assert_eq!(bench.board.ledger().services, 1);
    assert_eq!((cost.cycles, cost.bytes_programmed), (4, 256), "the try and the service");
}

#[test]
fn a_snapshot_programs_its_members_a_parity_and_two_commits() {
    for (fitting, members) in [(fitting(), 7), (full_fitting(), 16)] {
        let part = Part::blank(Geometry::REFERENCE).unwrap();
        let mut bench = Bench::power_up(part, 3);
        bench.advance_us(SECOND_US);
        let before = bench.bus.tally();
        assert!(bench.request(Command::Fit { fitting, reply: None }));
        bench.advance_us(SECOND_US);
        let cost = since(bench.bus.tally(), before);
        // The first snapshot of a part is committed three times.
        assert_eq!(cost.cycles, members + 1 + 3);
        assert_eq!(cost.bytes_programmed, 64 * cost.cycles);
    }
}

/// A healthy part that has been round the ring, at its worst: a full profile, a full
/// history, and the longest journal since the snapshot.
#[test]
fn a_healthy_boot_knows_its_lifetime_in_26_ms_and_everything_in_100_ms() {
    let mut bench = Bench::fitted_on(Geometry::REFERENCE, full_fitting(), 4);
    let (mut worst_lifetime_ns, mut worst_ready_ns, mut worst) = (0, 0, BusTally::default());
    for round in 0..700 {
        bench.advance_us(61 * SECOND_US);
        if round % 5 == 0 {
            let components = ComponentSet::only(round / 5 % 32);
            bench.request(Command::Renew { components, reply: None });
            bench.advance_us(SECOND_US);
        }
        if round % 7 != 0 {
            continue;
        }
        let mut boot = bench.clone();
        boot.reboot(Tear::Old);
        let before = boot.bus.tally();
        let mut lifetime_ns = None;
        while !boot.board.is_ready() {
            boot.poll();
            if boot.board.past().is_some() && lifetime_ns.is_none() {
                lifetime_ns = Some(since(boot.bus.tally(), before).bus_ns);
            }
        }
        let cost = since(boot.bus.tally(), before);
        assert!(!boot.board.store().scanned());
        worst_lifetime_ns = worst_lifetime_ns.max(lifetime_ns.unwrap());
        if cost.bus_ns > worst_ready_ns {
            (worst_ready_ns, worst) = (cost.bus_ns, cost);
        }
    }
    assert!(bench.board.store().head().lap.get() >= 2, "was round the ring");
    println!(
        "lifetime after at most {} us of bus time, everything after {} us and {} bytes read",
        worst_lifetime_ns / 1_000,
        worst_ready_ns / 1_000,
        worst.bytes_read
    );
    assert!(worst_lifetime_ns <= 26_000_000, "{worst_lifetime_ns} ns");
    assert!(worst_ready_ns <= 100_000_000, "{worst_ready_ns} ns");
}

/// Runs on until the next page program is under way, then goes back 3 ms before it.
fn just_before_next_program(bench: &Bench) -> Bench {
    let mut ahead = bench.clone();
    let cycles = ahead.bus.tally().cycles;
    while ahead.bus.tally().cycles == cycles {
        ahead.advance_us(500);
    }
    let mut before = bench.clone();
    before.run_to_us(ahead.now_us() - 3_000);
    assert_eq!(before.bus.tally().cycles, cycles);
    before
}

/// The warning may come at any phase of a checkpoint, an entry or a snapshot.
#[test]
fn a_warning_is_durable_within_20_ms_whatever_is_under_way() {
    let mut idle = Bench::fitted(5);
    idle.sew(30, STITCH_US);
    let checkpoint = just_before_next_program(&idle);
    let mut entry = idle.clone();
    assert!(entry.request(Command::Renew { components: ComponentSet::only(0), reply: None }));
    let mut snapshot = idle.clone();
    loop {
        let mut ahead = snapshot.clone();
        ahead.advance_us(61 * SECOND_US);
        if ahead.bus.tally().cycles > snapshot.bus.tally().cycles + 8 {
            break;
        }
        snapshot = ahead;
    }
    let snapshot = just_before_next_program(&snapshot);
    let mut worst_us = [0; 3];
    for (n, (from, span_us, programs)) in
        vec![(checkpoint, 100, 1), (entry, 100, 2), (snapshot, 500, 11)].into_iter().enumerate()
    {
        let mut undisturbed = from.clone();
        undisturbed.advance_us(400 * span_us);
        let reached = undisturbed.bus.tally().cycles - from.bus.tally().cycles;
        assert_eq!(reached, programs, "case {n}: the phases reach over all of it");
        for phase in 0..400 {
            let mut bench = from.clone();
            bench.advance_us(phase * span_us);
            let (warned_us, seen) = (bench.now_us(), bench.effects.len());
            let powered_ms = bench.board.lifetime(bench.now()).unwrap().powered_ms;
            let stitches = bench.true_session().stitches();
            bench.warn(Level::Active);
            let durable = |e: &Effect| {
                matches!(e, Effect::CheckpointDurable(c) | Effect::LedgerDurable(c)
                    if c.powered_ms >= powered_ms && c.stitches() == stitches)
            };
            while !bench.effects[seen..].iter().any(durable) {
                assert!(bench.now_us() < warned_us + 100_000, "case {n} phase {phase}");
                bench.advance_us(100);
            }
            worst_us[n] = worst_us[n].max(bench.now_us() - warned_us);
        }
    }
    println!("durable at the latest after {worst_us:?} us (checkpoint, entry, snapshot)");
    assert!(worst_us.into_iter().all(|us| us <= 20_000), "{worst_us:?}");
}

/// Workload W: 40 h of sewing at 900 stitches a minute, 16 needles, 199 reboots.
/// Stitches are fed as they come; the board checkpoints by its own rule.
#[test]
fn workload_w_wears_the_part_evenly_and_little() {
    let mut settings = fitting();
    settings.settings.needles = 16;
    let mut bench = Bench::fitted_on(Geometry::REFERENCE, settings, 6);
    let worn = bench.bus.part().wear().cycles();
    let mut checkpoints = 0_u64;
    for session in 0..200_u64 {
        // 12 min of sewing a session: 18 colours of 40 s.
        for colour in 0..18 {
            bench.select(((session + colour) % 16 + 1) as u8);
            bench.sew(600, STITCH_US);
        }
        checkpoints += bench
            .effects
            .iter()
            .filter(|e| matches!(e, Effect::CheckpointDurable(_) | Effect::LedgerDurable(_)))
            .count() as u64;
        if session < 199 {
            bench.reboot(Tear::Old);
            bench.advance_us(SECOND_US);
        }
    }
    let wear = bench.bus.part().wear();
    let cycles = wear.cycles() - worn;
    let hours = 40.0;
    let life_years = 1_000_000.0 / (f64::from(wear.hottest_page_cycles()) / hours * 2_000.0);
    let mean = cycles as f64 / 512.0;
    println!(
        "{checkpoints} checkpoints, {cycles} page programs ({:.3} each), hottest {} mean {mean:.2} \
         (ratio {:.3}), life {life_years:.0} years",
        cycles as f64 / checkpoints as f64,
        wear.hottest_page_cycles(),
        wear.hottest_over_mean(0..512),
    );
    assert!(cycles as f64 <= 1.1 * 14_400.0, "{cycles}");
    assert!(cycles as f64 <= 1.1 * checkpoints as f64);
    assert!(wear.hottest_over_mean(0..512) <= 1.05, "{}", wear.hottest_over_mean(0..512));
    assert!(life_years >= 600.0, "{life_years}");
}

/// The bus model's own arithmetic, so that the figures above stand on something: a
/// 64-byte read is 2 + 1 + 64 bytes after the first address byte.
#[test]
fn bus_time_is_counted_as_on_paper() {
    let part = Part::blank(Geometry::REFERENCE).unwrap();
    let mut bus = Bus::new(part, Timing::FAST_MODE, 1);
    let mut medium = shaftbook_drivers::memory::Eeprom::new(
        &mut bus,
        shaftbook_drivers::memory::WiredPart::REFERENCE,
    );
    let mut bytes = [0; 64];
    shaftbook_core::medium::Medium::read(&mut medium, 0, &mut bytes).unwrap();
    // 68 bytes of 22.5 us, two starts of 2.5 us, one stop of 5 us.
    assert_eq!(bus.tally().bus_ns, 68 * 22_500 + 2 * 2_500 + 5_000);
    assert_eq!((bus.tally().bytes, bus.tally().bytes_read), (68, 64));
}
