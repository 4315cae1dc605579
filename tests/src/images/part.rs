//! What the memory part of a board holds, and what it must hold.
//!
//! Invariant: every check is a function of plain values that returns what it objects to, so
//! that a test can hand it something broken.

use std::path::Path;

use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::identity::BoardId;
use shaftbook_core::settings::Settings;
use shaftbook_tools::inspect::compose::inspect;
use shaftbook_tools::inspect::image::Image;
use shaftbook_tools::inspect::recovered::ImageRecovered;
use shaftbook_tools::inspect::report::ImageReport;
use shaftbook_world::figures::CounterFigures;

/// Identity of the image under test.
pub const ID: BoardId = BoardId(0x5EED);
/// Page of the part, bytes.
const PAGE_BYTES: u16 = 64;

/// What was read from a part.
#[derive(Clone, Debug)]
pub struct Found {
    /// The lifetime counters.
    pub counters: Counters,
    /// What `shaftbook inspect` prints.
    pub report: ImageReport,
}

/// Reads the part in the file `path`.
///
/// # Errors
/// Nothing can be recovered, or the two readings of `inspect` differ.
pub fn read(path: &Path) -> Result<Found, String> {
    read_of(path, ID)
}

/// The same of board `id`.
///
/// # Errors
/// As [`read`].
pub fn read_of(path: &Path, id: BoardId) -> Result<Found, String> {
    let image = Image::load(path, PAGE_BYTES).map_err(|error| error.to_string())?;
    let report = inspect(&image, Some(id));
    let Some(counters) = ImageRecovered::run(&image, id).lifetime else {
        return Err(format!("nothing can be recovered: {:?}", report.fault));
    };
    if !report.differences.is_empty() {
        return Err(format!("the two readings differ: {:?}", report.differences));
    }
    if !report.recovery_faults.is_empty() {
        return Err(format!("recovery says: {:?}", report.recovery_faults));
    }
    Ok(Found { counters, report })
}

/// In what two sets of counts differ: needle by needle, trims, jumps, breaks.
#[must_use]
pub fn differences(found: &Counters, expected: &Counters) -> Vec<String> {
    let count = |c: &Counters| {
        let mut counts = vec![
            ("trims".into(), c.trims),
            ("jumps".into(), c.jumps),
            ("stitches of no needle".into(), c.unattributed_stitches),
            ("breaks of no needle".into(), u64::from(c.unattributed_breaks)),
        ];
        for n in 0..NEEDLES_MAX {
            counts.push((format!("stitches of needle {}", n + 1), c.needle_stitches[n]));
            counts.push((format!("breaks of needle {}", n + 1), u64::from(c.needle_breaks[n])));
        }
        counts
    };
    let pairs = count(found).into_iter().zip(count(expected));
    pairs
        .filter(|((_, a), (_, b))| a != b)
        .map(|((name, a), (_, b))| format!("{name}: {a}, not {b}"))
        .collect()
}

/// In what the figures that `inspect` printed differ from `counters`.
#[must_use]
pub fn printed_differences(report: &ImageReport, counters: &Counters) -> Vec<String> {
    let expected = CounterFigures::of(counters, NEEDLES_MAX as u8);
    match &report.lifetime {
        Some(figures) if *figures == expected => Vec::new(),
        printed => vec![format!("inspect says {printed:?}, not {expected:?}")],
    }
}

/// A board between two readings of its part.
#[derive(Clone, Copy, Debug)]
pub struct Session<'a> {
    /// On the part before it was powered up.
    pub before: &'a Counters,
    /// The least that had happened at the machine when it was killed.
    pub least: &'a Counters,
    /// The most that can have happened.
    pub most: &'a Counters,
    /// Whether it had said that it is ready.
    pub was_ready: bool,
    /// What it had said is durable, line by line.
    pub said: &'a [String],
    /// How it was set up.
    pub settings: &'a Settings,
}

impl Session<'_> {
    /// What is wrong with `after`, read from the part after the kill.
    #[must_use]
    pub fn objections(&self, after: &Counters) -> Vec<String> {
        let mut found = Vec::new();
        if !self.before.at_most(after) {
            found.push(format!("something that was on the part is lost: {after:?}"));
        }
        let most = self.before.plus(self.most);
        let ignored = Counters { glitches: u32::MAX, ..most };
        if !after.at_most(&ignored) {
            found.push(format!("above what was fed: {after:?} against {most:?}"));
        }
        for line in self.said {
            if let Some(said) = durable(line)
                && !said.is_on(after)
            {
                found.push(format!("\"{line}\" was said, and is lost"));
            }
        }
        if self.was_ready {
            found.extend(self.over_the_bound(after));
        }
        found
    }

    /// What is lost over the bounds of `docs/DESIGN.md`.
    fn over_the_bound(&self, after: &Counters) -> Vec<String> {
        let lost = self.before.plus(self.least).since(after);
        let bounds = [
            (
                "running time, ms",
                lost.running_ms,
                u64::from(self.settings.checkpoint_running_s) * 1_000,
            ),
            ("trims", lost.trims, self.settings.checkpoint_trims.into()),
            (
                "powered time, ms",
                lost.powered_ms,
                u64::from(self.settings.checkpoint_powered_s) * 1_000,
            ),
        ];
        let over = bounds.into_iter().filter(|(_, lost, bound)| lost > bound);
        over.map(|(name, lost, bound)| format!("lost {lost} of {name}, over {bound}")).collect()
    }
}

/// Figures of a line `durable …` of the service port.
struct Durable([u64; 4]);

impl Durable {
    fn is_on(&self, part: &Counters) -> bool {
        let on_part = [part.stitches(), part.trims, part.running_ms, part.powered_ms];
        self.0.iter().zip(on_part).all(|(said, on_part)| *said <= on_part)
    }
}

fn durable(line: &str) -> Option<Durable> {
    let mut figures = line.strip_prefix("durable ")?.split(' ').map(str::parse);
    let mut next = || figures.next()?.ok();
    Some(Durable([next()?, next()?, next()?, next()?]))
}

/// What the port's answer to `state` says otherwise than the part did before power-up.
#[must_use]
pub fn state_differences(said: &[String], part: &Counters) -> Vec<String> {
    let mut expected = vec![
        "ready 1".into(),
        "known 1".into(),
        format!("stitches {}", part.stitches()),
        format!("trims {}", part.trims),
        format!("jumps {}", part.jumps),
        format!("running_ms {}", part.running_ms),
        format!("power_ups {}", part.power_ups + 1),
        format!("unattributed {} {}", part.unattributed_stitches, part.unattributed_breaks),
    ];
    for n in 0..NEEDLES_MAX {
        expected.push(format!("needle {} {}", n + 1, part.needle_stitches[n]));
        expected.push(format!("breaks {} {}", n + 1, part.needle_breaks[n]));
    }
    expected.retain(|line| !said.contains(line));
    expected.into_iter().map(|line| format!("\"{line}\" is not said")).collect()
}
