//! Runs a capture through the board, to see what the board would have counted.

use shaftbook_core::board::Effect;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::settings::Settings;

use crate::sew::run::{RunError, fit};
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::session::Session;
use shaftbook_world::bus::Tear;
use shaftbook_world::fitting::{bus_of, plain_fitting};
use shaftbook_world::input_error::InputError;
use shaftbook_world::scenario::ScenarioPart;
use shaftbook_world::sewing::{SewingEvent, Timed};

/// From the last cut to the last reading, and how long that takes, µs.
const LAST_READING_US: u64 = 3_000_000;

/// What a replay gave.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Replayed {
    /// Counted in the capture: on the board's screen at its end, or, when it ended
    /// with a cut, what was durable.
    pub counted: Counters,
    /// Counted but not durable, over all cuts but a last one.
    pub lost: Counters,
    /// Cuts.
    pub cuts: u32,
    /// Faults the board showed, in order.
    pub faults: Vec<Fault>,
    /// Events taken from the capture.
    pub events: u64,
}

/// Why a capture could not be replayed.
#[derive(Debug)]
pub enum ReplayError {
    /// The capture is bad.
    Capture(InputError),
    /// The board could not be set up.
    Board(RunError),
}

impl std::fmt::Display for ReplayError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Capture(error) => write!(f, "{error}"),
            Self::Board(error) => write!(f, "{error}"),
        }
    }
}

impl std::error::Error for ReplayError {}

/// What the board said.
#[derive(Default)]
struct Heard {
    past: Option<Counters>,
    faults: Vec<Fault>,
}

impl Heard {
    fn effect(&mut self, effect: Effect) {
        match effect {
            Effect::LifetimeKnown(past) => self.past = Some(past),
            Effect::FaultRaised(fault) => self.faults.push(fault),
            _ => {}
        }
    }
}

/// Feeds `events` to a board fitted with `settings` on a reference part. `seed` decides
/// the part's program times and what a cut leaves of a page. `end_us` is asked for the
/// end of the capture when the events are over.
///
/// # Errors
/// The first error of `events`, or a board that cannot be set up.
pub fn replay<C>(
    capture: &mut C,
    end_us: impl FnOnce(&C) -> u64,
    settings: Settings,
    seed: u64,
) -> Result<Replayed, ReplayError>
where
    C: Iterator<Item = Result<Timed, InputError>>,
{
    let part = ScenarioPart::default();
    let bus = bus_of(&part, seed).map_err(|wrong| ReplayError::Board(RunError::Part(wrong)))?;
    let (mut session, fitted): (Session<Firmware>, Counters) =
        fit(bus, plain_fitting(settings), None).map_err(ReplayError::Board)?;
    let mut replayed = Replayed::default();
    let mut heard = Heard::default();
    let mut at_cut: Option<Counters> = None;
    let mut last_us = 0;
    for timed in capture.by_ref() {
        let timed = timed.map_err(ReplayError::Capture)?;
        replayed.events += 1;
        last_us = timed.at_us;
        match timed.event {
            SewingEvent::PowerUp => session.power_up(timed.at_us),
            SewingEvent::Input(input) => {
                session.input(timed.at_us, input, |effect| heard.effect(effect));
            }
            SewingEvent::Cut => {
                let tear = Tear::draw(seed ^ u64::from(replayed.cuts), part.page_bytes);
                let ended = session.cut(timed.at_us, tear, |effect| heard.effect(effect));
                replayed.lost = replayed.lost.plus(&loss(at_cut, heard.past.take()));
                at_cut = ended.lifetime;
                replayed.cuts += 1;
            }
        }
    }
    let mut end_us = end_us(capture).max(last_us);
    if session.board().is_none() {
        // What is durable: one more power-up, on the session.
        session.power_up(end_us + LAST_READING_US);
        end_us += 2 * LAST_READING_US;
        session.run_until(end_us, |effect| heard.effect(effect));
        replayed.counted = heard.past.unwrap_or(fitted).since(&fitted);
        replayed.lost = replayed.lost.plus(&loss(at_cut, heard.past));
    } else {
        session.run_until(end_us, |effect| heard.effect(effect));
        replayed.counted = session.lifetime(end_us).unwrap_or(fitted).since(&fitted);
    }
    replayed.faults = heard.faults;
    Ok(replayed)
}

/// What was lost between a cut and the next power-up, as far as it is known.
fn loss(at_cut: Option<Counters>, past: Option<Counters>) -> Counters {
    match (at_cut, past) {
        (Some(at_cut), Some(past)) => at_cut.since(&past),
        _ => Counters::default(),
    }
}
