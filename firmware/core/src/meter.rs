//! Counts what the machine does while the board is powered: the session.
//!
//! Invariants: every accepted pulse is counted once; every stitch goes to one
//! needle or to the unattributed; running time is carried in µs; nothing here
//! knows about the past or about memory.
//!
//! Performance: [`Meter::input`] with a shaft edge is the hottest code there is.

use crate::counters::Counters;
use crate::input::{Input, Level};
use crate::needle::NeedlePosition;
use crate::rules::Rules;
use crate::settings::Settings;
use crate::signal::Signal;
use crate::time::Instant;

/// The session's counters and the signals that feed them.
#[derive(Clone, Debug)]
pub struct Meter {
    settings: Settings,
    shortest_period_us: u64,
    run_gap_us: u64,
    shaft_debounce_us: u64,
    contact_debounce_us: u64,
    shaft: Signal,
    trim: Signal,
    thread_break: Signal,
    jump: Signal,
    needle: NeedlePosition,
    last_pulse: Instant,
    pulses: u8,
    running_us: u64,
    counted: Counters,
}

impl Meter {
    /// A meter at reset.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        let mut meter = Self {
            settings,
            shortest_period_us: 0,
            run_gap_us: 0,
            shaft_debounce_us: 0,
            contact_debounce_us: 0,
            shaft: Signal::new(),
            trim: Signal::new(),
            thread_break: Signal::new(),
            jump: Signal::new(),
            needle: NeedlePosition::new(),
            last_pulse: Instant::NEVER,
            pulses: 0,
            running_us: 0,
            counted: Counters { power_ups: 1, ..Counters::default() },
        };
        meter.set(settings);
        meter
    }

    /// Counts with other settings from now on.
    pub fn set(&mut self, settings: Settings) {
        let highest = if settings.needle_source == self.settings.needle_source {
            settings.needles
        } else {
            0
        };
        self.needle.forget_above(highest);
        self.settings = settings;
        self.shortest_period_us = u64::from(settings.shortest_period_us());
        self.run_gap_us = u64::from(settings.run_gap_ms) * 1_000;
        self.shaft_debounce_us = u64::from(settings.shaft_debounce_us);
        self.contact_debounce_us = u64::from(settings.contact_debounce_us);
    }

    /// The settings have become known after some counting with others: revolutions
    /// that were taken to have fewer pulses are made fewer, rounded down, so that
    /// nothing is above the truth.
    pub fn learn(&mut self, settings: Settings) {
        let known = u64::from(settings.pulses_per_revolution);
        let assumed = u64::from(self.settings.pulses_per_revolution);
        if known > assumed {
            let counted = &mut self.counted;
            let others = [&mut counted.unattributed_stitches, &mut counted.jumps];
            for count in counted.needle_stitches.iter_mut().chain(others) {
                *count = (*count * assumed).checked_div(known).unwrap_or(0);
            }
        }
        self.set(settings);
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
        self.run_gap_us
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

    /// One change of one input.
    #[inline]
    pub fn input<R: Rules>(&mut self, at: Instant, input: Input) {
        match input {
            Input::Shaft(level) => {
                self.debounce_shaft::<R>(at);
                if self.shaft.edge(at, level) && !level.is_active() {
                    self.counted.glitches = self.counted.glitches.saturating_add(1);
                }
            }
            Input::NeedleCode(code) => {
                // A revolution that began before this change belongs before it.
                if R::needle_before_change() {
                    self.debounce_shaft::<R>(at);
                }
                self.needle.code(at, code, &self.settings);
            }
            Input::NeedleLevel(level_mv) => {
                self.debounce_shaft::<R>(at);
                self.needle.level(at, level_mv, &self.settings);
            }
            Input::Trim(level) => {
                self.debounce_contacts::<R>(at);
                self.trim.edge(at, level);
            }
            Input::ThreadBreak(level) => {
                self.debounce_contacts::<R>(at);
                self.thread_break.edge(at, level);
            }
            Input::Jump(level) => {
                // A revolution that began before this edge belongs before it.
                self.debounce_shaft::<R>(at);
                self.debounce_contacts::<R>(at);
                self.jump.edge(at, level);
            }
            Input::PowerFail(_) => {}
        }
    }

    /// Takes in all changes that have become certain by `now`.
    pub fn debounce<R: Rules>(&mut self, now: Instant) {
        self.debounce_shaft::<R>(now);
        self.debounce_contacts::<R>(now);
    }

    /// When the next contact becomes certain.
    #[must_use]
    pub fn certain_at(&self) -> Instant {
        let us = self.contact_debounce_us;
        self.trim.certain_at(us).min(self.thread_break.certain_at(us)).min(self.jump.certain_at(us))
    }

    #[inline]
    fn debounce_shaft<R: Rules>(&mut self, now: Instant) {
        if let Some(change) = self.shaft.debounce(now, self.shaft_debounce_us)
            && change.level.is_active()
        {
            self.pulse::<R>(change.at);
        }
    }

    fn debounce_contacts<R: Rules>(&mut self, now: Instant) {
        let us = if R::debounce_contacts() { self.contact_debounce_us } else { 0 };
        let counts = |level: Level| level.is_active() || !R::count_on_one_edge();
        if self.trim.debounce(now, us).is_some_and(|c| counts(c.level)) {
            self.counted.trims = self.counted.trims.saturating_add(1);
        }
        if let Some(change) = self.thread_break.debounce(now, us)
            && change.level.is_active()
        {
            self.thread_break(change.at);
        }
        self.jump.debounce(now, us);
    }

    #[inline]
    fn pulse<R: Rules>(&mut self, at: Instant) {
        if self.last_pulse != Instant::NEVER {
            let gap_us = at.since_us(self.last_pulse);
            let shortest_us = self.shortest_period_us + u64::from(!R::shortest_period_counts());
            if gap_us < shortest_us && R::reject_fast_pulses() {
                self.counted.glitches = self.counted.glitches.saturating_add(1);
                return;
            }
            if gap_us + u64::from(!R::run_gap_counts()) <= self.run_gap_us {
                self.running_us +=
                    if R::carry_remainder() { gap_us } else { gap_us / 1_000 * 1_000 };
            }
        }
        self.last_pulse = at;
        self.pulses += 1;
        if self.pulses >= self.settings.pulses_per_revolution {
            self.pulses = 0;
            self.revolution::<R>(at);
        }
    }

    #[inline]
    fn revolution<R: Rules>(&mut self, at: Instant) {
        if R::jumps_apart() && self.jump.level(at, self.contact_debounce_us) == Level::Active {
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
