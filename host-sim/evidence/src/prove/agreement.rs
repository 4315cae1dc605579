//! Part of proof 10: the bare core and the whole firmware live the same drawn shift and
//! agree on every counter and event, and on what is found on their parts after a cut.
//!
//! A shift is signals at fixed times and no workload of steps: a step waits for the board, and
//! so it would not fall on the same moments of both.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Effect;
use shaftbook_core::counters::Counters;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::serial::Lap;
use shaftbook_core::time::Instant;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::{Bench, Meant, Recovered, any_needle};
use shaftbook_world::bus::Tear;

/// The shift begins so long after power-up, on both, µs.
const BEGUN_US: u64 = 5_000_000;
/// From the warning to the cut, µs.
const HOLD_UP_US: u64 = 100_000;
/// Times of the two may differ by this: a board stores when its loop comes to it, ms.
const APART_MS: u64 = 30;

/// What happens in a shift, by the time since its begin, µs.
struct Shift {
    signals: Vec<(u64, Input, Meant)>,
    end_us: u64,
}

/// Blocks on drawn needles, with jumps, trims, breaks and bounce, and pauses between.
fn shift(rng: &mut Pcg32) -> Shift {
    let mut signals = Vec::new();
    let mut at_us = 10_000;
    let pulse = |signals: &mut Vec<_>, at_us: u64, length_us: u64, meant| {
        signals.push((at_us, Input::Shaft(Level::Active), meant));
        signals.push((at_us + length_us, Input::Shaft(Level::Inactive), Meant::Nothing));
    };
    for _ in 0..6 {
        let needle = any_needle(rng);
        signals.push((at_us, Input::NeedleCode(needle.number() - 1), Meant::Nothing));
        at_us += 60_000;
        let period_us = 50_000 + u64::from(rng.next_u32() % 100_000);
        for _ in 0..rng.next_u32() % 200 {
            // A pulse moves by some ms, as a real machine's does.
            let early_us = u64::from(rng.next_u32() % 5_000);
            pulse(&mut signals, at_us - early_us, period_us / 3, Meant::Stitch(needle));
            at_us += period_us;
        }
        match rng.next_u32() % 4 {
            0 => {
                signals.push((at_us, Input::Jump(Level::Active), Meant::Nothing));
                at_us += 50_000;
                for _ in 0..rng.next_u32() % 8 {
                    pulse(&mut signals, at_us, 20_000, Meant::Jump);
                    at_us += 80_000;
                }
                signals.push((at_us, Input::Jump(Level::Inactive), Meant::Nothing));
                at_us += 50_000;
            }
            1 => {
                signals.push((at_us, Input::ThreadBreak(Level::Active), Meant::Break(needle)));
                signals.push((at_us + 50_000, Input::ThreadBreak(Level::Inactive), Meant::Nothing));
                at_us += 100_000;
            }
            _ => {}
        }
        signals.push((at_us, Input::Trim(Level::Active), Meant::Trim));
        for bounce_us in [300, 700] {
            let level = Level::from_bool(bounce_us == 700);
            signals.push((at_us + bounce_us, Input::Trim(level), Meant::Nothing));
        }
        signals.push((at_us + 60_000, Input::Trim(Level::Inactive), Meant::Nothing));
        at_us += 120_000 + u64::from(rng.next_u32() % 20_000_000);
    }
    Shift { signals, end_us: at_us + 1_000_000 }
}

/// What a device made of a shift.
struct Lived {
    session: Counters,
    truth: Counters,
    events: Vec<Effect>,
    acknowledged: Counters,
    /// What a bare core finds on the part after a warning and a cut.
    past: Counters,
}

fn live<D: Device>(seed: u64, shift: &Shift) -> Result<Lived, String> {
    let mut bench: Bench<D> = Bench::fitted(seed, Lap::new(1));
    if !D::HAS_PANEL {
        // The firmware's part has been through a cut since it was fitted.
        bench.cut_and_power_up(Tear::New);
    }
    bench.pass_to(BEGUN_US - 100_000, &mut |_| {});
    let begun_us = BEGUN_US;
    let begun = bench.board().session(Instant::from_us(begun_us));
    let truth = bench.truth_at(begun_us);
    bench.effects.clear();
    for (at_us, input, meant) in &shift.signals {
        let at_us = begun_us + at_us;
        bench.pass_to(at_us.saturating_sub(1_000), &mut |_| {});
        if !D::HAS_PANEL {
            bench.pass_to(at_us, &mut |_| {});
        }
        bench.feed(Instant::from_us(at_us), *input, *meant);
    }
    let end_us = begun_us + shift.end_us;
    bench.pass_to(end_us, &mut |_| {});
    let session = bench.board().session(Instant::from_us(end_us)).since(&begun);
    let truth = bench.truth_at(end_us).since(&truth);
    bench.device.conduct()?;
    let events = bench.effects.iter().filter(|effect| is_told(effect)).copied().collect();
    bench.warn();
    bench.pass_to(bench.now_us + HOLD_UP_US, &mut |_| {});
    let acknowledged = bench.acknowledged;
    let mut image = Vec::new();
    bench.cut_image(Tear::Old, &mut image);
    let past = Recovered::<Core<D::Rules>>::from_image(image, seed).past();
    let past = past.ok_or("the past is lost")?;
    Ok(Lived { session, truth, events, acknowledged, past })
}

/// What is an event of the machine or the board, and not the bookkeeping of the store, whose
/// moment is the loop's.
fn is_told(effect: &Effect) -> bool {
    !matches!(effect, Effect::CheckpointDurable(_) | Effect::LedgerDurable(_))
}

/// The two live the same shift.
pub(super) fn agreement<R: UnderTest>(seed: u64) -> Result<(), String> {
    let shift = shift(&mut Pcg32::seed_from_u64(seed));
    let core = live::<Core<R>>(seed, &shift).map_err(|what| format!("bare core: {what}"))?;
    let firmware = live::<Firmware<R>>(seed, &shift).map_err(|what| format!("firmware: {what}"))?;
    if core.session != firmware.session {
        let (a, b) = (core.session, firmware.session);
        return Err(format!("the core counted {a:?}, the firmware {b:?}"));
    }
    let counted = Counters { power_ups: 0, glitches: 0, ..firmware.session };
    if counted != (Counters { power_ups: 0, ..firmware.truth }) {
        return Err(format!("the firmware counted {counted:?} of {:?}", firmware.truth));
    }
    if core.events != firmware.events {
        return Err(format!("the core told {:?}, the firmware {:?}", core.events, firmware.events));
    }
    for (what, a, b) in [
        ("said to be durable", core.acknowledged, firmware.acknowledged),
        ("found after a cut", core.past, firmware.past),
    ] {
        if !same_counts(&a, &b) || a.powered_ms.abs_diff(b.powered_ms) > APART_MS {
            return Err(format!("{what}: core {a:?}, firmware {b:?}"));
        }
    }
    Ok(())
}

/// Counted in both, but for what no two boards share: power-ups, and powered time to the ms.
fn same_counts(a: &Counters, b: &Counters) -> bool {
    Counters { powered_ms: b.powered_ms, ..*a } == *b
}
