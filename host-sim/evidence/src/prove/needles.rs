//! Proof 4: every stitch is counted once, for the needle that sewed it or as unattributed. This
//! is tried with clean signals and with noisy ones, on code lines and on a voltage. All
//! contacts bounce. Jumps, trims and breaks must be what was fed in, and the board must report
//! an edge that found the queue full.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::{Command, Fitting};
use shaftbook_core::counters::Needle;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::medium::Geometry;
use shaftbook_core::serial::Lap;
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_drivers::capture::Capture;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::under_test::{ExtendedTimer, UnderTest};
use shaftbook_world::bench::{BOARD, Bench, Meant, fitting};
use shaftbook_world::bus::{Bus, Part, Timing};

use super::Run;
use super::edges::edges;

/// Proof 4.
pub fn needles_add_up<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let cases = if run.quick { 12 } else { 40 };
    for _ in 0..cases {
        let seed = rng.next_u64();
        let mut shares = (0.0, 0.0);
        run.case(|| case::<D>(seed).map(|s| shares = s));
        run.figure("unattributed, clean signals, %:", shares.0);
        run.figure("noisy, %:", shares.1);
    }
    let fitted: Bench<D> = Bench::fitted(run.seed, Lap::new(1));
    edges(run, &fitted, &mut rng);
    let seed = rng.next_u64();
    run.case(|| late_loop::<D::Rules>(seed).map_err(|what| format!("a late main loop: {what}")));
}

/// Needles of the machine, and the levels of its potentiometer.
const NEEDLES: u8 = 12;
const FIRST_LEVEL_MV: u16 = 400;
const STEP_MV: u16 = 350;

fn case<D: Device>(seed: u64) -> Result<(f64, f64), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let by_level = rng.next_u32().is_multiple_of(2);
    let noisy = rng.next_u32().is_multiple_of(2);
    let mut settings = Settings {
        needles: NEEDLES,
        needle_source: if by_level { NeedleSource::Level } else { NeedleSource::Code },
        ..Settings::default()
    };
    for (n, level_mv) in settings.needle_level_mv.iter_mut().enumerate() {
        *level_mv = FIRST_LEVEL_MV + STEP_MV * n as u16;
    }
    let mut bench = start::<D>(seed, settings)?;
    let before = bench.truth();
    let fit_after = rng.next_u32() % 8;
    for block in 0..24 {
        if block == 8 + fit_after && !D::HAS_PANEL {
            // A blank part is read through first: counting must not wait for that.
            let fitting = Fitting { settings, ..fitting() };
            let fit = Command::Fit { fitting, reply: None };
            bench.request(fit).map_err(|refusal| format!("{refusal:?}"))?;
        }
        let needle = Needle::new(1 + (rng.next_u32() % u32::from(NEEDLES)) as u8);
        let needle = needle.ok_or("a needle")?;
        select(&mut bench, &mut rng, needle, by_level, noisy);
        contacts(&mut bench, &mut rng, needle);
        for _ in 0..rng.next_u32() % 120 {
            let flickers = noisy && rng.next_u32().is_multiple_of(12);
            let late = flickers && flicker(&mut bench, &mut rng, needle, by_level);
            bench.feed(bench.now(), Input::Shaft(Level::Active), Meant::Stitch(needle));
            if rng.next_u32().is_multiple_of(6) {
                spurious(&mut bench, &mut rng);
            }
            pass(&mut bench, 5_000);
            if late {
                read(&mut bench, needle, by_level, 0);
            }
            pass(&mut bench, 15_000);
            bench.feed(bench.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
            pass(&mut bench, 30_000 + u64::from(rng.next_u32()) % 60_000);
        }
    }
    bench.device.conduct()?;
    let truth = bench.truth().since(&before);
    let counted = bench.board().session(bench.now());
    if counted.stitches() != truth.stitches() {
        return Err(format!("{} stitches, {} fed in", counted.stitches(), truth.stitches()));
    }
    if (counted.jumps, counted.trims, counted.breaks())
        != (truth.jumps, truth.trims, truth.breaks())
    {
        return Err(format!("jumps, trims and breaks are {counted:?}, not {truth:?}"));
    }
    for (n, (counted, sewn)) in
        counted.needle_stitches.iter().zip(truth.needle_stitches).enumerate()
    {
        if *counted > sewn {
            return Err(format!("needle {} has {counted}, it sewed {sewn}", n + 1));
        }
    }
    if counted.needle_breaks.iter().zip(truth.needle_breaks).any(|(a, b)| *a > b) {
        return Err(format!(
            "breaks are {:?}, not {:?}",
            counted.needle_breaks, truth.needle_breaks
        ));
    }
    let share = counted.unattributed_stitches as f64 * 100.0 / truth.stitches().max(1) as f64;
    if !noisy && counted.unattributed_stitches > 0 {
        return Err(format!("{} unattributed with clean signals", counted.unattributed_stitches));
    }
    Ok(if noisy { (0.0, share) } else { (share, 0.0) })
}

/// A board that counts with `settings`: the bare core on a blank part, which it is fitted
/// on later; the whole firmware, which counts with the settings of its part, on one that
/// was fitted.
fn start<D: Device>(seed: u64, settings: Settings) -> Result<Bench<D>, String> {
    let part = Part::blank(Geometry::REFERENCE).map_err(|e| e.to_string())?;
    let bus = Bus::new(part, Timing::FAST_MODE, seed);
    if !D::HAS_PANEL {
        return Ok(Bench::wired(bus, BOARD, WiredPart::REFERENCE, settings));
    }
    let mut core: Bench<Core<D::Rules>> = Bench::wired(bus, BOARD, WiredPart::REFERENCE, settings);
    core.rest(&mut |_| {});
    let fitting = Fitting { settings, ..fitting() };
    core.request(Command::Fit { fitting, reply: None }).map_err(|r| format!("{r:?}"))?;
    core.rest(&mut |_| {});
    Ok(D::take_over(core))
}

/// Lets `us` pass.
fn pass<D: Device>(bench: &mut Bench<D>, us: u64) {
    bench.pass_to(bench.now_us + us, &mut |_| {});
}

/// A trim, a break or some jumps, or nothing.
fn contacts<D: Device>(bench: &mut Bench<D>, rng: &mut Pcg32, needle: Needle) {
    match rng.next_u32() % 4 {
        0 => actuate(bench, Input::Trim, Meant::Trim),
        1 => actuate(bench, Input::ThreadBreak, Meant::Break(needle)),
        2 => {
            close(bench, Input::Jump, Level::Active, Meant::Nothing);
            for _ in 0..=rng.next_u32() % 5 {
                bench.feed(bench.now(), Input::Shaft(Level::Active), Meant::Jump);
                pass(bench, 20_000);
                bench.feed(bench.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
                pass(bench, 30_000);
            }
            close(bench, Input::Jump, Level::Inactive, Meant::Nothing);
        }
        _ => {}
    }
}

/// Bounce of a contact, µs from one edge to the next: shorter than the debounce time.
const BOUNCE_US: u64 = 1_000;

/// A contact goes to `level`, which means `meant`, and bounces.
fn close<D: Device>(bench: &mut Bench<D>, contact: fn(Level) -> Input, level: Level, meant: Meant) {
    let other = Level::from_bool(!level.is_active());
    bench.feed(bench.now(), contact(level), meant);
    for level in [other, level, other, level] {
        pass(bench, BOUNCE_US);
        bench.feed(bench.now(), contact(level), Meant::Nothing);
    }
    pass(bench, BOUNCE_US + 40_000);
}

/// A contact closes and opens once.
fn actuate<D: Device>(bench: &mut Bench<D>, contact: fn(Level) -> Input, meant: Meant) {
    close(bench, contact, Level::Active, meant);
    close(bench, contact, Level::Inactive, Meant::Nothing);
}

/// The shaft's signal, just gone active, drops: either for less than its debounce time, or
/// so that it comes again sooner than the machine can turn.
fn spurious<D: Device>(bench: &mut Bench<D>, rng: &mut Pcg32) {
    let (after_us, for_us) =
        if rng.next_u32().is_multiple_of(2) { (10, 20) } else { (2_000, 3_000) };
    pass(bench, after_us);
    bench.feed(bench.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
    pass(bench, for_us);
    bench.feed(bench.now(), Input::Shaft(Level::Active), Meant::Nothing);
}

/// Edges go through the queue, and the main loop is so late that it overflows; interrupts
/// come while it takes the count of those that were lost. Each edge is counted or told.
fn late_loop<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut bench: Bench<Core<R>> = Bench::fitted(seed, Lap::new(1));
    let mut capture = Capture::<64>::new();
    let (mut interrupt, mut main) = capture.split();
    let mut clock = ExtendedTimer::default();
    let (mut pushed, mut popped, mut active) = (0_u32, 0_u32, false);
    for _ in 0..60 {
        let mut push = |now_us: &mut u64| {
            *now_us += 300;
            active = !active;
            interrupt.push(*now_us as u32, Input::Shaft(Level::from_bool(active)));
            pushed += 1;
        };
        for _ in 0..rng.next_u32() % 90 {
            push(&mut bench.now_us);
        }
        let more = rng.next_u32() % 3;
        let mut late_us = bench.now_us;
        R::take_missed(bench.device.board_mut(), &mut main, &mut || {
            for _ in 0..more {
                push(&mut late_us);
            }
        });
        bench.now_us = late_us;
        while let Some((tick_us, input)) = main.pop() {
            popped += 1;
            bench.feed(R::extend(&mut clock, 32, tick_us), input, Meant::Nothing);
        }
        bench.work(&mut |_| {});
    }
    R::take_missed(bench.device.board_mut(), &mut main, &mut || {});
    let missed = bench.board().session(bench.now()).missed_edges;
    if popped + missed != pushed || popped == pushed {
        return Err(format!("of {pushed} edges {popped} came and {missed} are told as missed"));
    }
    Ok(())
}

/// The position of `needle` is read, `off_mv` beside its voltage.
fn read<D: Device>(bench: &mut Bench<D>, needle: Needle, by_level: bool, off_mv: i32) {
    let place = needle.number() - 1;
    let input = if by_level {
        let level_mv = i32::from(FIRST_LEVEL_MV + STEP_MV * u16::from(place)) + off_mv;
        Input::NeedleLevel(u16::try_from(level_mv).unwrap_or(0))
    } else {
        Input::NeedleCode(place)
    };
    bench.feed(bench.now(), input, Meant::Nothing);
}

/// Any of the 16 needles, whether the machine has it or not.
fn any_of_16(rng: &mut Pcg32) -> Needle {
    Needle::new(1 + (rng.next_u32() % 16) as u8).expect("1 to 16")
}

/// The head moves to `needle`; noisy lines pass through other codes on the way, and now
/// and then a stitch is sewn before the position could be debounced.
fn select<D: Device>(
    bench: &mut Bench<D>,
    rng: &mut Pcg32,
    needle: Needle,
    by_level: bool,
    noisy: bool,
) {
    if noisy {
        for _ in 0..rng.next_u32() % 4 {
            let other = any_of_16(rng);
            read(bench, other, by_level, 0);
            pass(bench, u64::from(rng.next_u32()) % 3_000);
        }
    }
    let off_mv = (rng.next_u32() % 100).cast_signed() - 50;
    read(bench, needle, by_level, off_mv);
    if noisy && rng.next_u32().is_multiple_of(3) {
        pass(bench, 5_000);
        bench.feed(bench.now(), Input::Shaft(Level::Active), Meant::Stitch(needle));
        pass(bench, 20_000);
        bench.feed(bench.now(), Input::Shaft(Level::Inactive), Meant::Nothing);
    }
    pass(bench, 60_000);
}

/// For a few ms another position is read, or one between two: too short to be debounced.
/// Whether the wrong reading still stands and is to be put right after the stitch.
fn flicker<D: Device>(
    bench: &mut Bench<D>,
    rng: &mut Pcg32,
    needle: Needle,
    by_level: bool,
) -> bool {
    let other = any_of_16(rng);
    let off_mv = (rng.next_u32() % 350).cast_signed() - 175;
    read(bench, other, by_level, off_mv);
    pass(bench, u64::from(rng.next_u32()) % 8_000);
    if rng.next_u32().is_multiple_of(2) {
        return true;
    }
    read(bench, needle, by_level, 0);
    false
}
