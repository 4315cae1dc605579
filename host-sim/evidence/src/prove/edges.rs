//! Part of proof 4: moments at which one edge more or less matters. Here the signals are clean and
//! the counts exact: a contact beside a pulse, whoever looks when, a head that moves just after one,
//! several pulses a revolution, more edges at boot than the waiting room holds, and a sensor that
//! bounces for longer than its debounce time.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::{Command, EARLY_MAX, Fitting};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::fault::Fault;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::serial::Lap;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::{BOARD, Bench, Meant, any_needle, fitting};
use shaftbook_world::bus::Tear;

use super::Run;

/// Its cases; `start` is a fitted board whose needle comes on code lines.
pub fn edges<D: Device>(run: &mut Run, start: &Bench<D>, rng: &mut Pcg32) {
    let seed = rng.next_u64();
    run.case(|| jump_beside_trim(&mut start.clone(), seed));
    run.case(|| whoever_looks(start, seed));
    run.case(|| needle_after_pulse(&mut start.clone(), seed));
    run.case(|| sensor_that_bounces(&mut start.clone()));
    if D::HAS_PANEL {
        // Its queue of edges is fuller than the waiting room behind it ever gets.
        return;
    }
    run.case(|| several_pulses::<D::Rules>(seed));
    run.case(|| full_waiting_room::<D::Rules>(seed));
    run.case(|| last_needle_without_room::<D::Rules>(seed));
}

fn pass<D: Device>(bench: &mut Bench<D>, us: u64) {
    bench.pass_to(bench.now_us + us, &mut |_| {});
}

/// What was counted since `before` is what was fed in since, but for running time, which the
/// bench reckons for one pulse a revolution.
fn exact<D: Device>(bench: &Bench<D>, before: &(Counters, Counters)) -> Result<(), String> {
    let truth = bench.truth().since(&before.0);
    let counted = bench.board().session(bench.now()).since(&before.1);
    let of = |c: &Counters| {
        let breaks = (c.needle_breaks, c.unattributed_breaks);
        (c.needle_stitches, c.unattributed_stitches, c.jumps, c.trims, breaks)
    };
    if of(&counted) == of(&truth) {
        return bench.device.conduct();
    }
    Err(format!("counted {:?}, fed in {:?}", of(&counted), of(&truth)))
}

fn both<D: Device>(bench: &Bench<D>) -> (Counters, Counters) {
    (bench.truth(), bench.board().session(bench.now()))
}

/// The main loop is held up from just before a pulse until after the next trim. Between the
/// pulse and its end the jump contact closes; whatever is looked at first, the pulse was a
/// stitch.
fn jump_beside_trim<D: Device>(bench: &mut Bench<D>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let needle = any_needle(&mut rng);
    bench.sew(needle, 3, 100_000, &mut |_| {});
    pass(bench, 100_000);
    let before = both(bench);
    let settings = *bench.board().settings();
    let at_us = bench.now_us + 1_000;
    let jump_us = 1 + u64::from(rng.next_u32()) % u64::from(settings.shaft_debounce_us - 1);
    let trim_us = jump_us + u64::from(settings.contact_debounce_us) + 100;
    for (after_us, input, meant) in [
        (0, Input::Shaft(Level::Active), Meant::Stitch(needle)),
        (jump_us, Input::Jump(Level::Active), Meant::Nothing),
        (trim_us, Input::Trim(Level::Active), Meant::Trim),
        (trim_us + 2_000, Input::Shaft(Level::Inactive), Meant::Nothing),
    ] {
        bench.feed(Instant::from_us(at_us + after_us), input, meant);
    }
    bench.now_us = at_us + trim_us + 3_000;
    pass(bench, 100_000);
    for input in [Input::Jump(Level::Inactive), Input::Trim(Level::Inactive)] {
        bench.feed(bench.now(), input, Meant::Nothing);
        pass(bench, 100_000);
    }
    exact(bench, &before).map_err(|what| format!("a jump {jump_us} µs after a pulse: {what}"))
}

/// A pulse comes a drawn time before or after the jump contact is certain, and the head moves a
/// drawn time after a thread break is. Whether the main loop looks all the time or is held up until
/// all is over, the counts are those of the signals.
fn whoever_looks<D: Device>(start: &Bench<D>, seed: u64) -> Result<(), String> {
    for is_held_up in [false, true] {
        let mut rng = Pcg32::seed_from_u64(seed);
        let bench = &mut start.clone();
        let (needle, next) = (any_needle(&mut rng), any_needle(&mut rng));
        bench.sew(needle, 3, 100_000, &mut |_| {});
        pass(bench, 100_000);
        let before = both(bench);
        let settings = *bench.board().settings();
        let contact_us = u64::from(settings.contact_debounce_us);
        let shaft_us = u64::from(settings.shaft_debounce_us);
        let pulse_us = contact_us - shaft_us + 1 + u64::from(rng.next_u32()) % (2 * shaft_us);
        let revolution = if pulse_us < contact_us { Meant::Stitch(needle) } else { Meant::Jump };
        let break_us = 40_000;
        let move_us = break_us + contact_us + u64::from(rng.next_u32()) % 200;
        let at_us = bench.now_us + 1_000;
        for (after_us, input, meant) in [
            (0, Input::Jump(Level::Active), Meant::Nothing),
            (pulse_us, Input::Shaft(Level::Active), revolution),
            (pulse_us + 5_000, Input::Shaft(Level::Inactive), Meant::Nothing),
            (30_000, Input::Jump(Level::Inactive), Meant::Nothing),
            (break_us, Input::ThreadBreak(Level::Active), Meant::Break(needle)),
            (move_us, Input::NeedleCode(next.number() - 1), Meant::Nothing),
            (move_us + 10_000, Input::ThreadBreak(Level::Inactive), Meant::Nothing),
        ] {
            // It looks as long as the edge has not come: a look after it would have found it.
            while !is_held_up && bench.now_us < at_us + after_us {
                bench.turn(at_us + after_us, &mut |_| {});
            }
            bench.feed(Instant::from_us(at_us + after_us), input, meant);
        }
        bench.now_us = bench.now_us.max(at_us + move_us + 11_000);
        pass(bench, 100_000);
        exact(bench, &before).map_err(|what| {
            let looks = if is_held_up { "held up" } else { "looking all the time" };
            format!("a pulse {pulse_us} µs after a jump's edge, {looks}: {what}")
        })?;
    }
    Ok(())
}

/// The head moves on at a drawn moment after each pulse: the stitch was that of the needle before.
fn needle_after_pulse<D: Device>(bench: &mut Bench<D>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut needle = any_needle(&mut rng);
    bench.select(needle, &mut |_| {});
    let before = both(bench);
    // A head that has moved on before the pulse is debounced leaves it unattributed.
    let settled_us = u64::from(bench.board().settings().shaft_debounce_us);
    for stitch in 0..24 {
        bench.feed(bench.now(), Input::Shaft(Level::Active), Meant::Stitch(needle));
        let after_us = settled_us + u64::from(rng.next_u32()) % [10, 1_000, 5_000][stitch % 3];
        pass(bench, after_us);
        needle = any_needle(&mut rng);
        bench.feed(bench.now(), Input::NeedleCode(needle.number() - 1), Meant::Nothing);
        pass(bench, 10_000);
        bench.feed(bench.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
        pass(bench, 60_000);
    }
    exact(bench, &before).map_err(|what| format!("the head moves after a pulse: {what}"))
}

/// The sensor gives pulses that are long enough and too soon: after a minute that is named, and
/// on a sound signal it is not.
fn sensor_that_bounces<D: Device>(bench: &mut Bench<D>) -> Result<(), String> {
    for (is_sound, spurious) in [(true, 0), (false, 40)] {
        let before = both(bench);
        for n in 0..40 {
            let mut shaft = |us, level, meant| {
                pass(bench, us);
                bench.feed(bench.now(), Input::Shaft(level), meant);
            };
            shaft(50_000, Level::Active, Meant::Jump);
            shaft(8_000, Level::Inactive, Meant::Nothing);
            if n < spurious {
                shaft(2_000, Level::Active, Meant::Nothing);
                shaft(1_000, Level::Inactive, Meant::Nothing);
            }
        }
        pass(bench, 61_000_000);
        let told = bench.board().faults().contains(Fault::ShaftGlitches);
        if told == is_sound {
            return Err(format!("{spurious} pulses too soon of 80, named: {told}"));
        }
        let revolutions = |c: &Counters| c.stitches() + c.jumps;
        let counted = bench.board().session(bench.now()).since(&before.1);
        if revolutions(&counted) != 40 {
            return Err(format!("{} of 40 revolutions", revolutions(&counted)));
        }
    }
    Ok(())
}

/// A board that counts with `settings`, fitted with them, at rest.
pub(super) fn fitted<R: UnderTest>(
    seed: u64,
    settings: Settings,
) -> Result<Bench<Core<R>>, String> {
    let mut bench: Bench<Core<R>> = Bench::blank_on(WiredPart::REFERENCE, seed, Lap::new(1));
    let fitting = Fitting { settings, ..fitting() };
    bench.request(Command::Fit { fitting, reply: None }).map_err(|r| format!("{r:?}"))?;
    bench.rest(&mut |_| {});
    Ok(bench)
}

/// Several pulses are one revolution, which is counted at its last.
fn several_pulses<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let pulses = 2 + (rng.next_u32() % 63) as u8;
    let settings =
        Settings { pulses_per_revolution: pulses, shaft_debounce_us: 20, ..fitting().settings };
    let mut bench = fitted::<R>(seed, settings)?;
    let needle = any_needle(&mut rng);
    bench.select(needle, &mut |_| {});
    let before = both(&bench);
    let gap_us = u64::from(settings.shortest_period_us()) + u64::from(rng.next_u32() % 2_000);
    for pulse in 0..u64::from(pulses) * 20 + u64::from(rng.next_u32()) % u64::from(pulses) {
        let is_last = (pulse + 1).is_multiple_of(u64::from(pulses));
        let meant = if is_last { Meant::Stitch(needle) } else { Meant::Nothing };
        bench.feed(bench.now(), Input::Shaft(Level::Active), meant);
        pass(&mut bench, gap_us / 2);
        bench.feed(bench.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
        pass(&mut bench, gap_us - gap_us / 2);
    }
    pass(&mut bench, 10_000);
    exact(&bench, &before).map_err(|what| format!("{pulses} pulses a revolution: {what}"))
}

/// At boot more edges come than the waiting room holds, before the board was polled at all.
/// With the settings that it falls back on, all are counted; with more pulses a revolution,
/// which it learns later, no more than there were, and at most two revolutions less.
fn full_waiting_room<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let pulses = 1 << (rng.next_u32() % 3);
    let settings = Settings { pulses_per_revolution: pulses, ..fitting().settings };
    let bench = fitted::<R>(seed, settings)?;
    let mut bus = bench.bus.clone();
    bus.power_cycle(Tear::New);
    let fallback = Settings::default();
    let mut bench: Bench<Core<R>> = Bench::wired(bus, BOARD, WiredPart::REFERENCE, fallback);
    let count = (EARLY_MAX / 2) as u64 - 2 + u64::from(rng.next_u32() % 80);
    let gap_us = u64::from(fallback.shortest_period_us()) + 2_000;
    for pulse in 1..=count {
        let is_last = pulse.is_multiple_of(u64::from(pulses));
        let meant = if is_last { Meant::Jump } else { Meant::Nothing };
        bench.now_us += gap_us / 2;
        bench.feed(bench.now(), Input::Shaft(Level::Active), meant);
        bench.now_us += gap_us / 2;
        bench.feed(bench.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
    }
    bench.rest(&mut |_| {});
    let truth = bench.truth().jumps;
    let session = bench.board().session(bench.now());
    let counted = session.stitches() + session.jumps;
    let least = if pulses == 1 { truth } else { truth.saturating_sub(2) };
    if (least..=truth).contains(&counted) {
        return Ok(());
    }
    Err(format!(
        "{counted} revolutions of {truth} in {count} pulses, {pulses} a revolution, before the \
         settings were known"
    ))
}

/// The same on a head with more needles than the settings that the board falls back on, its last
/// one over the plate. What the full waiting room let go is unattributed, revolution by revolution;
/// from when the settings are known on every stitch is the last needle's, though its code stays as
/// it is.
fn last_needle_without_room<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let fallback = Settings::default();
    let settings = Settings { needles: fallback.needles + 1, ..fitting().settings };
    let last = Needle::new(settings.needles).expect("a head has up to 16");
    let mut bus = fitted::<R>(seed, settings)?.bus;
    bus.power_cycle(Tear::New);
    let mut bench: Bench<Core<R>> = Bench::wired(bus, BOARD, WiredPart::REFERENCE, fallback);
    bench.feed(bench.now(), Input::NeedleCode(last.number() - 1), Meant::Nothing);
    let early = (EARLY_MAX / 2) as u64 + u64::from(rng.next_u32() % 40);
    let gap_us = u64::from(fallback.shortest_period_us()) + 2_000;
    let later = 1 + u64::from(rng.next_u32() % 40);
    for n in 0..early + later {
        for level in [Level::Active, Level::Inactive] {
            let is_pulse = level == Level::Active;
            bench.feed(
                bench.now(),
                Input::Shaft(level),
                if is_pulse { Meant::Stitch(last) } else { Meant::Nothing },
            );
            bench.now_us += gap_us / 2;
        }
        if n + 1 == early {
            bench.rest(&mut |_| {});
        }
    }
    pass(&mut bench, 100_000);
    let session = bench.board().session(bench.now());
    let counted = (session.unattributed_stitches, session.needle_stitches[last.index()]);
    if counted == (early, later) {
        return Ok(());
    }
    Err(format!(
        "needle {}, {early} stitches before the settings were known, {later} after: {} \
         unattributed, {} its own",
        last.number(),
        counted.0,
        counted.1
    ))
}
