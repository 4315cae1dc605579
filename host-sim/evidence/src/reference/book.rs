//! What a board knows beside its counts: wear, the service interval, who may do what, the
//! journal.

use super::machine::Counts;

/// Lines of the journal that are kept.
const LINES: usize = 16;
/// Powered time in a day, s.
const DAY_S: u64 = 86_400;

/// What a part wears by (`docs/FORMAT.md`, section 7).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// Powered time.
    Powered,
    /// Running time.
    Running,
    /// All stitches.
    Stitches,
    /// Trims.
    Trims,
    /// Power-ups.
    PowerUps,
    /// Calendar days.
    Days,
    /// Stitches of this needle, from 0.
    Needle(usize),
}

impl Measure {
    /// Its value: ms for times.
    #[must_use]
    pub fn value(self, counts: &Counts, day: Option<u16>) -> u64 {
        match self {
            Self::Powered => counts.powered_ms,
            Self::Running => counts.running_ms,
            Self::Stitches => counts.stitches(),
            Self::Trims => counts.trims,
            Self::PowerUps => counts.power_ups,
            Self::Days => u64::from(day.unwrap_or(0)),
            Self::Needle(needle) => counts.needles[needle],
        }
    }

    /// Whether it is a time, whose limits are in s.
    #[must_use]
    pub fn is_time(self) -> bool {
        matches!(self, Self::Powered | Self::Running)
    }
}

/// A component of the profile, and where its measure stood at its last renewal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// Its kind.
    pub kind: u8,
    /// What it wears by.
    pub measure: Measure,
    /// Only the engineer may renew it.
    pub engineers: bool,
    /// A service renews it too.
    pub with_service: bool,
    /// Notice limit: s for times.
    pub notice: u64,
    /// Due limit: s for times.
    pub due: u64,
    /// Where its measure stood.
    pub baseline: u64,
}

/// How a part stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// Below its notice limit.
    Fine,
    /// At notice.
    Notice,
    /// Due.
    Due,
}

/// A line of the journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Line {
    /// What happened (`docs/FORMAT.md`, section 7).
    pub event: u64,
    /// Of what.
    pub subject: u64,
    /// Powered time then, s.
    pub powered_s: u64,
    /// The day that was known.
    pub day: Option<u16>,
}

/// The journal's events.
pub mod event {
    /// Renewed.
    pub const RENEWED: u64 = 1;
    /// Served.
    pub const SERVED: u64 = 2;
    /// A reply was tried.
    pub const TRIED: u64 = 4;
    /// A fault was seen.
    pub const FAULT: u64 = 5;
    /// A component came due by the calendar.
    pub const DUE_BY_DAY: u64 = 6;
}

/// All that a person changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Book {
    /// The profile.
    pub parts: Vec<Part>,
    /// Powered time at the last service, ms.
    pub served_powered_ms: u64,
    /// Running time at the last service, ms.
    pub served_running_ms: u64,
    /// Services done.
    pub services: u64,
    /// Replies tried since the last right one.
    pub tries: u64,
    /// The newest lines of the journal.
    pub journal: Vec<Line>,
    /// Lines ever written.
    pub lines: u64,
}

impl Book {
    /// Just fitted: the baselines stand where the measures stood.
    #[must_use]
    pub fn fitted(parts: Vec<Part>) -> Self {
        Self {
            parts,
            served_powered_ms: 0,
            served_running_ms: 0,
            services: 0,
            tries: 0,
            journal: Vec::new(),
            lines: 0,
        }
    }

    /// A line of the journal.
    pub fn note(&mut self, event: u64, subject: u64, at: &Counts, day: Option<u16>) {
        self.journal.push(Line { event, subject, powered_s: at.powered_ms / 1_000, day });
        self.lines += 1;
        if self.journal.len() > LINES {
            self.journal.remove(0);
        }
    }

    fn rebase(&mut self, places: u32, at: &Counts, day: Option<u16>) {
        for (place, part) in self.parts.iter_mut().enumerate() {
            if places >> place & 1 == 1 {
                part.baseline = part.measure.value(at, day);
            }
        }
    }

    /// These were renewed at `at`; with the engineer's reply, the tries are over.
    pub fn renew(&mut self, places: u32, by_engineer: bool, at: &Counts, day: Option<u16>) {
        self.rebase(places, at, day);
        if by_engineer {
            self.tries = 0;
        }
        self.note(event::RENEWED, u64::from(by_engineer), at, day);
    }

    /// A service was done at `at`.
    pub fn serve(&mut self, at: &Counts, day: Option<u16>) {
        let with_service = self.places(|part| part.with_service);
        self.rebase(with_service, at, day);
        (self.served_powered_ms, self.served_running_ms) = (at.powered_ms, at.running_ms);
        self.services = (self.services + 1).min(65_535);
        self.tries = 0;
        self.note(event::SERVED, 0, at, day);
    }

    /// A reply was tried at `at`, right or wrong.
    pub fn tried(&mut self, at: &Counts, day: Option<u16>) {
        self.tries = (self.tries + 1).min(255);
        self.note(event::TRIED, 0, at, day);
    }

    /// A new fitting: what still means the same keeps its baseline, what is new begins now.
    pub fn refit(&mut self, parts: &[Part], at: &Counts, day: Option<u16>) {
        let anew = parts.iter().map(|part| {
            let same = |old: &&Part| old.kind == part.kind && old.measure == part.measure;
            let kept = self.parts.iter().find(same).map(|old| old.baseline);
            Part { baseline: kept.unwrap_or_else(|| part.measure.value(at, day)), ..*part }
        });
        self.parts = anew.collect();
        self.tries = 0;
    }

    /// A first fitting may be dated to any moment up to then.
    pub fn refit_late(&mut self, powered_ms: u64) {
        for part in self.parts.iter_mut().filter(|part| part.measure == Measure::Powered) {
            part.baseline = part.baseline.max(powered_ms);
        }
    }

    /// Whether `other` is this book, or `late`, or one between them in its times.
    ///
    /// # Errors
    /// What is not, in a sentence.
    pub fn allows(&self, late: &Self, other: &Self) -> Result<(), String> {
        let within = |what: &str, least: u64, is: u64, most: u64| {
            if is >= least && is <= most {
                return Ok(());
            }
            Err(format!("{what}: the board has {is}, the documents say {least} to {most}"))
        };
        within("services", self.services, other.services, late.services)?;
        within("tries", self.tries, other.tries, late.tries)?;
        let served = (self.served_powered_ms, late.served_powered_ms);
        within("served at powered ms", served.0, other.served_powered_ms, served.1)?;
        let served = (self.served_running_ms, late.served_running_ms);
        within("served at running ms", served.0, other.served_running_ms, served.1)?;
        let parts = self.parts.len() as u64;
        within("parts", parts, other.parts.len() as u64, parts)?;
        for (place, part) in self.parts.iter().enumerate() {
            let (is, late) = (&other.parts[place], &late.parts[place]);
            let what = format!("baseline at place {place}");
            within(&what, part.baseline, is.baseline, late.baseline)?;
            if (Part { baseline: is.baseline, ..*part }) != *is {
                return Err(format!("the part at place {place} is {is:?}, not {part:?}"));
            }
        }
        within("lines of the journal", self.lines, other.lines, self.lines)?;
        let lines = self.journal.len() as u64;
        within("lines kept", lines, other.journal.len() as u64, lines)?;
        for (n, line) in self.journal.iter().enumerate() {
            let (is, late) = (&other.journal[n], &late.journal[n]);
            within("powered s of a line", line.powered_s, is.powered_s, late.powered_s)?;
            if (Line { powered_s: is.powered_s, ..*line }) != *is {
                return Err(format!("a line of the journal is {is:?}, not {line:?}"));
            }
        }
        Ok(())
    }

    /// The places of the parts for which `is` holds, a bit each.
    pub fn places(&self, is: impl Fn(&Part) -> bool) -> u32 {
        let bits = self.parts.iter().enumerate();
        bits.filter(|(_, part)| is(part)).fold(0, |bits, (place, _)| bits | 1 << place)
    }

    /// Whether an operator may not renew these alone.
    #[must_use]
    pub fn needs_engineer(&self, places: u32) -> bool {
        places & self.places(|part| part.engineers) != 0
    }

    /// Wear of the part at `place`: ms for times.
    #[must_use]
    pub fn wear(&self, place: usize, counts: &Counts, day: Option<u16>) -> u64 {
        let part = &self.parts[place];
        let value = part.measure.value(counts, day);
        if part.measure == Measure::Days && part.baseline == 0 {
            // Nobody knows how long ago it was renewed.
            return day.map_or(0, |day| u64::from(day).max(part.due));
        }
        value.saturating_sub(part.baseline)
    }

    /// How the part at `place` stands.
    #[must_use]
    pub fn standing(&self, place: usize, counts: &Counts, day: Option<u16>) -> Standing {
        let part = &self.parts[place];
        let unit = if part.measure.is_time() { 1_000 } else { 1 };
        let worn = self.wear(place, counts, day) / unit;
        if worn >= part.due {
            Standing::Due
        } else if worn >= part.notice {
            Standing::Notice
        } else {
            Standing::Fine
        }
    }

    /// How many parts stand so.
    #[must_use]
    pub fn number(&self, wanted: Standing, counts: &Counts, day: Option<u16>) -> u64 {
        let standing = |place: &usize| self.standing(*place, counts, day) == wanted;
        (0..self.parts.len()).filter(standing).count() as u64
    }

    /// Time since the last service, ms.
    #[must_use]
    pub fn interval_ms(&self, counts: &Counts, by_running: bool) -> u64 {
        if by_running {
            counts.running_ms.saturating_sub(self.served_running_ms)
        } else {
            counts.powered_ms.saturating_sub(self.served_powered_ms)
        }
    }

    /// The latest day that the journal and the baselines know, with whole days of powered time.
    #[must_use]
    pub fn day(&self, counts: &Counts) -> Option<u16> {
        let now_s = counts.powered_ms / 1_000;
        let lines = self.journal.iter().filter_map(|line| {
            let since = now_s.saturating_sub(line.powered_s) / DAY_S;
            Some((u64::from(line.day?) + since).min(65_535) as u16)
        });
        let renewed = self.parts.iter().filter(|part| part.measure == Measure::Days);
        lines.chain(renewed.map(|part| part.baseline as u16).filter(|day| *day != 0)).max()
    }
}

/// The wait before the next try, after so many unsuccessful ones, s (`docs/SECURITY.md`).
#[must_use]
pub fn wait_s(tries: u64) -> u64 {
    match tries {
        0..=2 => 0,
        _ => (30 << (tries - 3).min(20)).min(86_400),
    }
}

/// The day to go by after a clock said `reading`, and whether the clock is to be believed
/// (`docs/CARE.md`, *Calendar days*); day 2,193 is 1 January 2026, day 16,802 the last of 2065.
#[must_use]
pub fn believed(known: Option<u16>, reading: Option<u16>) -> (Option<u16>, bool) {
    let Some(day) = reading else { return (known, false) };
    let believe = match known {
        Some(known) => day >= known && day - known <= 400,
        None => (2_193..=16_802).contains(&day),
    };
    if believe { (Some(day), true) } else { (known, false) }
}
