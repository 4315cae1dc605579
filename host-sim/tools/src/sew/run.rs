//! One simulated life through board, driver and bus.
//!
//! The board is fitted on the bench first, and what is reported is counted from there on. After
//! the last cut a copy of the board is powered once more, to see what was durable.

use std::ops::ControlFlow;

use shaftbook_core::board::{Effect, Fitting};
use shaftbook_core::counters::Counters;
use shaftbook_core::input::Input;
use shaftbook_core::ledger::Ledger;
use shaftbook_core::rules::Sound;
use shaftbook_core::service::Refusal;
use shaftbook_core::settings::Settings;

use super::slack::Slack;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::session::{Session, SessionEnd, wired_to};
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bus::{Bus, Tear, WrongImage};
use shaftbook_world::fitting::{BOARD, bus_of, plain_fitting};
use shaftbook_world::judge::{Bounds, long_hold_up_ms};
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::distort::DistortTally;
use shaftbook_world::sewing::truth::Truth;
use shaftbook_world::sewing::{Sewing, SewingEvent, Timed};

/// How long the last reading may take, µs.
const LAST_READING_US: u64 = 3_000_000;

/// What is told to whoever watches a run.
pub trait Watch {
    /// One event of the session.
    ///
    /// # Errors
    /// Any error ends the run.
    fn event(&mut self, timed: Timed) -> std::io::Result<()>;
}

/// Watches nothing.
impl Watch for () {
    #[inline]
    fn event(&mut self, _: Timed) -> std::io::Result<()> {
        Ok(())
    }
}

/// What a run gave.
#[derive(Clone, Debug)]
pub struct SewOutcome {
    /// What truly happened.
    pub truth: Truth,
    /// What the board had durable after the last cut, since it was fitted.
    pub counted: Counters,
    /// What was counted but not durable, over all cuts.
    pub lost: Counters,
    /// The largest loss at one cut, field by field.
    pub worst_loss: Counters,
    /// Cuts.
    pub cuts: u32,
    /// What was done to the signals.
    pub tally: DistortTally,
    /// Checkpoints that became durable.
    pub checkpoints: u64,
    /// Each time the board broke its word, in a sentence; at most 20.
    pub broken: Vec<String>,
    /// Bytes of the part after the last cut.
    pub image: Vec<u8>,
    /// Program cycles of the part, and of its hottest page.
    pub cycles: u64,
    /// See [`SewOutcome::cycles`].
    pub hottest_page_cycles: u32,
    /// Settings the board counted with.
    pub settings: Settings,
    /// What the board read back after the last cut: its ledger, and its lifetime counters
    /// then. `None` if it could not.
    pub kept: Option<(Ledger, Counters)>,
}

/// Why a run could not be made.
#[derive(Debug)]
pub enum RunError {
    /// The part has an impossible shape.
    Part(WrongImage),
    /// The board's driver cannot address the part.
    Address,
    /// The board refused to be fitted.
    Fitting(Refusal),
    /// The watcher failed.
    Watch(std::io::Error),
}

impl std::fmt::Display for RunError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Part(wrong) => write!(f, "{wrong}"),
            Self::Address => f.write_str("the board's driver cannot address a part of that shape"),
            Self::Fitting(refusal) => write!(f, "the board refused to be fitted: {refusal:?}"),
            Self::Watch(error) => write!(f, "{error}"),
        }
    }
}

impl std::error::Error for RunError {}

/// Runs `scenario` with `seed` on the bare core; `progress` gets the simulated time now and
/// then, µs.
///
/// # Errors
/// A [`RunError`]; a board that counts wrongly is not one.
pub fn run(
    scenario: &Scenario,
    seed: u64,
    watch: &mut impl Watch,
    progress: impl FnMut(u64),
) -> Result<SewOutcome, RunError> {
    run_with_rules::<Sound>(scenario, seed, watch, progress)
}

/// The same on the device `D`, fitted with `fitting` (its settings should fit the
/// scenario's machine).
///
/// # Errors
/// As [`run`].
pub fn run_fitted<D: Device>(
    scenario: &Scenario,
    seed: u64,
    fitting: Fitting,
    watch: &mut impl Watch,
    progress: impl FnMut(u64),
) -> Result<SewOutcome, RunError> {
    life::<D>(scenario, seed, fitting, watch, progress)
}

/// [`run`] with a board that keeps other rules, to see what a broken one does.
///
/// # Errors
/// As [`run`].
pub fn run_with_rules<R: UnderTest>(
    scenario: &Scenario,
    seed: u64,
    watch: &mut impl Watch,
    progress: impl FnMut(u64),
) -> Result<SewOutcome, RunError> {
    life::<Core<R>>(scenario, seed, plain_fitting(scenario.settings()), watch, progress)
}

fn life<D: Device>(
    scenario: &Scenario,
    seed: u64,
    fitting: Fitting,
    watch: &mut impl Watch,
    mut progress: impl FnMut(u64),
) -> Result<SewOutcome, RunError> {
    let settings = fitting.settings;
    let bus = bus_of(&scenario.part, seed).map_err(RunError::Part)?;
    let (mut session, fitted): (Session<D>, Counters) = fit(bus, fitting, None)?;
    let mut judge = Judge::new(scenario, settings, fitted);
    let mut sewing = Sewing::new(scenario, seed);
    let mut failed = None;
    let mut last_us = 0;
    loop {
        let mut boundary = None;
        sewing.drive(|timed| {
            if let Err(error) = watch.event(timed) {
                failed = Some(error);
                return ControlFlow::Break(());
            }
            match timed.event {
                SewingEvent::Input(input) => {
                    judge.input(input);
                    session.input(timed.at_us, input, |effect| judge.effect(effect));
                    ControlFlow::Continue(())
                }
                SewingEvent::PowerUp | SewingEvent::Cut => {
                    boundary = Some(timed);
                    ControlFlow::Break(())
                }
            }
        });
        if let Some(error) = failed {
            return Err(RunError::Watch(error));
        }
        let Some(timed) = boundary else { break };
        progress(timed.at_us);
        last_us = timed.at_us;
        if timed.event == SewingEvent::PowerUp {
            judge.power_up();
            session.power_up(timed.at_us);
        } else {
            let tear = Tear::draw(seed ^ u64::from(judge.cuts), scenario.part.page_bytes);
            let ended = session.cut(timed.at_us, tear, |effect| judge.effect(effect));
            judge.cut(timed.at_us, &ended, &sewing.truth(), &sewing.tally());
        }
    }
    let mut reading = session.clone();
    judge.power_up();
    reading.power_up(last_us + LAST_READING_US);
    reading.run_until(last_us + 2 * LAST_READING_US, |effect| judge.effect(effect));
    let kept = reading
        .board()
        .filter(|board| board.is_ready())
        .and_then(|board| Some((board.ledger().clone(), *board.past()?)));
    let part = session.bus().part();
    Ok(SewOutcome {
        truth: sewing.truth(),
        counted: judge.past.since(&fitted),
        lost: judge.lost,
        worst_loss: judge.worst_loss,
        cuts: judge.cuts,
        tally: sewing.tally(),
        checkpoints: judge.checkpoints,
        broken: judge.broken,
        image: part.cells().to_vec(),
        cycles: part.wear().cycles(),
        hottest_page_cycles: part.wear().hottest_page_cycles(),
        settings,
        kept,
    })
}

/// A session with a board on `bus` that has been fitted with `fitting` on the day `day`,
/// and its counters then.
///
/// # Errors
/// A part that the board's driver cannot address, or a fitting that the board refuses.
pub fn fit<D: Device>(
    bus: Bus,
    fitting: Fitting,
    day: Option<u16>,
) -> Result<(Session<D>, Counters), RunError> {
    if wired_to(&bus).is_none() {
        return Err(RunError::Address);
    }
    Session::fitted(bus, BOARD, fitting, day).map_err(RunError::Fitting)
}

/// Watches what the board says and what it comes back with.
struct Judge {
    settings: Settings,
    has_long_hold_up: bool,
    slack: Slack,
    fitted: Counters,
    past: Counters,
    ended: Option<SessionEnd>,
    /// Running time of all sessions, µs.
    running_us: u64,
    is_warned: bool,
    is_warned_cut: bool,
    lost: Counters,
    worst_loss: Counters,
    cuts: u32,
    checkpoints: u64,
    broken: Vec<String>,
}

impl Judge {
    fn new(scenario: &Scenario, settings: Settings, fitted: Counters) -> Self {
        let part = &scenario.part;
        let long_ms = long_hold_up_ms(part.page_bytes, part.program_us);
        Self {
            settings,
            has_long_hold_up: scenario.power.warning && scenario.power.hold_up_ms >= long_ms,
            slack: Slack::of(scenario),
            fitted,
            past: fitted,
            ended: None,
            running_us: 0,
            is_warned: false,
            is_warned_cut: false,
            lost: Counters::default(),
            worst_loss: Counters::default(),
            cuts: 0,
            checkpoints: 0,
            broken: Vec::new(),
        }
    }

    #[inline]
    fn input(&mut self, input: Input) {
        if let Input::PowerFail(level) = input {
            self.is_warned = level.is_active();
        }
    }

    fn power_up(&mut self) {
        self.is_warned = false;
    }

    fn effect(&mut self, effect: Effect) {
        match effect {
            Effect::LifetimeKnown(past) => self.known(past),
            Effect::CheckpointDurable(_) => self.checkpoints += 1,
            _ => {}
        }
    }

    /// The board knows its past: what is it?
    fn known(&mut self, past: Counters) {
        if let Some(ended) = self.ended.take() {
            let before = ended.lifetime.unwrap_or_else(|| self.past.plus(&ended.session));
            let lost = before.since(&past);
            self.lost = self.lost.plus(&lost);
            self.worst_loss = larger(&self.worst_loss, &lost);
            self.judge_loss(&before, &ended.saved, &past, &lost);
        }
        self.past = past;
    }

    fn judge_loss(
        &mut self,
        before: &Counters,
        saved: &Counters,
        past: &Counters,
        lost: &Counters,
    ) {
        let cut = self.cuts;
        if !past.at_most(before) {
            self.say(format!("after cut {cut} the board came back with more than it had counted"));
        }
        if !saved.at_most(past) {
            self.say(format!("after cut {cut} the board fell below what it had said is durable"));
        }
        let bounds = Bounds::chosen(&self.settings);
        let running_bound_ms = bounds.running_ms;
        if lost.running_ms > running_bound_ms {
            let ms = lost.running_ms;
            self.say(format!("cut {cut} lost {ms} ms of running time, over {running_bound_ms} ms"));
        }
        let trim_bound = bounds.trims;
        if lost.trims > trim_bound {
            self.say(format!("cut {cut} lost {} trims, over {trim_bound}", lost.trims));
        }
        let counted = lost.stitches() + lost.jumps + lost.trims + u64::from(lost.breaks());
        if self.is_warned_cut && self.has_long_hold_up && (counted > 0 || lost.running_ms > 0) {
            self.say(format!(
                "cut {cut} lost {} stitches, {} trims and {} ms of running time, in spite of its \
                 warning",
                lost.stitches(),
                lost.trims,
                lost.running_ms
            ));
        }
    }

    fn cut(&mut self, at_us: u64, ended: &SessionEnd, truth: &Truth, tally: &DistortTally) {
        self.cuts += 1;
        self.is_warned_cut = self.is_warned;
        self.ended = Some(*ended);
        self.running_us += ended.running_us;
        let running_us = self.slack.running_above(self.running_us, truth.running_us, tally);
        if let Some(what) = running_us {
            self.say(format!("at {} s the board was above the truth: {what}", at_us / 1_000_000));
        }
        if let Some(lifetime) = ended.lifetime {
            let counted = lifetime.since(&self.fitted);
            if let Some(what) = self.slack.above(&counted, &truth.counters(), tally) {
                self.say(format!(
                    "at {} s the board was above the truth: {what}",
                    at_us / 1_000_000
                ));
            }
        }
    }

    fn say(&mut self, what: String) {
        if self.broken.len() < 20 {
            self.broken.push(what);
        }
    }
}

/// The larger of two counters, field by field.
fn larger(a: &Counters, b: &Counters) -> Counters {
    a.plus(&b.since(a))
}

#[cfg(test)]
mod tests;
