//! The faults of the signals once more, plain and slow: one heap of events, one draw after the
//! other, nothing past the heap. What `distort` gives is held against it, event by event.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};

use shaftbook_core::input::{Input, Level};

use crate::scenario::{FailureKind, Faults, Scenario, Sensor, SensorFailure};
use crate::sewing::distort::DistortTally;
use crate::sewing::event::{SewingEvent, Timed};
use crate::sewing::machine::SewingMachine;
use crate::sewing::random::{Chance, Random};
use crate::sewing::truth::Truth;

/// A life with faults, event by event.
pub struct PlainSewing {
    machine: SewingMachine,
    distort: PlainDistort,
    clean: Option<Timed>,
    now_us: u64,
}

impl PlainSewing {
    pub fn new(scenario: &Scenario, seed: u64) -> Self {
        Self {
            machine: SewingMachine::new(scenario, seed),
            distort: PlainDistort::new(&scenario.faults, seed),
            clean: None,
            now_us: 0,
        }
    }

    pub fn truth(&self) -> Truth {
        self.machine.truth(self.now_us)
    }

    pub fn tally(&self) -> DistortTally {
        self.distort.tally
    }
}

impl Iterator for PlainSewing {
    type Item = Timed;

    fn next(&mut self) -> Option<Timed> {
        loop {
            if self.clean.is_none() {
                self.clean = self.machine.next_event();
            }
            let clean_us = self.clean.map_or(u64::MAX, |clean| clean.at_us);
            if let Some(timed) = self.distort.pop_before(clean_us) {
                self.now_us = timed.at_us;
                return Some(timed);
            }
            let clean = self.clean.take()?;
            self.distort.push(clean);
            if !matches!(clean.event, SewingEvent::Input(_)) {
                self.now_us = clean.at_us;
                return Some(clean);
            }
        }
    }
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
struct PlainDistort {
    contact_bounce_us: u32,
    shaft_bounce_us: u32,
    missed: Chance,
    glitch: Chance,
    glitch_us: u32,
    extra: Chance,
    needle_noise_mv: u16,
    needle_skew_us: u32,
    failures: Vec<Fails>,
    random: Random,

    /// Events still to come out, by time and order of arrival.
    waiting: BinaryHeap<Reverse<Waiting>>,
    arrivals: u64,
    /// Inputs whose last active edge was swallowed: the inactive one is too.
    swallowed: BTreeSet<Sensor>,
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
struct Waiting {
    key: (u64, u64),
    what: What,
}

#[derive(Clone, Copy, Debug)]
enum What {
    Input(Input),
    /// A spike on the shaft line begins or ends.
    Spike(bool),
}

impl PartialEq for Waiting {
    fn eq(&self, other: &Self) -> bool {
        self.key == other.key
    }
}

impl Eq for Waiting {}

impl PartialOrd for Waiting {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Waiting {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.key.cmp(&other.key)
    }
}

impl PlainDistort {
    fn new(faults: &Faults, seed: u64) -> Self {
        Self {
            contact_bounce_us: faults.contact_bounce_us,
            shaft_bounce_us: faults.shaft_bounce_us,
            missed: Chance::of(faults.missed_pulse_probability),
            glitch: Chance::of(faults.glitch_probability),
            glitch_us: faults.glitch_us.max(1),
            extra: Chance::of(faults.extra_pulse_probability),
            needle_noise_mv: faults.needle_noise_mv,
            needle_skew_us: faults.needle_skew_us,
            failures: faults.failures.iter().map(Fails::of).collect(),
            random: Random::new(seed, 4),
            waiting: BinaryHeap::new(),
            arrivals: 0,
            swallowed: BTreeSet::new(),
            levels: [Level::Inactive; 4],
            shaft_sensor: Level::Inactive,
            spikes: 0,
            needle_dead: false,
            code: 0,
            last_rise_us: 0,
            gap_us: 0,
            tally: DistortTally::default(),
        }
    }

    /// The next event that comes out before `clean_us`, if any.
    fn pop_before(&mut self, clean_us: u64) -> Option<Timed> {
        while self.waiting.peek()?.0.key.0 <= clean_us {
            let Reverse(waiting) = self.waiting.pop()?;
            if let Some(input) = self.on_wire(waiting.what) {
                return Some(Timed::input(waiting.key.0, input));
            }
        }
        None
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
    fn push(&mut self, clean: Timed) {
        match clean.event {
            SewingEvent::PowerUp => {
                self.swallowed.clear();
                self.levels = [Level::Inactive; 4];
                self.shaft_sensor = Level::Inactive;
                self.spikes = 0;
                self.needle_dead = false;
                self.last_rise_us = clean.at_us;
            }
            SewingEvent::Cut => self.waiting.clear(),
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
        if level.is_active() {
            self.gap_us = at_us - self.last_rise_us;
            self.last_rise_us = at_us;
            let lost = self.random.chance(self.missed) || self.is_lost(Sensor::Shaft, at_us);
            if lost {
                self.tally.missed_pulses += 1;
                self.swallowed.insert(Sensor::Shaft);
            }
            self.spikes(at_us);
            if lost {
                return;
            }
        } else if self.swallowed.remove(&Sensor::Shaft) {
            return;
        }
        self.bounced(at_us, level, self.shaft_bounce_us, Input::Shaft);
    }

    /// Spikes and extra pulses after the pulse at `at_us`, where the line is at
    /// rest: from half of the gap on.
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
        } else if self.swallowed.remove(&sensor) {
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
        let pairs = self.random.below(5);
        let other = Level::from_bool(!level.is_active());
        let mut times: Vec<u32> =
            (0..2 * pairs).map(|_| 1 + self.random.below(bounce_us)).collect();
        times.sort_unstable();
        times.dedup();
        times.truncate(times.len() & !1);
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

    fn is_dead(&self, sensor: Sensor, at_us: u64) -> bool {
        self.failures.iter().any(|f| f.sensor == sensor && f.flaky.is_none() && f.covers(at_us))
    }

    fn is_lost(&mut self, sensor: Sensor, at_us: u64) -> bool {
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
        self.arrivals += 1;
        self.waiting.push(Reverse(Waiting { key: (at_us, self.arrivals), what }));
    }
}

const fn needle(code: u8) -> Input {
    Input::NeedleCode(code)
}
