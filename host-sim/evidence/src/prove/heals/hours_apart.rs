//! Part of proof 13: what a board that stays powered for hours must take back or keep. Two
//! troubles that have nothing to do with each other do not add up, and of slots that fail none
//! is forgotten, however many fail in a row.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::{Command, Effect};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::serial::Lap;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::{Bench, any_needle};
use shaftbook_world::bus::{Answers, Stuck, Tear};
use shaftbook_world::judge::{answer_us, is_durable};

/// Between two troubles, s.
const HOURS_S: (u32, u32) = (1_800, 9_000);
/// Failures in a row of which nobody is told: one less than are.
const FAILURES_UNTOLD: u64 = 3;
/// Neighbours that fail in one go: more than there is room for their notes.
const NEIGHBOURS: u16 = 6;
/// Slots of the reference part.
const SLOTS: u16 = 512;

fn a_board<R: UnderTest>(rng: &mut Pcg32) -> Bench<Core<R>> {
    let lap = Lap::new(rng.next_u32() % 1_000);
    let mut bench: Bench<Core<R>> = Bench::fitted(rng.next_u64(), lap);
    for _ in 0..rng.next_u32() % 40 {
        bench.sew(any_needle(rng), 6, 1_999_000, &mut |_| {});
    }
    bench.rest(&mut |_| {});
    bench.effects.clear();
    bench
}

/// Hours without trouble, in which it is sewn now and then.
fn hours<R: UnderTest>(bench: &mut Bench<Core<R>>, rng: &mut Pcg32) {
    let span_s = HOURS_S.0 + rng.next_u32() % (HOURS_S.1 - HOURS_S.0);
    let pieces = 1 + rng.next_u32() % 4;
    for _ in 0..pieces {
        let until_us = bench.now_us + u64::from(span_s / pieces) * 1_000_000;
        bench.pass_to(until_us, &mut |_| {});
        bench.sew(any_needle(rng), 1 + u64::from(rng.next_u32() % 5), 400_000, &mut |_| {});
    }
    bench.rest(&mut |_| {});
}

/// The part refuses a few transactions while something is written, and answers again.
fn refuses<R: UnderTest>(bench: &mut Bench<Core<R>>, failures: u64) -> Result<(), String> {
    let set = ComponentSet::only(0);
    bench.ask(Command::Renew { components: set, reply: None }).ok_or("a renewal is refused")?;
    let before = bench.bus.tally().refused;
    bench.bus.set_answers(Answers::Nobody);
    for _ in 0..1_000 {
        if bench.bus.tally().refused >= before + failures {
            bench.bus.set_answers(Answers::Part);
            bench.rest(&mut |_| {});
            return Ok(());
        }
        let polled = bench.poll_once(&mut |_| {});
        if polled.effect.is_none() {
            bench.now_us = bench.now_us.max(polled.deadline.as_us());
        }
    }
    Err("a part that does not answer is not asked".into())
}

/// Now and then, hours apart, the part does not answer for a moment: nobody is told of a fault.
///
/// # Errors
/// What was seen that may not be.
pub fn refusals<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut bench = a_board::<R>(&mut rng);
    for time in 0..3 {
        let failures = 1 + u64::from(rng.next_u32()) % FAILURES_UNTOLD;
        refuses(&mut bench, if time == 0 { FAILURES_UNTOLD } else { failures })?;
        let raised = bench.effects.iter().find(|it| matches!(it, Effect::FaultRaised(_)));
        if let Some(raised) = raised {
            return Err(format!("a part that refused for a moment, time {time}: {raised:?}"));
        }
        hours(&mut bench, &mut rng);
    }
    Ok(())
}

/// Slot after slot fails, hours apart; with the last one comes a warning, and its answer is as
/// quick as if none had failed before.
///
/// # Errors
/// What was seen that may not be.
pub fn slots_fail<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut bench = a_board::<R>(&mut rng);
    for _ in 0..2 {
        let head = bench.board().store().head().slot;
        bench.bus.part_mut().stick_page(head.into(), Stuck::KeepsOld);
        bench.sew(any_needle(&mut rng), 6, 1_999_000, &mut |_| {});
        bench.rest(&mut |_| {});
        if !bench.board().store().retired().contains(head) {
            return Err(format!("slot {head} failed and is not retired"));
        }
        hours(&mut bench, &mut rng);
    }
    bench.sew(any_needle(&mut rng), 2, 400_000, &mut |_| {});
    let head = bench.board().store().head().slot;
    bench.bus.part_mut().stick_page(head.into(), Stuck::Reads(0xA5));
    let (warned_us, truth) = (bench.now_us, bench.truth());
    bench.warn();
    // The slot that fails costs one more record.
    bench.pass_to(warned_us + 2 * answer_us(64), &mut |_| {});
    if is_durable(&truth, &bench.acknowledged) {
        return Ok(());
    }
    let missing = truth.since(&bench.acknowledged);
    Err(format!("a slot failed at a warning, hours after others: {missing:?} is not durable"))
}

/// Neighbours fail in one go, more than there is room for notes of: after a cut all are known.
///
/// # Errors
/// What was seen that may not be.
pub fn neighbours_fail<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut bench = a_board::<R>(&mut rng);
    let head = bench.board().store().head().slot;
    let count = 1 + rng.next_u32() as u16 % NEIGHBOURS;
    let failing: Vec<u16> = (0..count).map(|ahead| (head + ahead) % SLOTS).collect();
    for slot in &failing {
        bench.bus.part_mut().stick_page(usize::from(*slot), Stuck::KeepsOld);
    }
    bench.sew(any_needle(&mut rng), 6, 1_999_000, &mut |_| {});
    bench.pass_to(bench.now_us + 20_000_000, &mut |_| {});
    bench.rest(&mut |_| {});
    let mut again = bench.powered_again(Tear::Old);
    if !again.rest(&mut |_| {}) {
        return Err("the board does not come to rest".into());
    }
    let remembered: Vec<u16> = again.board().store().retired().iter().collect();
    match failing.iter().find(|slot| !remembered.contains(slot)) {
        None => Ok(()),
        Some(slot) => Err(format!("{count} slots from {head} on failed; {slot} is forgotten")),
    }
}
