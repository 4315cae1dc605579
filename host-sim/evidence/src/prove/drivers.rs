//! Part of proof 10: what the main loop stands on. The drivers of clock and display, the queue of
//! edges, a pin's two interrupt flags, the record of a stop: each is asked for everything that it
//! can give, beside its data sheet or a model of a few lines.
//!
//! - `clock`: the clock's driver
//! - this file: the others

mod clock;

use std::collections::VecDeque;

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::medium::Geometry;
use shaftbook_drivers::capture::Capture;
use shaftbook_drivers::display::{CONTRAST, Display, DisplayError, WakeStep};
use shaftbook_mainloop::pin::{Flags, edges};
use shaftbook_mainloop::stop::{Stop, StopKind};
use shaftbook_world::bus::{Bus, DisplayFailure, Part, Timing};

use super::Run;

/// Places that a queue of the proof has.
const PLACES: usize = 7;

/// Its cases.
pub fn drivers(run: &mut Run, rng: &mut Pcg32) {
    let seed = rng.next_u64();
    run.case(|| clock::read(seed).map_err(|what| format!("the clock: {what}")));
    run.case(|| clock::set(seed).map_err(|what| format!("the clock: {what}")));
    run.case(|| display(seed).map_err(|what| format!("the display: {what}")));
    run.case(|| queue(seed).map_err(|what| format!("the queue of edges: {what}")));
    run.case(|| flags().map_err(|what| format!("a pin: {what}")));
    run.case(|| stop(seed).map_err(|what| format!("the record of a stop: {what}")));
}

/// A bus with nothing on it but a blank memory part.
fn bus(seed: u64) -> Result<Bus, String> {
    let part = Part::blank(Geometry::REFERENCE).map_err(|wrong| format!("{wrong:?}"))?;
    Ok(Bus::new(part, Timing::FAST_MODE, seed))
}

/// The display does what each call says, and no more; a tile that does not fit is refused, and one
/// that cannot be sent is told with its reason.
fn display(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed ^ 2);
    let mut bus = bus(seed)?.with_display(seed);
    let mut step = Some(WakeStep::default());
    while let Some(next) = step {
        step = Display::new(&mut bus).wake(next).map_err(|error| format!("{error:?}"))?;
    }
    let is = |bus: &Bus, is_on: bool, contrast: u8| {
        let display = bus.display().ok_or("no display")?;
        if !display.unknown_commands().is_empty() {
            return Err(format!("it does not know {:02X?}", display.unknown_commands()));
        }
        if (display.is_on(), display.contrast()) == (is_on, contrast) {
            return Ok(());
        }
        Err(format!("is on: {}, contrast {}", display.is_on(), display.contrast()))
    };
    is(&bus, false, CONTRAST)?;
    let done = |result: Result<(), DisplayError>| result.map_err(|error| format!("{error:?}"));
    done(Display::new(&mut bus).switch_on())?;
    is(&bus, true, CONTRAST)?;
    let contrast = rng.next_u32() as u8;
    done(Display::new(&mut bus).set_contrast(contrast))?;
    is(&bus, true, contrast)?;
    for _ in 0..24 {
        let column = [0, 1, 95, 96, 97, 127, 128, 255][(rng.next_u32() % 8) as usize];
        let page = [0, 3, 7, 8, 255][(rng.next_u32() % 5) as usize];
        let length = [0, 1, 31, 32, 33][(rng.next_u32() % 5) as usize];
        let mut bytes = [0; 33];
        rng.fill_bytes(&mut bytes);
        let bytes = &bytes[..length];
        let mut expected = *bus.display().ok_or("no display")?.ram();
        let fits = page < 8 && (1..=32).contains(&length) && usize::from(column) + length <= 128;
        if fits {
            let at = usize::from(page) * 128 + usize::from(column);
            expected[at..at + length].copy_from_slice(bytes);
        }
        let told = Display::new(&mut bus).show_tile(column, page, bytes);
        let is_shown = bus.display().is_some_and(|display| *display.ram() == expected);
        if told != if fits { Ok(()) } else { Err(DisplayError::OutOfRange) } || !is_shown {
            return Err(format!("{length} bytes at column {column} of page {page}: {told:?}"));
        }
    }
    done(Display::new(&mut bus).switch_off())?;
    is(&bus, false, contrast)?;
    for (how, expected) in [
        (DisplayFailure::Dies, DisplayError::NoAnswer),
        (DisplayFailure::HoldsBus, DisplayError::Bus),
    ] {
        let mut bus = bus.clone();
        bus.display_mut().ok_or("no display")?.fail_after(seed % 3, how);
        let told = Display::new(&mut bus).show_tile(0, 0, &[1; 32]);
        if told != Err(expected) {
            return Err(format!("one that {how:?} gives {told:?}"));
        }
    }
    Ok(())
}

/// Edges in bursts: each comes out, in its order, or is counted as lost, once.
fn queue(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed ^ 3);
    let mut capture = Capture::<{ PLACES + 1 }, u8>::new();
    let (mut interrupt, mut main) = capture.split();
    let (mut queued, mut lost) = (VecDeque::new(), 0_u32);
    for _ in 0..400 {
        match rng.next_u32() % 8 {
            0..=3 => {
                let edge = (rng.next_u32(), rng.next_u32() as u8);
                interrupt.push(edge.0, edge.1);
                if queued.len() < PLACES {
                    queued.push_back(edge);
                } else {
                    lost += 1;
                }
            }
            4..=6 => {
                let (is, expected) = (main.pop(), queued.pop_front());
                if is != expected {
                    return Err(format!("{is:?} comes out, not {expected:?}"));
                }
            }
            _ => {
                let told = main.take_missed();
                if told != std::mem::take(&mut lost) {
                    return Err(format!("{told} are told as lost"));
                }
            }
        }
        if main.is_empty() != queued.is_empty() {
            return Err(format!("it is empty: {}", main.is_empty()));
        }
    }
    Ok(())
}

/// Whatever the flags of a pin say and wherever it stands, what is handed on ends at its level, and
/// moves as often as it must have moved at least.
fn flags() -> Result<(), String> {
    for n in 0..16 {
        let [rose, fell, is_high, active_low] = std::array::from_fn(|bit| n >> bit & 1 == 1);
        let mut given = Vec::new();
        edges(Flags { rose, fell }, is_high, active_low)
            .each(|level| given.push(level.is_active()));
        let level = is_high != active_low;
        let expected = match (rose, fell) {
            (false, false) => vec![],
            // One move that led to where it stands.
            (true, false) if is_high => vec![level],
            (false, true) if !is_high => vec![level],
            _ => vec![!level, level],
        };
        if given != expected {
            return Err(format!(
                "rose {rose}, fell {fell}, high {is_high}, active low {active_low}: {given:?}"
            ));
        }
    }
    Ok(())
}

/// How the firmware stopped is read as it was written; of what was not written whole, or whose
/// bits have changed, nothing is read.
fn stop(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed ^ 4);
    for kind in [StopKind::Panic, StopKind::HardFault] {
        let stop = Stop { kind, place: rng.next_u32() };
        let words = stop.to_words();
        if Stop::from_words(words) != Some(stop) {
            return Err(format!("{stop:?} is read as {:?}", Stop::from_words(words)));
        }
        for (word, bit) in (0..words.len()).flat_map(|word| (0..32).map(move |bit| (word, bit))) {
            let mut other = words;
            other[word] ^= 1 << bit;
            if let Some(read) = Stop::from_words(other) {
                return Err(format!("with bit {bit} of word {word} changed it is {read:?}"));
            }
        }
        for written in 0..words.len() {
            let mut other: [u32; 4] = std::array::from_fn(|_| rng.next_u32());
            other[..written].copy_from_slice(&words[..written]);
            if let Some(read) = Stop::from_words(other) {
                return Err(format!("after {written} words it is {read:?}"));
            }
        }
    }
    Ok(())
}
