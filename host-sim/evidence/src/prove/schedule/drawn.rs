//! A cut at a drawn moment, in the middle of whatever the board is doing, with a power-fail
//! warning and its hold-up or without, and what it may cost.

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::counters::Counters;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::turn::Next;
use shaftbook_drivers::memory::WiredPart;

use crate::prove::Run;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::parts;
use shaftbook_world::bench::session::wired_to;
use shaftbook_world::bench::{Bench, Meant, Recovered, any_needle};
use shaftbook_world::bus::Tear;
use shaftbook_world::judge::{Bounds, answer_us, is_durable};

/// Cuts the supply at a drawn moment and powers up again; two cases of `run`, or one without
/// a warning.
pub fn cut<D: Device>(run: &mut Run, bench: &mut Bench<D>, rng: &mut Pcg32, is_warned: bool) {
    if is_warned && rng.next_u32().is_multiple_of(4) {
        a_dip(bench, rng);
    }
    in_the_middle(bench, rng);
    let mut warned_us = bench.now_us;
    if is_warned {
        warned_us = bench.warn_in_turn(rng.next_u32());
    }
    let truth = bench.truth_at(warned_us);
    if is_warned {
        answered(run, bench, &truth, warned_us);
    }
    let tear = Tear::draw(rng.next_u64(), bench.bus.part().geometry().page_bytes);
    let mut image = Vec::new();
    bench.cut_image(tear, &mut image);
    let wired = wired_to(&bench.bus).unwrap_or(WiredPart::REFERENCE);
    let past = Recovered::<D>::from_image_of(wired, image, run.seed).past().unwrap_or_default();
    let lost = truth.since(&past);
    let name = if is_warned { "lost with hold-up, stitches:" } else { "without, stitches:" };
    run.figure(name, lost.stitches() as f64);
    if !is_warned {
        run.figure("running s:", lost.running_ms as f64 / 1_000.0);
        run.figure("trims:", lost.trims as f64);
        run.figure("powered s:", lost.powered_ms as f64 / 1_000.0);
    }
    run.case(|| {
        if is_warned && !is_durable(&truth, &past) {
            return Err(format!("{}lost with hold-up: {lost:?}", parts::named(wired)));
        }
        // Trims and running time each have their own bound; power-up time is held
        // to that of standstill.
        if !Bounds::PROMISED.hold(&lost) {
            return Err(format!("{}lost without hold-up: {lost:?}", parts::named(wired)));
        }
        Ok(())
    });
    bench.cut_and_power_up(tear);
}

/// Somewhere in the middle of whatever the board is doing, half of the time a renewal (two
/// program cycles, and now and then a snapshot after it).
fn in_the_middle<D: Device>(bench: &mut Bench<D>, rng: &mut Pcg32) {
    if rng.next_u32().is_multiple_of(2) {
        let components = ComponentSet(1 << (rng.next_u32() % 15));
        let _ = bench.ask(Command::Renew { components, reply: None });
    }
    let turns_max = if rng.next_u32().is_multiple_of(8) { 200 } else { 20 };
    for _ in 0..rng.next_u32() % turns_max {
        bench.turn(bench.now_us + 1_000, &mut |_| {});
    }
}

/// The supply dips, warns and comes back; the machine sews on.
fn a_dip<D: Device>(bench: &mut Bench<D>, rng: &mut Pcg32) {
    bench.warn();
    bench.pass_to(bench.now_us + 200_000, &mut |_| {});
    bench.feed(bench.now(), Input::PowerFail(Level::Inactive), Meant::Nothing);
    bench.sew(any_needle(rng), 20 + u64::from(rng.next_u32() % 20), 120_000, &mut |_| {});
}

/// The warning that came at `warned_us`, when `truth` had happened, is answered in time.
fn answered<D: Device>(run: &mut Run, bench: &mut Bench<D>, truth: &Counters, warned_us: u64) {
    let (durable_us, steps) = wait_for_answer(bench, truth);
    let took_ms = durable_us.map(|us| (us - warned_us) as f64 / 1_000.0);
    if let Some(took_ms) = took_ms {
        let name = if bench.bus.part().geometry().page_bytes < 64 {
            "on short pages, ms:"
        } else if bench.has_screen() {
            "warning to durable beside a redrawn display, ms:"
        } else {
            "warning to durable, ms:"
        };
        run.figure(name, took_ms);
    }
    let most_ms = answer_us(bench.bus.part().geometry().page_bytes) as f64 / 1_000.0;
    run.case(|| match took_ms {
        _ if steps > 0 => Err(format!("{steps} steps of the panel before the answer")),
        Some(took_ms) if took_ms <= most_ms => Ok(()),
        Some(took_ms) => Err(format!("{took_ms} ms from the warning to durable")),
        None => Err("not all is durable 100 ms after the warning".into()),
    });
}

/// Runs the main loop after a warning: when all of `truth` was durable, µs, and how many
/// steps of the panel were done until then.
pub fn wait_for_answer<D: Device>(bench: &mut Bench<D>, truth: &Counters) -> (Option<u64>, u32) {
    let (mut durable_us, mut steps) = (None, 0);
    for _ in 0..300 {
        let polled = bench.poll_once(&mut |_| {});
        if durable_us.is_none() && is_durable(truth, &bench.acknowledged) {
            durable_us = Some(bench.now_us);
            if bench.has_screen() {
                break;
            }
        }
        match bench.next(polled) {
            Next::Poll => {}
            Next::Step => {
                steps += 1;
                bench.step();
            }
            Next::Sleep(deadline) if deadline.as_us() > bench.now_us + 100_000 => break,
            Next::Sleep(deadline) => bench.now_us = deadline.as_us(),
        }
    }
    (durable_us, steps)
}
