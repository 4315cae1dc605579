//! Counts what the machine does while the board is powered: the session.
//!
//! Invariants: every accepted pulse is counted once; every stitch goes to one
//! needle or to the unattributed; running time is carried in µs and never above the
//! truth, however the sensor bounces: a run lasts from the latest date that its
//! first pulse can have to the earliest of its last one; nothing here knows about the
//! past or about memory.
//!
//! Performance: [`Meter::shaft`] is the hottest code there is.

use crate::counters::Counters;
use crate::input::{Input, Level};
use crate::needle::NeedlePosition;
use crate::rules::Rules;
use crate::settings::Settings;
use crate::signal::{Change, Signal};
use crate::time::Instant;

/// What a pulse that comes sooner than the machine can turn adds to `too_soon`; one that is
/// accepted takes 1 away. Our own choice, as is the next one.
const TOO_SOON_WEIGHT: u16 = 64;
/// `too_soon` from which on the shaft signal is faulty: at least 16 such pulses, and more than
/// one in 64 over the time since they began.
const TOO_SOON_MAX: u16 = 16 * TOO_SOON_WEIGHT;

/// The times of the settings, µs: what the hottest code compares with.
#[derive(Clone, Copy, Debug)]
#[expect(clippy::struct_field_names, reason = "a name ends with its unit")]
struct Times {
    shortest_period_us: u64,
    run_gap_us: u64,
    shaft_debounce_us: u64,
    contact_debounce_us: u64,
}

impl Times {
    // Inlined it would make a board's start 900 bytes longer.
    #[inline(never)]
    fn of(settings: &Settings) -> Self {
        Self {
            shortest_period_us: u64::from(settings.shortest_period_us()),
            run_gap_us: u64::from(settings.run_gap_ms) * 1_000,
            shaft_debounce_us: u64::from(settings.shaft_debounce_us),
            contact_debounce_us: u64::from(settings.contact_debounce_us),
        }
    }
}

/// The session's counters and the signals that feed them.
#[derive(Clone, Debug)]
pub struct Meter {
    settings: Settings,
    times: Times,
    shaft: Signal,
    trim: Signal,
    thread_break: Signal,
    jump: Signal,
    /// When the shaft began a change that was under way while the jump contact was taken for
    /// certain, and whether it jumped then.
    jump_before: (Instant, Level),
    needle: NeedlePosition,
    last_pulse: Instant,
    /// The earliest date that the last pulse can have.
    last_pulse_earliest: Instant,
    /// Up to when the run under way is in `running_us`.
    run_counted_to: Instant,
    pulses: u8,
    /// Grows with pulses that come too soon, and shrinks with those that are accepted.
    too_soon: u16,
    running_us: u64,
    counted: Counters,
}

impl Meter {
    /// A meter at reset.
    #[inline]
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        // Made in one piece and inlined: else a board stands on the stack of its start twice.
        Self {
            settings,
            times: Times::of(&settings),
            shaft: Signal::new(),
            trim: Signal::new(),
            thread_break: Signal::new(),
            jump: Signal::new(),
            jump_before: (Instant::NEVER, Level::Inactive),
            needle: NeedlePosition::new(),
            last_pulse: Instant::NEVER,
            last_pulse_earliest: Instant::ZERO,
            run_counted_to: Instant::ZERO,
            pulses: 0,
            too_soon: 0,
            running_us: 0,
            counted: Counters { power_ups: 1, ..Counters::default() },
        }
    }

    /// Counts with other settings from now on.
    pub fn set<R: Rules>(&mut self, settings: Settings) {
        let highest = if settings.needle_source == self.settings.needle_source {
            settings.needles
        } else {
            0
        };
        self.needle.wiring::<R>(highest, &settings);
        self.settings = settings;
        self.times = Times::of(&settings);
    }

    /// The settings have become known after some counting with others: revolutions
    /// that were taken to have fewer pulses are made fewer, rounded down, so that
    /// nothing is above the truth.
    pub fn learn<R: Rules>(&mut self, settings: Settings) {
        let known = u64::from(settings.pulses_per_revolution);
        let assumed = u64::from(self.settings.pulses_per_revolution);
        if known > assumed && R::learn_pulses() {
            let counted = &mut self.counted;
            let others = [&mut counted.unattributed_stitches, &mut counted.jumps];
            for count in counted.needle_stitches.iter_mut().chain(others) {
                *count = (*count * assumed).checked_div(known).unwrap_or(0);
            }
        }
        self.set::<R>(settings);
    }

    /// What the meter counts with.
    #[must_use]
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Running time so far, µs.
    #[inline]
    #[must_use]
    pub fn running_us(&self) -> u64 {
        self.running_us
    }

    /// The last pulse that was counted.
    #[must_use]
    pub fn last_pulse(&self) -> Option<Instant> {
        Some(self.last_pulse).filter(|at| *at != Instant::NEVER)
    }

    /// Longest gap between pulses that counts as running, µs.
    #[must_use]
    pub fn run_gap_us(&self) -> u64 {
        self.times.run_gap_us
    }

    /// Whether many pulses that were long enough to count came sooner than the machine can
    /// turn: the sensor bounces for longer than the debounce time, or the top speed is set
    /// too low. Revolutions may be missing then.
    #[must_use]
    pub fn is_shaft_faulty(&self) -> bool {
        self.too_soon >= TOO_SOON_MAX
    }

    /// Trims so far.
    #[inline]
    #[must_use]
    pub fn trims(&self) -> u64 {
        self.counted.trims
    }

    /// Where the needle position stands.
    #[must_use]
    pub fn needle(&self) -> &NeedlePosition {
        &self.needle
    }

    /// What was counted so far, without the times.
    #[must_use]
    pub fn counted(&self) -> &Counters {
        &self.counted
    }

    /// Counts lost edges.
    pub fn missed_edges(&mut self, count: u32) {
        self.counted.missed_edges = self.counted.missed_edges.saturating_add(count);
    }

    /// The session's counters at `now`.
    #[must_use]
    pub fn session(&self, now: Instant) -> Counters {
        let mut session = self.counted;
        session.powered_ms = now.as_us() / 1_000;
        session.running_ms = self.running_us / 1_000;
        session
    }

    /// An edge of the shaft sensor.
    #[inline]
    pub fn shaft<R: Rules>(&mut self, at: Instant, level: Level) {
        self.debounce_shaft::<R>(at);
        let is_short = self.shaft.edge(at, level, self.times.shaft_debounce_us);
        if is_short && !level.is_active() {
            self.counted.glitches = self.counted.glitches.saturating_add(1);
        }
    }

    /// One change of one input.
    pub fn input<R: Rules>(&mut self, at: Instant, input: Input) {
        match input {
            Input::Shaft(level) => self.shaft::<R>(at, level),
            Input::NeedleCode(code) => {
                // A revolution or break that began before this change belongs before it.
                if R::needle_before_change() {
                    self.debounce::<R>(at);
                }
                self.needle.code(at, code, &self.settings);
            }
            Input::NeedleLevel(level_mv) => {
                self.debounce::<R>(at);
                self.needle.level(at, level_mv, &self.settings);
            }
            Input::Trim(level) => {
                self.debounce::<R>(at);
                self.trim.edge(at, level, self.times.contact_debounce_us);
            }
            Input::ThreadBreak(level) => {
                self.debounce::<R>(at);
                self.thread_break.edge(at, level, self.times.contact_debounce_us);
            }
            Input::Jump(level) => {
                // A revolution that began before this edge belongs before it.
                self.debounce_shaft::<R>(at);
                self.debounce_contacts::<R>(at);
                self.jump.edge(at, level, self.times.contact_debounce_us);
            }
            Input::PowerFail(_) => {}
        }
    }

    /// Takes in all changes that have become certain by `now`, the shaft's first: a
    /// revolution that began before a change of the jump contact belongs before it.
    pub fn debounce<R: Rules>(&mut self, now: Instant) {
        if R::shaft_before_contacts() {
            self.debounce_shaft::<R>(now);
        }
        self.debounce_contacts::<R>(now);
    }

    /// When it is certain whether the shaft sensor changed, if it began to bounce by `began_by`;
    /// at most two debounce times after that, however it bounces.
    #[must_use]
    pub fn shaft_certain_at(&self, began_by: Instant) -> Option<Instant> {
        let us = self.times.shaft_debounce_us;
        Some(self.shaft.settled_at(us)).filter(|at| *at <= began_by.plus_us(2 * us))
    }

    /// When the next contact becomes certain.
    #[must_use]
    pub fn certain_at(&self) -> Instant {
        let us = self.times.contact_debounce_us;
        self.trim.certain_at(us).min(self.thread_break.certain_at(us)).min(self.jump.certain_at(us))
    }

    #[inline]
    fn debounce_shaft<R: Rules>(&mut self, now: Instant) {
        if let Some(change) = self.shaft.debounce(now, self.times.shaft_debounce_us)
            && change.level.is_active()
        {
            self.pulse::<R>(change);
        }
    }

    fn debounce_contacts<R: Rules>(&mut self, now: Instant) {
        let us = if R::debounce_contacts() { self.times.contact_debounce_us } else { 0 };
        let counts = |level: Level| level.is_active() || !R::count_on_one_edge();
        if self.trim.debounce(now, us).is_some_and(|c| counts(c.level)) {
            self.counted.trims = self.counted.trims.saturating_add(1);
        }
        if let Some(change) = self.thread_break.debounce(now, us)
            && change.level.is_active()
        {
            self.thread_break(change.at);
        }
        // A pulse that is not certain yet counts by the level when it began.
        let began = self.shaft.other_since();
        let level = self.jump.level(began, us);
        if self.jump.debounce(now, us).is_some() && began != self.jump_before.0 {
            self.jump_before = (began, level);
        }
    }

    fn pulse<R: Rules>(&mut self, Change { at, bounced_from, .. }: Change) {
        let earliest = if R::run_ends_at_earliest() { bounced_from } else { at };
        let mut is_running = false;
        if self.last_pulse != Instant::NEVER {
            let shortest_us =
                self.times.shortest_period_us + u64::from(!R::shortest_period_counts());
            if at.since_us(self.last_pulse) < shortest_us && R::reject_fast_pulses() {
                self.counted.glitches = self.counted.glitches.saturating_add(1);
                self.too_soon = self.too_soon.saturating_add(TOO_SOON_WEIGHT);
                return;
            }
            // As long as it can have been: a longer one is no running time at all.
            let longest_us = at.since_us(self.last_pulse_earliest);
            is_running = longest_us + u64::from(!R::run_gap_counts()) <= self.times.run_gap_us;
        }
        if is_running {
            let ran_us = earliest.since_us(self.run_counted_to);
            self.running_us += if R::carry_remainder() { ran_us } else { ran_us / 1_000 * 1_000 };
            self.run_counted_to = earliest;
        } else {
            self.run_counted_to = at;
        }
        self.too_soon = self.too_soon.saturating_sub(1);
        self.last_pulse_earliest = earliest;
        self.last_pulse = at;
        self.pulses += 1;
        if self.pulses >= self.settings.pulses_per_revolution {
            self.pulses = 0;
            self.revolution::<R>(at);
        }
    }

    #[inline]
    fn revolution<R: Rules>(&mut self, at: Instant) {
        let jump = match self.jump_before {
            (began, level) if began == at && R::jump_as_of_pulse() => level,
            _ => self.jump.level(at, self.times.contact_debounce_us),
        };
        if R::jumps_apart() && jump == Level::Active {
            self.counted.jumps += 1;
            return;
        }
        let needle = self.needle.needle(at, &self.settings).or_else(|| {
            if R::unattributed_when_unsure() { None } else { self.needle.last_debounced() }
        });
        match needle.and_then(|n| self.counted.needle_stitches.get_mut(n.index())) {
            Some(stitches) => *stitches += 1,
            None => self.counted.unattributed_stitches += 1,
        }
    }

    fn thread_break(&mut self, at: Instant) {
        let needle = self.needle.needle(at, &self.settings);
        let breaks = needle
            .and_then(|n| self.counted.needle_breaks.get_mut(n.index()))
            .unwrap_or(&mut self.counted.unattributed_breaks);
        *breaks = breaks.saturating_add(1);
    }
}
