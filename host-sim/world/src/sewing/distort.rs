//! What the signals suffer between the machine and the board: bounce, spikes,
//! missed and extra pulses, noise, failing sensors.
//!
//! Two ways lead through: any event waits in a short queue in the order of time. A shaft edge
//! that nothing else comes near goes past the queue together with its bounce
//! ([`Distort::drive_shaft`]); nearly all do. The draws are the same, and so is what comes out.
//!
//! Invariants: events come out in time order; the truth is not touched; after a
//! cut nothing from before it comes out. Each thing done to the signals is counted
//! in [`DistortTally`], so that a difference between board and truth has a cause.

use std::collections::VecDeque;
use std::ops::ControlFlow;

use shaftbook_core::input::{Input, Level};

use super::bounce;
use super::event::{SewingEvent, Timed};
use super::random::{Chance, Random};
use crate::scenario::{FailureKind, Faults, Sensor, SensorFailure};

/// How often each thing was done to the signals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct DistortTally {
    /// Edges added by bouncing contacts and sensors.
    pub bounce_edges: u64,
    /// Short spikes on the shaft line.
    pub glitches: u64,
    /// True shaft pulses that never reached the board.
    pub missed_pulses: u64,
    /// Pulses as long as a real one, where there was none.
    pub extra_pulses: u64,
    /// Trims that never reached the board.
    pub missed_trims: u64,
    /// Thread breaks that never reached the board.
    pub missed_breaks: u64,
    /// Changes of the jump signal that never reached the board.
    pub missed_jump_changes: u64,
    /// Changes and readings of the needle position that a failed sensor hid.
    pub hidden_needle_changes: u64,
}

/// A failure with its times in µs.
#[derive(Clone, Copy, Debug)]
struct Fails {
    sensor: Sensor,
    flaky: Option<Chance>,
    from_us: u64,
    to_us: u64,
}

impl Fails {
    fn of(failure: &SensorFailure) -> Self {
        #[allow(clippy::cast_sign_loss)] // Checked: at least 0.
        let us = |hours: f64| (hours * 3_600e6) as u64;
        Self {
            sensor: failure.sensor,
            flaky: (failure.kind == FailureKind::Flaky)
                .then(|| Chance::of(failure.miss_probability)),
            from_us: us(failure.from_h),
            to_us: failure.to_h.map_or(u64::MAX, us),
        }
    }

    const fn covers(&self, at_us: u64) -> bool {
        at_us >= self.from_us && at_us < self.to_us
    }
}

/// The faults of a scenario at work.
#[derive(Clone, Debug)]
pub struct Distort {
    contact_bounce_us: u32,
    shaft_bounce_us: u32,
    missed: Chance,
    glitch: Chance,
    glitch_us: u32,
    extra: Chance,
    needle_noise_mv: u16,
    needle_skew_us: u32,
    failures: Vec<Fails>,
    /// When the first failure begins.
    sound_until_us: u64,
    random: Random,

    /// Events still to come out, in the order of time, of one time in that of arrival.
    waiting: VecDeque<(u64, What)>,
    /// When the first of them comes out; `u64::MAX` if none waits.
    next_us: u64,
    swallowed: Swallowed,
    /// Levels of shaft, trim, thread break and jump as the board sees them.
    levels: [Level; 4],
    shaft_sensor: Level,
    /// Spikes and extra pulses that are on the shaft line now.
    spikes: u32,
    needle_dead: bool,
    code: u8,
    last_rise_us: u64,
    gap_us: u64,
    tally: DistortTally,
}

#[derive(Clone, Copy, Debug)]
enum What {
    Input(Input),
    /// A spike on the shaft line begins or ends.
    Spike(bool),
}

/// Inputs whose last active edge was swallowed: the inactive one is too.
#[derive(Clone, Copy, Debug, Default)]
struct Swallowed(u8);

impl Swallowed {
    fn insert(&mut self, sensor: Sensor) {
        self.0 |= 1 << sensor as u8;
    }

    /// Whether `sensor` was in it.
    #[inline]
    fn remove(&mut self, sensor: Sensor) -> bool {
        let before = self.0;
        self.0 &= !(1 << sensor as u8);
        before != self.0
    }
}

impl Distort {
    /// The faults, or `None` when there are none: the signals then go straight
    /// through.
    #[must_use]
    pub fn new(faults: &Faults, seed: u64) -> Option<Self> {
        let distort = Self {
            contact_bounce_us: faults.contact_bounce_us,
            shaft_bounce_us: faults.shaft_bounce_us,
            missed: Chance::of(faults.missed_pulse_probability),
            glitch: Chance::of(faults.glitch_probability),
            glitch_us: faults.glitch_us.max(1),
            extra: Chance::of(faults.extra_pulse_probability),
            needle_noise_mv: faults.needle_noise_mv,
            needle_skew_us: faults.needle_skew_us,
            sound_until_us: faults
                .failures
                .iter()
                .map(|failure| Fails::of(failure).from_us)
                .min()
                .unwrap_or(u64::MAX),
            failures: faults.failures.iter().map(Fails::of).collect(),
            random: Random::new(seed, 4),
            waiting: VecDeque::new(),
            next_us: u64::MAX,
            swallowed: Swallowed::default(),
            levels: [Level::Inactive; 4],
            shaft_sensor: Level::Inactive,
            spikes: 0,
            needle_dead: false,
            code: 0,
            last_rise_us: 0,
            gap_us: 0,
            tally: DistortTally::default(),
        };
        let none = distort.contact_bounce_us == 0
            && distort.shaft_bounce_us == 0
            && distort.missed.is_never()
            && distort.glitch.is_never()
            && distort.extra.is_never()
            && distort.needle_noise_mv == 0
            && distort.needle_skew_us == 0
            && distort.failures.is_empty();
        (!none).then_some(distort)
    }

    /// What was done so far.
    #[must_use]
    pub const fn tally(&self) -> DistortTally {
        self.tally
    }

    /// The next event that comes out before `clean_us`, if any.
    pub fn pop_before(&mut self, clean_us: u64) -> Option<Timed> {
        while self.next_us <= clean_us {
            let (at_us, what) = self.waiting.pop_front()?;
            self.look_at_first();
            if let Some(input) = self.on_wire(what) {
                return Some(Timed::input(at_us, input));
            }
        }
        None
    }

    /// Whether a shaft edge to `level` at `at_us` comes before anything that waits, and with
    /// all its bounce before the next undisturbed event, at `next_us`.
    #[inline]
    #[must_use]
    pub fn is_apart(&self, at_us: u64, level: Level, next_us: u64) -> bool {
        self.shaft_bounce_us <= bounce::SHORT_MAX_US
            && at_us + u64::from(self.shaft_bounce_us) <= next_us
            && at_us < self.next_us
            && at_us < self.sound_until_us
            && self.spikes == 0
            && self.levels[0] != level
    }

    /// Takes in a shaft edge that [`Distort::is_apart`], and gives `take` all that comes of it.
    /// Where `take` breaks, the rest waits; so does all of it if something that waits comes
    /// within the bounce.
    #[inline]
    pub fn drive_shaft(
        &mut self,
        at_us: u64,
        level: Level,
        take: &mut impl FnMut(Timed) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        if !self.passes(at_us, level) {
            return ControlFlow::Continue(());
        }
        if at_us + u64::from(self.shaft_bounce_us) >= self.next_us {
            self.bounced(at_us, level, self.shaft_bounce_us, Input::Shaft);
            return ControlFlow::Continue(());
        }
        let mut times = 0;
        if self.shaft_bounce_us >= 2 {
            times = bounce::short(&mut self.random, self.shaft_bounce_us);
        }
        // The bounce ends at the level of its edge.
        (self.shaft_sensor, self.levels[0]) = (level, level);
        let (mut edge_us, mut now, mut bounced) = (at_us, level, 0);
        let flow = loop {
            if take(Timed::input(edge_us, Input::Shaft(now))).is_break() {
                break self.rest_waits(at_us, now, times);
            }
            if times == 0 {
                break ControlFlow::Continue(());
            }
            edge_us = at_us + u64::from(times.trailing_zeros());
            times &= times - 1;
            now = Level::from_bool(!now.is_active());
            bounced += 1;
        };
        self.tally.bounce_edges += bounced;
        flow
    }

    /// A bounce was interrupted after an edge to `last`: `times` are still to come.
    #[cold]
    fn rest_waits(&mut self, at_us: u64, last: Level, times: u64) -> ControlFlow<()> {
        (self.shaft_sensor, self.levels[0]) = (last, last);
        let mut level = last;
        for after_us in (0..64).filter(|n| times >> n & 1 == 1) {
            level = Level::from_bool(!level.is_active());
            self.tally.bounce_edges += 1;
            self.emit(at_us + after_us, Input::Shaft(level));
        }
        ControlFlow::Break(())
    }

    /// What the board sees of it; nothing where a line keeps its level. The shaft line
    /// is active while the sensor or a spike makes it so: a spike adds to a pulse and
    /// never ends one.
    fn on_wire(&mut self, what: What) -> Option<Input> {
        match what {
            What::Spike(begins) if begins => self.spikes += 1,
            What::Spike(_) => self.spikes -= 1,
            What::Input(Input::Shaft(level)) => self.shaft_sensor = level,
            What::Input(input) => {
                let (line, level) = match input {
                    Input::Trim(level) => (1, level),
                    Input::ThreadBreak(level) => (2, level),
                    Input::Jump(level) => (3, level),
                    _ => return Some(input),
                };
                return self.changes(line, level).then_some(input);
            }
        }
        let level = Level::from_bool(self.shaft_sensor.is_active() || self.spikes > 0);
        self.changes(0, level).then_some(Input::Shaft(level))
    }

    fn changes(&mut self, line: usize, level: Level) -> bool {
        std::mem::replace(&mut self.levels[line], level) != level
    }

    /// Takes one undisturbed event in. A power-up or a cut does not come out again:
    /// the caller passes it on itself.
    pub fn push(&mut self, clean: Timed) {
        match clean.event {
            SewingEvent::PowerUp => {
                self.swallowed = Swallowed::default();
                self.levels = [Level::Inactive; 4];
                self.shaft_sensor = Level::Inactive;
                self.spikes = 0;
                self.needle_dead = false;
                self.last_rise_us = clean.at_us;
            }
            SewingEvent::Cut => {
                self.waiting.clear();
                self.look_at_first();
            }
            SewingEvent::Input(input) => {
                self.needle_failure(clean.at_us);
                self.input(clean.at_us, input);
            }
        }
    }

    fn input(&mut self, at_us: u64, input: Input) {
        match input {
            Input::Shaft(level) => self.shaft(at_us, level),
            Input::Trim(level) => self.contact(at_us, Sensor::Trim, level, Input::Trim),
            Input::ThreadBreak(level) => {
                self.contact(at_us, Sensor::Break, level, Input::ThreadBreak);
            }
            Input::Jump(level) => self.contact(at_us, Sensor::Jump, level, Input::Jump),
            Input::NeedleCode(code) => self.needle_code(at_us, code),
            Input::NeedleLevel(level_mv) => self.needle_level(at_us, level_mv),
            Input::PowerFail(_) => self.emit(at_us, input),
        }
    }

    fn shaft(&mut self, at_us: u64, level: Level) {
        if self.passes(at_us, level) {
            self.bounced(at_us, level, self.shaft_bounce_us, Input::Shaft);
        }
    }

    /// Whether an edge of the shaft sensor gets through; what else comes of it waits.
    #[inline]
    fn passes(&mut self, at_us: u64, level: Level) -> bool {
        if level.is_active() {
            self.gap_us = at_us - self.last_rise_us;
            self.last_rise_us = at_us;
            let lost = self.random.chance(self.missed) || self.is_lost(Sensor::Shaft, at_us);
            if lost {
                self.tally.missed_pulses += 1;
                self.swallowed.insert(Sensor::Shaft);
            }
            self.spikes(at_us);
            !lost
        } else {
            !self.swallowed.remove(Sensor::Shaft)
        }
    }

    /// Spikes and extra pulses after the pulse at `at_us`, where the line is at
    /// rest: from half of the gap on.
    #[inline]
    fn spikes(&mut self, at_us: u64) {
        // A dead sensor gives no spikes, and after a stop the gap says nothing.
        if self.gap_us > 2_000_000 || self.is_dead(Sensor::Shaft, at_us) {
            return;
        }
        let gap_us = self.gap_us as u32;
        if self.random.chance(self.glitch) {
            self.tally.glitches += 1;
            let start_us = at_us + u64::from(gap_us / 2 + self.random.below(gap_us / 4));
            self.spike(start_us, self.glitch_us.min(gap_us / 8).max(1));
        } else if self.random.chance(self.extra) {
            self.tally.extra_pulses += 1;
            self.spike(at_us + u64::from(gap_us / 2), gap_us / 4);
        }
    }

    #[cold]
    fn spike(&mut self, start_us: u64, length_us: u32) {
        self.wait(start_us, What::Spike(true));
        self.wait(start_us + u64::from(length_us), What::Spike(false));
    }

    fn contact(&mut self, at_us: u64, sensor: Sensor, level: Level, input: fn(Level) -> Input) {
        if level.is_active() {
            if self.is_lost(sensor, at_us) {
                match sensor {
                    Sensor::Trim => self.tally.missed_trims += 1,
                    Sensor::Break => self.tally.missed_breaks += 1,
                    _ => self.tally.missed_jump_changes += 1,
                }
                self.swallowed.insert(sensor);
                return;
            }
        } else if self.swallowed.remove(sensor) {
            return;
        }
        self.bounced(at_us, level, self.contact_bounce_us, input);
    }

    /// An edge, then an even number of further ones within `bounce_us`.
    fn bounced(&mut self, at_us: u64, level: Level, bounce_us: u32, input: fn(Level) -> Input) {
        self.emit(at_us, input(level));
        if bounce_us < 2 {
            return;
        }
        let other = Level::from_bool(!level.is_active());
        let times = bounce::times(&mut self.random, bounce_us);
        for (n, after_us) in times.into_iter().enumerate() {
            self.tally.bounce_edges += 1;
            let level = if n % 2 == 0 { other } else { level };
            self.emit(at_us + u64::from(after_us), input(level));
        }
    }

    fn needle_code(&mut self, at_us: u64, code: u8) {
        let before = std::mem::replace(&mut self.code, code);
        if self.needle_dead {
            self.tally.hidden_needle_changes += 1;
            return;
        }
        let mut now = before;
        for line in 0..4 {
            let bit = 1 << line;
            if (before ^ code) & bit != 0 && self.needle_skew_us > 0 {
                now ^= bit;
                if now != code {
                    // The lines settle one by one, the last at the full skew.
                    let after_us = self.random.below(self.needle_skew_us);
                    self.emit(at_us + u64::from(after_us) / 4 * (line + 1), needle(now));
                }
            }
        }
        self.emit(at_us + u64::from(self.needle_skew_us), needle(code));
    }

    fn needle_level(&mut self, at_us: u64, level_mv: u16) {
        if self.needle_dead {
            self.tally.hidden_needle_changes += 1;
            self.emit(at_us, Input::NeedleLevel(0));
            return;
        }
        let noise_mv = u32::from(self.needle_noise_mv);
        let off_mv = self.random.below(2 * noise_mv + 1);
        let with_noise_mv = (u32::from(level_mv) + off_mv).saturating_sub(noise_mv);
        self.emit(at_us, Input::NeedleLevel(with_noise_mv.min(65_535) as u16));
    }

    /// Drops the code lines when the needle sensor dies, and restores them after.
    fn needle_failure(&mut self, at_us: u64) {
        let dead = self.is_dead(Sensor::Needle, at_us);
        if dead != self.needle_dead {
            self.needle_dead = dead;
            let uses_code = self.code != 0;
            if uses_code {
                self.emit(at_us, needle(if dead { 0 } else { self.code }));
            }
        }
    }

    #[inline]
    fn is_dead(&self, sensor: Sensor, at_us: u64) -> bool {
        at_us >= self.sound_until_us && self.is_dead_then(sensor, at_us)
    }

    fn is_dead_then(&self, sensor: Sensor, at_us: u64) -> bool {
        self.failures.iter().any(|f| f.sensor == sensor && f.flaky.is_none() && f.covers(at_us))
    }

    #[inline]
    fn is_lost(&mut self, sensor: Sensor, at_us: u64) -> bool {
        at_us >= self.sound_until_us && self.is_lost_then(sensor, at_us)
    }

    fn is_lost_then(&mut self, sensor: Sensor, at_us: u64) -> bool {
        let random = &mut self.random;
        self.failures.iter().any(|f| {
            f.sensor == sensor
                && f.covers(at_us)
                && f.flaky.is_none_or(|chance| random.chance(chance))
        })
    }

    fn emit(&mut self, at_us: u64, input: Input) {
        self.wait(at_us, What::Input(input));
    }

    fn wait(&mut self, at_us: u64, what: What) {
        // Few wait, and most that come are the last.
        let later = self.waiting.iter().rev().take_while(|(other_us, _)| *other_us > at_us);
        let place = self.waiting.len() - later.count();
        self.waiting.insert(place, (at_us, what));
        self.look_at_first();
    }

    fn look_at_first(&mut self) {
        self.next_us = self.waiting.front().map_or(u64::MAX, |(at_us, _)| *at_us);
    }
}

const fn needle(code: u8) -> Input {
    Input::NeedleCode(code)
}
