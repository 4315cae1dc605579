//! Proof 10: the main loop that ships. Its cases are queues that overflow, edges in the middle
//! of a look at the timer, warnings in the middle of a picture, presses while the board writes,
//! and a display that lost its settings; then what a person hears
//! and a terminal is told ([`signs`]), and what the loop stands on
//! ([`drivers`](super::drivers)). Beside these, whatever the machine does, the whole
//! firmware must count and store what the bare core does ([`agreement`](super::agreement)).

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::counters::Needle;
use shaftbook_core::fault::Fault;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::medium::Geometry;
use shaftbook_core::serial::Lap;
use shaftbook_core::time::Instant;
use shaftbook_drivers::memory::WiredPart;
use shaftbook_mainloop::main_loop::VIEW_US;
use shaftbook_mainloop::showing::REFRESH_US;
use shaftbook_mainloop::stop::{Stop, StopKind};
use shaftbook_panel::button::{Button, DEBOUNCE_US, Press};
use shaftbook_panel::screen::{Notice, Screen, Top};
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::{BOARD, Bench, Meant, any_needle};
use shaftbook_world::bus::{Bus, Part, Timing};
use shaftbook_world::judge::{ANSWER_US, is_durable};

use super::Run;
use super::agreement::agreement;
use super::drivers::drivers;
use super::signs;

/// Bytes that pass for a firmware's: more than two pieces of the hash, and not whole ones.
static IMAGE: [u8; 600] = {
    let mut bytes = [0; 600];
    let mut n = 0;
    while n < bytes.len() {
        bytes[n] = (n * 7 + 3) as u8;
        n += 1;
    }
    bytes
};
/// The first four bytes of their SHA-256, as Python's `hashlib` works it out.
const IMAGE_HASH: u32 = 0x1783_F1F6;

/// Proof 10.
pub fn main_loop<R: UnderTest>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let seed = rng.next_u64();
    let rested = rested::<R>(seed);
    run.case(|| agreement::<R>(seed));
    run.case(|| overflow(&mut rested.clone(), seed));
    run.case(|| spike(&mut rested.clone()));
    for _ in 0..4 {
        let seed = rng.next_u64();
        run.case(|| warned_in_a_picture(&mut rested.clone(), seed));
        run.case(|| presses_beside_writes(&mut rested.clone(), seed));
    }
    run.case(|| presses_at_every_moment_of_a_write(&rested));
    run.case(|| told(&mut rested.clone(), seed));
    run.case(|| unwatched(&mut rested.clone()));
    run.case(|| shown(&mut rested.clone(), seed));
    run.case(|| started::<R>(seed));
    run.case(|| signs::chirps(&mut rested.clone()));
    run.case(|| signs::port(&mut rested.clone(), seed).map_err(|what| format!("the port: {what}")));
    drivers(run, &mut rng);
}

/// A fitted board that has nothing to do, with its picture on the display.
fn rested<R: UnderTest>(seed: u64) -> Bench<Firmware<R>> {
    let mut bench: Bench<Firmware<R>> = Bench::fitted(seed, Lap::new(1));
    bench.pass_to(bench.now_us + 1_000_000, &mut |_| {});
    bench
}

fn pass<R: UnderTest>(bench: &mut Bench<Firmware<R>>, us: u64) {
    bench.pass_to(bench.now_us + us, &mut |_| {});
}

/// The loop is held up while a burst of noise fills the queue; behind it the head moves to
/// another needle, and that edge is lost. What is sewn then counts for no other needle, and
/// the board says how many edges it lost.
fn overflow<R: UnderTest>(bench: &mut Bench<Firmware<R>>, seed: u64) -> Result<(), String> {
    /// Edges of the burst: more than any queue of a board holds.
    const BURST: u64 = 300;
    let before = bench.truth();
    let first = Needle::new(1 + (seed % 7) as u8).ok_or("a needle")?;
    let then = Needle::new(first.number() + 3).ok_or("a needle")?;
    bench.sew(first, 10, 100_000, &mut |_| {});
    let burst_us = bench.now_us;
    for edge in 0..BURST {
        let level = Level::from_bool(edge.is_multiple_of(2));
        bench.feed(Instant::from_us(burst_us + edge), Input::ThreadBreak(level), Meant::Nothing);
    }
    let code = Input::NeedleCode(then.number() - 1);
    bench.feed(Instant::from_us(burst_us + BURST), code, Meant::Nothing);
    // Held up until all has come in.
    bench.now_us += BURST + 100;
    pass(bench, 100_000);
    for _ in 0..10 {
        bench.revolution(Some(then), 100_000, &mut |_| {});
    }
    let (truth, counted) = (bench.truth().since(&before), bench.board().session(bench.now()));
    let beyond = |needle: Needle| {
        counted.needle_stitches[needle.index()] > truth.needle_stitches[needle.index()]
    };
    if beyond(first) || beyond(then) || counted.stitches() != truth.stitches() {
        return Err(format!("after lost edges {:?} are {counted:?}", truth.needle_stitches));
    }
    let lost = bench.device.pins.lost();
    if lost == 0 || counted.missed_edges != lost {
        return Err(format!("of {lost} lost edges {} are told", counted.missed_edges));
    }
    if !bench.board().faults().contains(Fault::EdgesMissed) {
        return Err(format!("{lost} lost edges are not named"));
    }
    bench.device.conduct()
}

/// A spike of one µs less than the debounce time, whose end comes while the loop looks at
/// the timer; the warning beside it makes the board look at everything at once.
fn spike<R: UnderTest>(bench: &mut Bench<Firmware<R>>) -> Result<(), String> {
    const LOOK_US: u64 = 5;
    let before = bench.board().session(bench.now());
    let length_us = u64::from(bench.board().settings().shaft_debounce_us) - 1;
    let at_us = bench.now_us + 10_000;
    pass(bench, 9_000);
    for (after_us, input) in [
        (0, Input::Shaft(Level::Active)),
        (10, Input::PowerFail(Level::Active)),
        (length_us, Input::Shaft(Level::Inactive)),
    ] {
        bench.feed(Instant::from_us(at_us + after_us), input, Meant::Nothing);
    }
    // A look at the timer takes some µs: the first ends just before the spike does.
    bench.device.pins.look_us = LOOK_US;
    bench.now_us = at_us + length_us - 1 - LOOK_US;
    pass(bench, 100_000);
    let counted = bench.board().session(bench.now()).since(&before);
    match (counted.stitches(), counted.jumps) {
        (0, 0) => Ok(()),
        (stitches, jumps) => Err(format!("a spike counts: {stitches} stitches, {jumps} jumps")),
    }
}

/// The warning comes at a drawn moment after a press, while the panel paints its next
/// screen: all that was counted is durable in time, and nothing else is done until then.
fn warned_in_a_picture<R: UnderTest>(
    bench: &mut Bench<Firmware<R>>,
    seed: u64,
) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    bench.sew(any_needle(&mut rng), 20, 200_000, &mut |_| {});
    let up_us = bench.now_us + 100_000;
    bench.device.button(bench.now(), Button::Next, Level::Active);
    bench.device.button(Instant::from_us(up_us), Button::Next, Level::Inactive);
    // From then on the next screen is drawn and sent, which takes some ten ms.
    let at_us = up_us + DEBOUNCE_US + u64::from(rng.next_u32() % 40_000);
    bench.feed(Instant::from_us(at_us), Input::PowerFail(Level::Active), Meant::Nothing);
    bench.pass_to(at_us, &mut |_| {});
    let truth = bench.truth_at(at_us);
    let mut durable_us = None;
    while bench.now_us < at_us + 100_000 && durable_us.is_none() {
        bench.turn(at_us + 100_000, &mut |_| {});
        if is_durable(&truth, &bench.acknowledged) {
            durable_us = Some(bench.now_us);
        }
    }
    let took_us = durable_us.map(|durable_us| durable_us - at_us);
    match took_us {
        Some(took_us) if took_us <= ANSWER_US => bench.device.conduct(),
        Some(took_us) => Err(format!("{took_us} µs from a warning in a picture to durable")),
        None => Err("not all is durable 100 ms after a warning in a picture".into()),
    }
}

/// Presses while the machine sews fast and trims, so that checkpoints are written: each
/// leads to the next screen.
fn presses_beside_writes<R: UnderTest>(
    bench: &mut Bench<Firmware<R>>,
    seed: u64,
) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let needle = any_needle(&mut rng);
    bench.press(Press::Long(Button::Back));
    bench.select(needle, &mut |_| {});
    let begun_us = bench.now_us;
    for stitch in 0..500_u64 {
        let at_us = begun_us + stitch * 60_000;
        bench.feed(Instant::from_us(at_us), Input::Shaft(Level::Active), Meant::Stitch(needle));
        let end = Instant::from_us(at_us + 30_000);
        bench.feed(end, Input::Shaft(Level::Inactive), Meant::Nothing);
    }
    let presses = 40_u64;
    for _ in 0..presses {
        pass(bench, u64::from(rng.next_u32() % 400_000));
        // As short as a press can be.
        let now_us = bench.now_us;
        bench.device.button(bench.now(), Button::Next, Level::Active);
        let end = Instant::from_us(now_us + 30_000 + u64::from(rng.next_u32() % 50_000));
        bench.device.button(end, Button::Next, Level::Inactive);
        pass(bench, 150_000);
    }
    let sewn_us = begun_us + 500 * 60_000 + 200_000;
    bench.pass_to(sewn_us.max(bench.now_us + 200_000), &mut |_| {});
    let screen = *bench.device.main_loop().console().panel().screen();
    let expected = Top::ALL[(presses % Top::ALL.len() as u64) as usize];
    if screen != Screen::Top(expected) {
        return Err(format!(
            "after {presses} presses the panel is at {screen:?}, not {expected:?}"
        ));
    }
    let truth = bench.truth();
    let counted = bench.board().session(bench.now());
    if counted.stitches() != 500 || truth.stitches() < 500 {
        return Err(format!("{} of 500 stitches beside presses", counted.stitches()));
    }
    bench.device.conduct()
}

/// The last trim before a checkpoint, and a press that is told at every moment of the write
/// that follows.
fn presses_at_every_moment_of_a_write<R: UnderTest>(
    rested: &Bench<Firmware<R>>,
) -> Result<(), String> {
    /// From one moment to the next, µs.
    const STEP_US: u64 = 50;
    /// The write is over so long after the trim, µs.
    const OVER_US: u64 = 20_000;
    let mut before = rested.clone();
    before.press(Press::Long(Button::Back));
    for _ in 1..before.board().settings().checkpoint_trims {
        before.trim(&mut |_| {});
    }
    let saved = before.board().saved().trims;
    let trim_us = before.now_us + 200_000;
    for after_us in (0..OVER_US).step_by(STEP_US as usize) {
        let mut bench = before.clone();
        // Told when the button has been up for its debounce time.
        let up_us = trim_us + after_us - DEBOUNCE_US;
        for (at_us, level) in [(up_us - 80_000, Level::Active), (up_us, Level::Inactive)] {
            bench.device.button(Instant::from_us(at_us), Button::Next, level);
        }
        bench.feed(Instant::from_us(trim_us), Input::Trim(Level::Active), Meant::Trim);
        bench.pass_to(trim_us + 300_000, &mut |_| {});
        let screen = *bench.device.main_loop().console().panel().screen();
        if screen != Screen::Top(Top::ALL[1]) {
            return Err(format!("a press told {after_us} µs after a trim led to {screen:?}"));
        }
        if bench.board().saved().trims == saved {
            return Err("no checkpoint was written".into());
        }
    }
    Ok(())
}

/// A renewal at the panel: the person is told that it is done.
fn told<R: UnderTest>(bench: &mut Bench<Firmware<R>>, seed: u64) -> Result<(), String> {
    let place = (seed % 16) as usize;
    bench.sew(Needle::new(1).ok_or("needle 1")?, 20, 100_000, &mut |_| {});
    let renew = Command::Renew { components: ComponentSet::only(place), reply: None };
    bench.ask(renew).ok_or("the renewal was refused")?;
    pass(bench, 500_000);
    match *bench.device.main_loop().console().panel().screen() {
        Screen::Told { notice: Notice::Done, .. } => bench.device.conduct(),
        screen => Err(format!("half a second after a renewal the panel is at {screen:?}")),
    }
}

/// Nobody is there for some minutes: the watchdog is fed all the time.
fn unwatched<R: UnderTest>(bench: &mut Bench<Firmware<R>>) -> Result<(), String> {
    pass(bench, 200_000_000);
    bench.device.conduct()
}

/// A start says how the last one ended, and which firmware it is.
fn started<R: UnderTest>(seed: u64) -> Result<(), String> {
    for kind in [None, Some(StopKind::Panic), Some(StopKind::HardFault)] {
        let part = Part::blank(Geometry::REFERENCE).map_err(|wrong| format!("{wrong:?}"))?;
        let bus = Bus::new(part, Timing::FAST_MODE, seed).with_display(seed);
        let stop = kind.map(|kind| Stop { kind, place: seed as u32 });
        let mut device = Firmware::<R>::after_stop(BOARD, WiredPart::REFERENCE, stop);
        device.pins.image = if kind == Some(StopKind::Panic) { &[] } else { &IMAGE };
        let mut bench = Bench::started(bus, device);
        pass(&mut bench, 1_000_000);
        let is_told = bench.board().faults().contains(Fault::FirmwareStopped);
        if is_told != kind.is_some() {
            return Err(format!("after {kind:?} it tells of a stop: {is_told}"));
        }
        let hash = bench.device.main_loop().console().build().hash;
        let expected = (kind != Some(StopKind::Panic)).then_some(IMAGE_HASH);
        if hash != expected {
            return Err(format!("the hash is {hash:08X?}, not {expected:08X?}"));
        }
    }
    Ok(())
}

/// What stands on the display is what the panel shows: after presses, while time goes on,
/// and again after the display has lost all in a dip of its supply.
fn shown<R: UnderTest>(bench: &mut Bench<Firmware<R>>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    for step in 0..8 {
        if step == 5 {
            bench.bus = bench.bus.clone().with_display(rng.next_u64());
            pass(bench, REFRESH_US + 1_000_000);
        }
        bench.press(Press::Short(if step % 3 == 2 { Button::Act } else { Button::Next }));
        bench.sew(any_needle(&mut rng), 5, 100_000, &mut |_| {});
        // At rest, a look and a whole picture later.
        pass(bench, 3_000_000);
        let mut is_shown = false;
        for _ in 0..8 {
            pass(bench, VIEW_US / 4);
            is_shown |= bench.device.shows_its_view(bench.now(), &bench.bus);
        }
        if !is_shown {
            return Err(format!("step {step}: the display does not show what the panel says"));
        }
    }
    bench.device.conduct()
}
