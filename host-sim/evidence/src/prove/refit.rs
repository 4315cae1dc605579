//! Proof 12: a fitted machine is fitted anew with another profile. A component that was there
//! before, of the same kind and by the same measure, keeps its baseline, whatever else of it was
//! changed and wherever it stands now; any other begins at the truth of that moment. Lifetime,
//! services, service interval and journal stay. A cut leaves the old fitting or the new one.
//!
//! What a setting may be is in `ranges`.
//!
//! The fitting is made by the bare core, as on the engineer's bench; the device reads it.

mod ranges;

use heapless::Vec;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::authority::Key;
use shaftbook_core::board::{Command, Fitting};
use shaftbook_core::component::{COMPONENTS_MAX, Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::Counters;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::ledger::{CarriedIn, Ledger};
use shaftbook_core::serial::Lap;
use shaftbook_core::service::Authorised;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::{Bench, OPERATORS, any_needle, fitting};
use shaftbook_world::bus::Tear;

use super::Run;

/// Refits of a run.
const REFITS: u32 = 6;
/// Longest from a right reply to a fitting that is durable, µs: a try and a snapshot are
/// written.
const LONGEST_US: u64 = 1_000_000;

/// Proof 12.
pub fn refit_keeps<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let run_seed = run.seed;
    let mut bench: Bench<Core<D::Rules>> = Bench::fitted(run.seed, Lap::new(1));
    run.case(|| ranges::taken::<D::Rules>(run_seed));
    for _ in 0..REFITS {
        let seed = rng.next_u64();
        run.case(|| refit::<D>(&mut bench, seed));
        if run.is_over() {
            return;
        }
    }
}

/// Lives a while, is fitted anew, and is cut, before or after all of it is durable.
fn refit<D: Device>(bench: &mut Bench<Core<D::Rules>>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    // A try whose cut came before it was judged stays on record.
    let wait_s = bench.board().reply_wait_s(bench.now());
    bench.pass_to(bench.now_us + u64::from(wait_s) * 1_000_000, &mut |_| {});
    live(bench, &mut rng);
    let before = bench.board().ledger().clone();
    let fitting = another(&before, &mut rng);
    let reply = bench.right_reply(Authorised::Refit).ok_or("no challenge for a refit")?;
    let asked = bench.truth();
    let new = Command::Fit { fitting: fitting.clone(), reply: Some(reply) };
    bench.request(new).map_err(|refusal| format!("the refit was refused: {refusal:?}"))?;
    // Half of them are cut within the time that it takes, the others after it.
    let is_early = rng.next_u32().is_multiple_of(2);
    let after_us = if is_early { u64::from(rng.next_u32()) % 250_000 } else { LONGEST_US };
    bench.pass_to(bench.now_us + after_us, &mut |_| {});
    let done = bench.truth();
    let tear = Tear::draw(rng.next_u64(), bench.bus.part().geometry().page_bytes);
    bench.cut_and_power_up(tear);
    let past = bench.board().past();
    if past.is_none_or(|past| !past.at_most(&done)) {
        return Err(format!("lifetime after a refit is {past:?}, in truth {done:?}"));
    }
    let found = D::take_over(bench.clone());
    let after = found.board().ledger().clone();
    let told = expected(&before, &fitting, &asked, &done, &after);
    match told {
        Ok(()) => {}
        Err(_) if is_early && same_profile(&before, &after) => {}
        Err(what) => return Err(what),
    }
    found.device.conduct()
}

/// What moves every measure, and now and then a renewal or a service.
fn live<R: UnderTest>(bench: &mut Bench<Core<R>>, rng: &mut Pcg32) {
    for _ in 0..=rng.next_u32() % 3 {
        bench.sew(any_needle(rng), 1 + u64::from(rng.next_u32() % 40), 300_000, &mut |_| {});
    }
    for _ in 0..rng.next_u32() % 4 {
        bench.trim(&mut |_| {});
    }
    match rng.next_u32() % 4 {
        0 => {
            let components = ComponentSet(rng.next_u32() & OPERATORS | 1);
            bench.ask_and_wait(Command::Renew { components, reply: None }, &mut |_| {});
        }
        1 => {
            if let Some(reply) = bench.right_reply(Authorised::Service) {
                let service = Command::Service { reply: Some(reply) };
                bench.ask_and_wait(service, &mut |_| {});
            }
        }
        _ => {}
    }
}

/// Another profile for the same machine: components are left out, changed, added, and in
/// another order.
fn another(before: &Ledger, rng: &mut Pcg32) -> Fitting {
    let mut components: Vec<Component, COMPONENTS_MAX> = Vec::new();
    let mut kinds: std::vec::Vec<Component> =
        before.components.iter().map(|fitted| fitted.component).collect();
    // What an earlier refit took away comes back.
    for component in fitting().components {
        if !kinds.iter().any(|c| c.kind == component.kind) && rng.next_u32().is_multiple_of(2) {
            kinds.push(component);
        }
    }
    for n in 0..rng.next_u32() % 3 {
        let kind = ComponentKind(40 + ((rng.next_u32() + n) % 20) as u8);
        if !kinds.iter().any(|c| c.kind == kind) {
            let measure = any_measure(rng);
            kinds.push(Component { kind, measure, ..kinds[0] });
        }
    }
    while !kinds.is_empty() {
        let mut component = kinds.swap_remove(rng.next_u32() as usize % kinds.len());
        let change = rng.next_u32() % 10;
        match change {
            0 => continue,
            1 | 2 => component.measure = any_measure(rng),
            3 => component.due += 1 + rng.next_u32() % 1_000,
            4 => component.with_service = !component.with_service,
            5 => {
                component.renewed_by = if component.renewed_by == Role::Engineer {
                    Role::Operator
                } else {
                    Role::Engineer
                };
            }
            _ => {}
        }
        if components.push(component).is_err() {
            break;
        }
    }
    let mut settings = before.settings;
    settings.service_interval_h = 100 + (rng.next_u32() % 900) as u16;
    let carried_in = CarriedIn { hours: rng.next_u32() % 90_000, ..before.carried_in };
    Fitting { settings, components, carried_in, key: Key::new(shaftbook_world::bench::KEY) }
}

fn any_measure(rng: &mut Pcg32) -> Measure {
    match rng.next_u32() % 6 {
        0 => Measure::Powered,
        1 => Measure::Running,
        2 => Measure::Stitches,
        3 => Measure::Trims,
        4 => Measure::PowerUps,
        _ => Measure::NeedleStitches(any_needle(rng)),
    }
}

/// Whether the new fitting is there wholly; `asked` and `done` are the truth before and after.
fn expected(
    before: &Ledger,
    fitting: &Fitting,
    asked: &Counters,
    done: &Counters,
    after: &Ledger,
) -> Result<(), String> {
    if after.settings != fitting.settings || after.carried_in != fitting.carried_in {
        return Err("settings or what was stated are not those of the new fitting".into());
    }
    if after.components.len() != fitting.components.len() {
        return Err(format!("{} components after the refit", after.components.len()));
    }
    for (fitted, wanted) in after.components.iter().zip(&fitting.components) {
        if fitted.component != *wanted {
            return Err(format!("{:?} in place of {wanted:?}", fitted.component));
        }
        let kept = before.components.iter().find(|old| {
            old.component.kind == wanted.kind && old.component.measure == wanted.measure
        });
        let (least, most) = match kept {
            Some(old) => (old.baseline, old.baseline),
            None => (wanted.measure.value(asked, None), wanted.measure.value(done, None)),
        };
        if !(least..=most).contains(&fitted.baseline) {
            return Err(format!(
                "{wanted:?} counts from {}, not from {least} to {most}",
                fitted.baseline
            ));
        }
    }
    if (after.services, after.interval) != (before.services, before.interval) {
        return Err(format!(
            "{} services and {:?}, before {} and {:?}",
            after.services, after.interval, before.services, before.interval
        ));
    }
    let newest = before.history.last();
    if newest.is_some_and(|newest| !after.history.contains(newest)) {
        return Err(format!("the journal has lost {newest:?}"));
    }
    Ok(())
}

/// Whether the old fitting is there wholly.
fn same_profile(before: &Ledger, after: &Ledger) -> bool {
    (&before.settings, before.carried_in, &before.components, before.services, before.interval)
        == (&after.settings, after.carried_in, &after.components, after.services, after.interval)
}
