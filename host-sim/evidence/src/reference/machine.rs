//! From the signals of a session to what they count.
//!
//! Everything is worked out from the list of all edges of the session, as of a moment.

/// Needles that a board tells apart.
pub const NEEDLES: usize = 16;
/// The loop reads the needle voltage every 10 ms; this is that and a margin, µs.
const SAMPLED_US: u64 = 20_000;

/// How the needle position comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NeedleBy {
    /// Not at all.
    Nothing,
    /// By code lines.
    Code,
    /// By a voltage.
    Voltage,
}

/// What was set at fitting, as far as it decides what counts (`docs/SCENARIOS.md`, `[board]`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wiring {
    /// Shaft pulses in a revolution.
    pub pulses_per_revolution: u64,
    /// Fastest the shaft turns, revolutions/min.
    pub top_speed_rpm: u64,
    /// The shaft holds a level for this long before it counts, µs.
    pub shaft_debounce_us: u64,
    /// The same for trim, break and jump, µs.
    pub contact_debounce_us: u64,
    /// Longest gap between pulses that is running, ms.
    pub run_gap_ms: u64,
    /// Needles on the head.
    pub needles: u8,
    /// How their position comes in.
    pub needle_by: NeedleBy,
    /// A position holds for this long before it is believed, ms.
    pub needle_debounce_ms: u64,
    /// Voltage of each needle, mV.
    pub needle_level_mv: [u16; NEEDLES],
    /// A reading this close to a voltage selects its needle, mV.
    pub needle_guard_mv: u16,
    /// A selected needle is kept for so much more, mV.
    pub needle_hysteresis_mv: u16,
    /// Most running time that a cut may cost, s.
    pub checkpoint_running_s: u64,
    /// Most trims that a cut may cost.
    pub checkpoint_trims: u64,
    /// Most powered time that a cut may cost, s.
    pub checkpoint_powered_s: u64,
    /// The service interval counts running time, else powered time.
    pub service_by_running: bool,
    /// The service interval, h.
    pub service_interval_h: u64,
}

impl Wiring {
    /// A pulse that comes sooner than this after the last is a glitch: 60 % of the period of
    /// the pulses at the fastest speed, in whole µs.
    fn shortest_us(&self) -> u64 {
        60_000_000 * 60 / 100 / (self.top_speed_rpm * self.pulses_per_revolution)
    }
}

/// A change at an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    /// The shaft's sensor is active, or not.
    Shaft(bool),
    /// The trimmer's contact.
    Trim(bool),
    /// The thread-break sensor.
    Break(bool),
    /// The needle bar is disengaged.
    Jump(bool),
    /// The code lines read this; needle `n` is `n` − 1.
    Code(u8),
    /// The needle voltage is this, mV.
    Voltage(u16),
    /// The power-fail warning.
    Warning(bool),
}

/// What is counted (`docs/FORMAT.md`, section 6).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Powered time, ms.
    pub powered_ms: u64,
    /// Running time, ms.
    pub running_ms: u64,
    /// Stitches of each needle.
    pub needles: [u64; NEEDLES],
    /// Stitches of no known needle.
    pub unattributed: u64,
    /// Jumps.
    pub jumps: u64,
    /// Trims.
    pub trims: u64,
    /// Thread breaks of each needle.
    pub breaks: [u64; NEEDLES],
    /// Thread breaks of no known needle.
    pub unattributed_breaks: u64,
    /// Power-ups.
    pub power_ups: u64,
    /// Shaft pulses rejected.
    pub glitches: u64,
    /// Edges that were lost before they could be counted.
    pub missed: u64,
}

impl Counts {
    /// All figures, each with its name.
    #[must_use]
    pub fn named(&self) -> Vec<(String, u64)> {
        let mut all = vec![
            ("powered ms".into(), self.powered_ms),
            ("running ms".into(), self.running_ms),
            ("unattributed".into(), self.unattributed),
            ("jumps".into(), self.jumps),
            ("trims".into(), self.trims),
            ("breaks of no needle".into(), self.unattributed_breaks),
            ("power-ups".into(), self.power_ups),
            ("glitches".into(), self.glitches),
            ("missed edges".into(), self.missed),
        ];
        let needles = self.needles.iter().enumerate();
        all.extend(needles.map(|(n, count)| (format!("needle {}", n + 1), *count)));
        let breaks = self.breaks.iter().enumerate();
        all.extend(breaks.map(|(n, count)| (format!("breaks of needle {}", n + 1), *count)));
        all
    }

    /// All stitches.
    #[must_use]
    pub fn stitches(&self) -> u64 {
        self.unattributed + self.needles.iter().sum::<u64>()
    }

    /// All thread breaks.
    #[must_use]
    pub fn all_breaks(&self) -> u64 {
        self.unattributed_breaks + self.breaks.iter().sum::<u64>()
    }

    /// The sum of both.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        let add = |a: [u64; NEEDLES], b: [u64; NEEDLES]| std::array::from_fn(|n| a[n] + b[n]);
        Self {
            powered_ms: self.powered_ms + other.powered_ms,
            running_ms: self.running_ms + other.running_ms,
            needles: add(self.needles, other.needles),
            unattributed: self.unattributed + other.unattributed,
            jumps: self.jumps + other.jumps,
            trims: self.trims + other.trims,
            breaks: add(self.breaks, other.breaks),
            unattributed_breaks: self.unattributed_breaks + other.unattributed_breaks,
            power_ups: self.power_ups + other.power_ups,
            glitches: self.glitches + other.glitches,
            missed: self.missed + other.missed,
        }
    }
}

/// What is known of the needle over the plate at a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Needle {
    /// This one.
    Is(usize),
    /// None that is certain.
    Unknown,
    /// The documents allow both: this one, or none.
    Maybe(usize),
}

/// Counts, and how many stitches and breaks of them may as well be unattributed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counted {
    /// The counts, with all that may be a needle's given to none.
    pub counts: Counts,
    /// Stitches that may be this needle's instead.
    pub maybe: [u64; NEEDLES],
    /// Breaks that may be this needle's instead.
    pub maybe_breaks: [u64; NEEDLES],
}

/// All that came in since power-up.
#[derive(Clone, Debug)]
pub struct Session {
    /// What the board counts with, from when on, µs.
    wiring: Vec<(u64, Wiring)>,
    edges: Vec<(u64, Signal)>,
    /// Edges that the board was told it lost.
    pub missed: u64,
    /// The loop reads the needle voltage now and then: it has no edges.
    sampled: bool,
}

impl Session {
    /// Nothing came in yet.
    #[must_use]
    pub fn new(wiring: Wiring, sampled: bool) -> Self {
        Self { wiring: vec![(0, wiring)], edges: Vec::new(), missed: 0, sampled }
    }

    /// An edge, in the order of time.
    pub fn edge(&mut self, at_us: u64, signal: Signal) {
        self.edges.push((at_us, signal));
    }

    /// From `at_us` on the board counts with this.
    pub fn wired(&mut self, at_us: u64, wiring: Wiring) {
        self.wiring.push((at_us, wiring));
    }

    fn wiring_at(&self, at_us: u64) -> &Wiring {
        let stands = self.wiring.iter().rev().find(|(from, _)| *from <= at_us);
        &stands.unwrap_or(&self.wiring[0]).1
    }

    /// The changes of one signal that have held for their debounce time by `now_us`, each at the
    /// edge that began it, and how often it was active for a shorter time than that.
    fn changes(
        &self,
        now_us: u64,
        of: impl Fn(Signal) -> Option<bool>,
        hold_us: impl Fn(&Wiring) -> u64,
    ) -> (Vec<(u64, bool)>, u64) {
        let came = self.edges.iter().filter(|(at, _)| *at <= now_us);
        let edges: Vec<(u64, bool)> =
            came.filter_map(|(at, signal)| Some((*at, of(*signal)?))).collect();
        let (mut stands, mut changes, mut short) = (false, Vec::new(), 0);
        for (n, (at_us, level)) in edges.iter().enumerate() {
            let until_us = edges.get(n + 1).map_or(now_us, |next| next.0);
            if *level == stands {
                short += u64::from(!level && n > 0 && edges[n - 1].1);
            } else if until_us - at_us >= hold_us(self.wiring_at(*at_us)) {
                stands = *level;
                changes.push((*at_us, *level));
            }
        }
        (changes, short)
    }

    /// The first edge of the bounce out of which the shaft's pulse came that holds since `at_us`: it
    /// bounces as long as the sensor is not at rest for the debounce time.
    fn bounced_from(&self, at_us: u64) -> u64 {
        let hold_us = self.wiring_at(at_us).shaft_debounce_us;
        let (mut from_us, mut rest_us) = (at_us, None);
        for (edge_us, signal) in self.edges.iter().rev().filter(|(edge_us, _)| *edge_us <= at_us) {
            match signal {
                Signal::Shaft(true)
                    if rest_us.is_none_or(|rest_us| from_us - rest_us < hold_us) =>
                {
                    (from_us, rest_us) = (*edge_us, None);
                }
                Signal::Shaft(true) => break,
                Signal::Shaft(false) => rest_us = Some(*edge_us),
                _ => {}
            }
        }
        from_us
    }

    fn is_jumping(&self, at_us: u64) -> bool {
        let jump = |signal| if let Signal::Jump(level) = signal { Some(level) } else { None };
        let (changes, _) = self.changes(at_us, jump, |w| w.contact_debounce_us);
        changes.last().is_some_and(|change| change.1)
    }

    /// The needle that the lines or the voltage read after each change, and since when.
    fn readings(&self, until_us: u64) -> Vec<(u64, Option<usize>)> {
        let mut readings = vec![(0, None)];
        for (at_us, signal) in self.edges.iter().filter(|(at, _)| *at <= until_us) {
            let wiring = self.wiring_at(*at_us);
            let on_head = |n: &usize| *n < usize::from(wiring.needles);
            let before = readings.last().and_then(|reading: &(u64, Option<usize>)| reading.1);
            let reads = match (signal, wiring.needle_by) {
                (Signal::Code(code), NeedleBy::Code) => Some(usize::from(*code)).filter(on_head),
                (Signal::Voltage(mv), NeedleBy::Voltage) => {
                    let within =
                        |n: usize, band: u16| wiring.needle_level_mv[n].abs_diff(*mv) <= band;
                    let kept = wiring.needle_guard_mv + wiring.needle_hysteresis_mv;
                    before.filter(|n| within(*n, kept)).or_else(|| {
                        (0..NEEDLES).filter(on_head).find(|n| within(*n, wiring.needle_guard_mv))
                    })
                }
                _ => continue,
            };
            if reads != before {
                readings.push((*at_us, reads));
            }
        }
        readings
    }

    /// The needle at `at_us`, for a signal that was certain `certain_us` later.
    fn needle_at(&self, at_us: u64, certain_us: u64) -> Needle {
        let hold_us = self.wiring_at(at_us).needle_debounce_ms * 1_000;
        let readings = self.readings(at_us);
        let (mut believed, mut gone_us) = (None, 0);
        for pair in readings.windows(2) {
            let ((since_us, reads), (until_us, _)) = (pair[0], pair[1]);
            if let Some(needle) = reads
                && (until_us - since_us >= hold_us || believed == reads)
            {
                (believed, gone_us) = (Some(needle), until_us);
            }
        }
        let (since_us, reads) = readings[readings.len() - 1];
        let held_us = at_us - since_us;
        let late_us = if self.sampled && self.wiring_at(at_us).needle_by == NeedleBy::Voltage {
            SAMPLED_US
        } else {
            0
        };
        let then = match reads {
            Some(needle) if held_us >= hold_us + late_us => Needle::Is(needle),
            Some(needle) if held_us >= hold_us => Needle::Maybe(needle),
            // It came back: at once if it was only a flicker.
            Some(needle) if believed == Some(needle) && since_us - gone_us < hold_us => {
                Needle::Is(needle)
            }
            Some(needle) if believed == Some(needle) => Needle::Maybe(needle),
            _ => Needle::Unknown,
        };
        let changes_soon = self.readings(at_us + certain_us + late_us).len() > readings.len();
        match (then, believed) {
            (Needle::Is(needle), _) if changes_soon => Needle::Maybe(needle),
            (Needle::Unknown, Some(needle)) if changes_soon => Needle::Maybe(needle),
            _ => then,
        }
    }

    /// What counts by `now_us`.
    #[must_use]
    pub fn counted(&self, now_us: u64) -> Counted {
        let mut all = Counted::default();
        let counts = &mut all.counts;
        counts.power_ups = 1;
        counts.powered_ms = now_us / 1_000;
        counts.missed = self.missed;

        let shaft = |signal| if let Signal::Shaft(level) = signal { Some(level) } else { None };
        let (turns, short) = self.changes(now_us, shaft, |w| w.shaft_debounce_us);
        counts.glitches = short;
        let (mut last_us, mut running_us, mut pulses) = (None, 0, 0);
        // The earliest date of the last pulse, and up to when the run is counted.
        let (mut earliest_us, mut counted_to_us) = (0, 0);
        for at_us in turns.iter().filter(|turn| turn.1).map(|turn| turn.0) {
            let wiring = self.wiring_at(at_us);
            if let Some(last_us) = last_us {
                let gap_us: u64 = at_us - last_us;
                if gap_us < wiring.shortest_us() {
                    counts.glitches += 1;
                    continue;
                }
            }
            let from_us = self.bounced_from(at_us);
            if last_us.is_some() && at_us - earliest_us <= wiring.run_gap_ms * 1_000 {
                running_us += from_us - counted_to_us;
                counted_to_us = from_us;
            } else {
                counted_to_us = at_us;
            }
            earliest_us = from_us;
            last_us = Some(at_us);
            pulses += 1;
            if pulses < wiring.pulses_per_revolution {
                continue;
            }
            pulses = 0;
            if self.is_jumping(at_us) {
                counts.jumps += 1;
                continue;
            }
            match self.needle_at(at_us, wiring.shaft_debounce_us) {
                Needle::Is(needle) => counts.needles[needle] += 1,
                Needle::Unknown => counts.unattributed += 1,
                Needle::Maybe(needle) => {
                    counts.unattributed += 1;
                    all.maybe[needle] += 1;
                }
            }
        }
        counts.running_ms = running_us / 1_000;

        let contact = |w: &Wiring| w.contact_debounce_us;
        let trim = |signal| if let Signal::Trim(level) = signal { Some(level) } else { None };
        let (trims, _) = self.changes(now_us, trim, contact);
        counts.trims = trims.iter().filter(|change| change.1).count() as u64;
        let torn = |signal| if let Signal::Break(level) = signal { Some(level) } else { None };
        let (breaks, _) = self.changes(now_us, torn, contact);
        for (at_us, _) in breaks.iter().filter(|change| change.1) {
            match self.needle_at(*at_us, contact(self.wiring_at(*at_us))) {
                Needle::Is(needle) => counts.breaks[needle] += 1,
                Needle::Unknown => counts.unattributed_breaks += 1,
                Needle::Maybe(needle) => {
                    counts.unattributed_breaks += 1;
                    all.maybe_breaks[needle] += 1;
                }
            }
        }
        all
    }
}
