//! Proof 4: every stitch goes to the needle that sewed it or to the unattributed,
//! and to one of them only; with clean signals and with noisy ones, on code lines
//! and on a voltage. All contacts bounce; jumps, trims and breaks are what was fed in; an
//! edge that found the queue full is told.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::{Board, Command, Fitting};
use shaftbook_core::counters::Counters;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::medium::Geometry;
use shaftbook_core::settings::{NeedleSource, Settings};
use shaftbook_core::store::serial::Lap;
use shaftbook_core::time::Instant;
use shaftbook_drivers::capture::Capture;
use shaftbook_drivers::memory::WiredPart;

use super::Run;
use super::rig::{BOARD, Rig, fitting};
use super::under_test::{Clock, UnderTest};
use shaftbook_world::bus::{Bus, Part, Timing};

/// Proof 4.
pub fn needles_add_up<R: UnderTest>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let cases = if run.quick { 12 } else { 40 };
    for _ in 0..cases {
        let seed = rng.next_u64();
        let mut shares = (0.0, 0.0);
        run.case(|| case::<R>(seed).map(|s| shares = s));
        run.figure("unattributed, clean signals, %:", shares.0);
        run.figure("noisy, %:", shares.1);
    }
    let seed = rng.next_u64();
    run.case(|| late_loop::<R>(seed).map_err(|what| format!("a late main loop: {what}")));
}

/// Needles of the machine, and the levels of its potentiometer.
const NEEDLES: u8 = 12;
const FIRST_LEVEL_MV: u16 = 400;
const STEP_MV: u16 = 350;

fn case<R: UnderTest>(seed: u64) -> Result<(f64, f64), String> {
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
    let mut board: Board<R> = Board::new(BOARD, settings);
    let part = Part::blank(Geometry::REFERENCE).map_err(|e| e.to_string())?;
    let mut bus = Bus::new(part, Timing::FAST_MODE, seed);
    let mut now_us = 0;
    let mut pass = |board: &mut Board<R>, now_us: &mut u64, us: u64| {
        let until_us = *now_us + us;
        for _ in 0..1_000 {
            bus.advance_to(*now_us * 1_000);
            let now = Instant::from_us(*now_us);
            let polled = R::poll(board, now, &mut bus, WiredPart::REFERENCE);
            *now_us = (*now_us).max(bus.now_ns().div_ceil(1_000));
            if polled.effect.is_none() {
                if polled.deadline.as_us() >= until_us {
                    break;
                }
                *now_us = (*now_us).max(polled.deadline.as_us());
            }
        }
        *now_us = (*now_us).max(until_us);
    };
    // A blank part is read through first: counting must not wait for that.
    let mut sewn = [0_u64; 16];
    let mut fed = 0;
    let mut contacts_fed = Contacts::default();
    let fit_after = rng.next_u32() % 8;
    for block in 0..24 {
        if block == 8 + fit_after {
            let now = Instant::from_us(now_us);
            let fitting = Fitting { settings, ..fitting() };
            board
                .request(now, Command::Fit { fitting, reply: None })
                .map_err(|r| format!("{r:?}"))?;
        }
        let needle = (rng.next_u32() % u32::from(NEEDLES)) as u8;
        if select(&mut board, &mut pass, &mut now_us, &mut rng, needle, by_level, noisy) {
            sewn[usize::from(needle)] += 1;
            fed += 1;
        }
        contacts(&mut board, &mut pass, &mut now_us, &mut rng, needle, &mut contacts_fed);
        for _ in 0..rng.next_u32() % 120 {
            let flickers = noisy && rng.next_u32().is_multiple_of(12);
            let late =
                flickers && flicker(&mut board, &mut pass, &mut now_us, &mut rng, needle, by_level);
            R::input(&mut board, Instant::from_us(now_us), Input::Shaft(Level::Active));
            if rng.next_u32().is_multiple_of(6) {
                spurious(&mut board, &mut pass, &mut now_us, &mut rng);
            }
            pass(&mut board, &mut now_us, 5_000);
            if late {
                read(&mut board, now_us, needle, by_level, 0);
            }
            pass(&mut board, &mut now_us, 15_000);
            R::input(&mut board, Instant::from_us(now_us), Input::Shaft(Level::Inactive));
            pass(&mut board, &mut now_us, 30_000 + u64::from(rng.next_u32()) % 60_000);
            sewn[usize::from(needle)] += 1;
            fed += 1;
        }
    }
    let counted = board.session(Instant::from_us(now_us));
    let needles: u64 = counted.needle_stitches.iter().sum();
    if needles + counted.unattributed_stitches != fed {
        return Err(format!(
            "{needles} + {} are not the {fed} fed in",
            counted.unattributed_stitches
        ));
    }
    contacts_fed.check(&counted)?;
    for (n, (counted, sewn)) in counted.needle_stitches.iter().zip(sewn).enumerate() {
        if *counted > sewn {
            return Err(format!("needle {} has {counted}, it sewed {sewn}", n + 1));
        }
    }
    let share = counted.unattributed_stitches as f64 * 100.0 / fed.max(1) as f64;
    if !noisy && counted.unattributed_stitches > 0 {
        return Err(format!("{} unattributed with clean signals", counted.unattributed_stitches));
    }
    Ok(if noisy { (0.0, share) } else { (share, 0.0) })
}

/// What was fed in beside the stitches.
#[derive(Default)]
struct Contacts {
    jumps: u64,
    trims: u64,
    breaks: [u32; 16],
}

impl Contacts {
    fn check(&self, counted: &Counters) -> Result<(), String> {
        if (counted.jumps, counted.trims) != (self.jumps, self.trims) {
            let counted = (counted.jumps, counted.trims);
            let fed = (self.jumps, self.trims);
            return Err(format!("jumps and trims are {counted:?}, not {fed:?}"));
        }
        let too_many = counted.needle_breaks.iter().zip(self.breaks).any(|(a, b)| *a > b);
        if counted.breaks() != self.breaks.iter().sum::<u32>() || too_many {
            return Err(format!("breaks are {:?}, not {:?}", counted.needle_breaks, self.breaks));
        }
        Ok(())
    }
}

/// A trim, a break or some jumps, or nothing.
fn contacts<R: UnderTest>(
    board: &mut Board<R>,
    pass: &mut impl FnMut(&mut Board<R>, &mut u64, u64),
    now_us: &mut u64,
    rng: &mut Pcg32,
    needle: u8,
    fed: &mut Contacts,
) {
    match rng.next_u32() % 4 {
        0 => {
            actuate(board, pass, now_us, Input::Trim);
            fed.trims += 1;
        }
        1 => {
            actuate(board, pass, now_us, Input::ThreadBreak);
            fed.breaks[usize::from(needle)] += 1;
        }
        2 => {
            close(board, pass, now_us, Input::Jump, Level::Active);
            for _ in 0..=rng.next_u32() % 5 {
                R::input(board, Instant::from_us(*now_us), Input::Shaft(Level::Active));
                pass(board, now_us, 20_000);
                R::input(board, Instant::from_us(*now_us), Input::Shaft(Level::Inactive));
                pass(board, now_us, 30_000);
                fed.jumps += 1;
            }
            close(board, pass, now_us, Input::Jump, Level::Inactive);
        }
        _ => {}
    }
}

/// Bounce of a contact, µs from one edge to the next: shorter than the debounce time.
const BOUNCE_US: u64 = 1_000;

/// A contact goes to `level`, and bounces.
fn close<R: UnderTest>(
    board: &mut Board<R>,
    pass: &mut impl FnMut(&mut Board<R>, &mut u64, u64),
    now_us: &mut u64,
    contact: fn(Level) -> Input,
    level: Level,
) {
    let other = Level::from_bool(!level.is_active());
    for level in [level, other, level, other, level] {
        R::input(board, Instant::from_us(*now_us), contact(level));
        pass(board, now_us, BOUNCE_US);
    }
    pass(board, now_us, 40_000);
}

/// A contact closes and opens once.
fn actuate<R: UnderTest>(
    board: &mut Board<R>,
    pass: &mut impl FnMut(&mut Board<R>, &mut u64, u64),
    now_us: &mut u64,
    contact: fn(Level) -> Input,
) {
    close(board, pass, now_us, contact, Level::Active);
    close(board, pass, now_us, contact, Level::Inactive);
}

/// The shaft's signal, just gone active, drops: either for less than its debounce time, or
/// so that it comes again sooner than the machine can turn.
fn spurious<R: UnderTest>(
    board: &mut Board<R>,
    pass: &mut impl FnMut(&mut Board<R>, &mut u64, u64),
    now_us: &mut u64,
    rng: &mut Pcg32,
) {
    let (after_us, for_us) =
        if rng.next_u32().is_multiple_of(2) { (10, 20) } else { (2_000, 3_000) };
    pass(board, now_us, after_us);
    R::input(board, Instant::from_us(*now_us), Input::Shaft(Level::Inactive));
    pass(board, now_us, for_us);
    R::input(board, Instant::from_us(*now_us), Input::Shaft(Level::Active));
}

/// Edges go through the queue, and the main loop is so late that it overflows; interrupts
/// come while it takes the count of those that were lost. Each edge is counted or told.
fn late_loop<R: UnderTest>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut rig: Rig<R> = Rig::fitted(seed, Lap::new(1));
    let mut capture = Capture::<64>::new();
    let (mut interrupt, mut main) = capture.split();
    let mut clock = Clock::default();
    let (mut pushed, mut popped, mut active) = (0_u32, 0_u32, false);
    for _ in 0..60 {
        let mut push = |now_us: &mut u64| {
            *now_us += 300;
            active = !active;
            interrupt.push(*now_us as u32, Input::Shaft(Level::from_bool(active)));
            pushed += 1;
        };
        for _ in 0..rng.next_u32() % 90 {
            push(&mut rig.now_us);
        }
        let more = rng.next_u32() % 3;
        let mut late_us = rig.now_us;
        R::take_missed(&mut rig.board, &mut main, &mut || {
            for _ in 0..more {
                push(&mut late_us);
            }
        });
        rig.now_us = late_us;
        while let Some((tick_us, input)) = main.pop() {
            popped += 1;
            rig.input(R::extend(&mut clock, 32, tick_us), input);
        }
        rig.work(&mut |_| {});
    }
    R::take_missed(&mut rig.board, &mut main, &mut || {});
    let missed = rig.board.session(rig.now()).missed_edges;
    if popped + missed != pushed || popped == pushed {
        return Err(format!("of {pushed} edges {popped} came and {missed} are told as missed"));
    }
    Ok(())
}

fn read<R: UnderTest>(board: &mut Board<R>, now_us: u64, needle: u8, by_level: bool, off_mv: i32) {
    let input = if by_level {
        let level_mv = i32::from(FIRST_LEVEL_MV + STEP_MV * u16::from(needle)) + off_mv;
        Input::NeedleLevel(u16::try_from(level_mv).unwrap_or(0))
    } else {
        Input::NeedleCode(needle)
    };
    R::input(board, Instant::from_us(now_us), input);
}

/// The head moves to `needle`; noisy lines pass through other codes on the way. Whether
/// a stitch was sewn before the position could settle.
fn select<R: UnderTest>(
    board: &mut Board<R>,
    pass: &mut impl FnMut(&mut Board<R>, &mut u64, u64),
    now_us: &mut u64,
    rng: &mut Pcg32,
    needle: u8,
    by_level: bool,
    noisy: bool,
) -> bool {
    if noisy {
        for _ in 0..rng.next_u32() % 4 {
            read(board, *now_us, (rng.next_u32() % 16) as u8, by_level, 0);
            pass(board, now_us, u64::from(rng.next_u32()) % 3_000);
        }
    }
    let off_mv = (rng.next_u32() % 100).cast_signed() - 50;
    read(board, *now_us, needle, by_level, off_mv);
    let early = noisy && rng.next_u32().is_multiple_of(3);
    if early {
        pass(board, now_us, 5_000);
        R::input(board, Instant::from_us(*now_us), Input::Shaft(Level::Active));
        pass(board, now_us, 20_000);
        R::input(board, Instant::from_us(*now_us), Input::Shaft(Level::Inactive));
    }
    pass(board, now_us, 60_000);
    early
}

/// For a few ms another position is read, or one between two: too short to settle.
/// Whether the wrong reading still stands and is to be put right after the stitch.
fn flicker<R: UnderTest>(
    board: &mut Board<R>,
    pass: &mut impl FnMut(&mut Board<R>, &mut u64, u64),
    now_us: &mut u64,
    rng: &mut Pcg32,
    needle: u8,
    by_level: bool,
) -> bool {
    let other = (rng.next_u32() % 16) as u8;
    let off_mv = (rng.next_u32() % 350).cast_signed() - 175;
    read(board, *now_us, other, by_level, off_mv);
    pass(board, now_us, u64::from(rng.next_u32()) % 8_000);
    if rng.next_u32().is_multiple_of(2) {
        return true;
    }
    read(board, *now_us, needle, by_level, 0);
    false
}
