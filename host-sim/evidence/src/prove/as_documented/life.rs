//! A life: what a machine does and people ask of its board, step by step, as plain data, so that
//! it can be drawn, printed and made shorter.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;

/// A contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Contact {
    Trim,
    Break,
}

/// What is wrong with a reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reply {
    Right,
    Wrong,
    /// It was right once.
    Used,
    /// Half an hour and a second have passed.
    Aged,
    /// It is the engineer's for something else.
    OtherPurpose,
    /// The challenge was answered once already, wrongly.
    SecondTry,
}

/// A step of a life.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// Revolutions of the shaft.
    Turn { revolutions: u32, period_us: u32, bounce_us: u32 },
    /// One pulse so long after the begin of the last, give or take.
    PulseAfter { limit: Limit, off_us: i32 },
    /// The shaft's sensor is active for its debounce time, give or take.
    Spike { off_us: i32 },
    /// A needle comes over the plate.
    Needle { needle: u8 },
    /// A pulse, and so long after its begin the needle changes.
    PulseThenNeedle { needle: u8, after_us: u32 },
    /// A needle position is read for its debounce time, give or take, with a pulse at its end.
    Flicker { needle: u8, off_us: i32 },
    /// The voltage is so far beside the needle's.
    Off { mv: i16 },
    /// A contact closes for its debounce time, give or take, or for 50 ms.
    Close { contact: Contact, off_us: Option<i32>, bounces: u8 },
    /// Thread breaks, one after the other.
    Breaks { times: u8 },
    /// A break, and the needle changes so long after.
    BreakThenNeedle { needle: u8, after_us: u32 },
    /// An edge is lost: the shaft's sensor, or the trimmer's contact, goes active twice.
    Twice { shaft: bool, apart_us: u32 },
    /// Jumps.
    Jump { revolutions: u32, after_us: u32 },
    /// Nothing for a while.
    Stand { ms: u32 },
    /// The capture lost so many edges (the bare core is told).
    Missed { edges: u8 },
    /// The warning comes and goes, so often, with a stitch before each.
    Dips { times: u8, apart_ms: u32, twice: bool },
    /// A stitch, then the warning, and after the hold-up the cut.
    WarnedCut { hold_up_us: u32, twice: bool, tear: u8, early: u16 },
    /// The cut, so long after a trim.
    Cut { after_trim_us: u32, tear: u8, early: u16 },
    /// The operator renews, at once or while nothing else is waited for.
    Renew { places: u32, wait: bool },
    /// Renewal with a reply.
    RenewBy { places: u32, reply: Reply },
    /// A service with a reply.
    Service { reply: Reply },
    /// So many wrong replies for a service, then two services with the right one.
    Guesses { wrong: u8 },
    /// A service without one.
    ServiceAlone,
    /// A new fitting of the machine's variant, with a reply.
    Refit { variant: u32, reply: Reply },
    /// The clock says this day.
    Clock { day: Option<u16> },
    /// A renewal on the clock's day, so many hours without a clock, and a cut (the bare core).
    Powered { hours: u8 },
    /// A person confirms this day.
    Confirm { day: u16 },
    /// All that can be seen is looked at: port, lamp, panel, code.
    Look,
}

/// A time of the settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Limit {
    RunGap,
    Shortest,
}

/// A life.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Life {
    pub seed: u64,
    pub variant: u32,
    pub steps: Vec<Step>,
}

fn below(rng: &mut Pcg32, end: u32) -> u32 {
    rng.next_u32() % end
}

fn one_of<T: Copy>(rng: &mut Pcg32, of: &[T]) -> T {
    of[below(rng, of.len() as u32) as usize]
}

fn reply(rng: &mut Pcg32) -> Reply {
    use Reply::{Aged, OtherPurpose, Right, SecondTry, Used, Wrong};
    one_of(rng, &[Right, Right, Right, Wrong, Wrong, Used, Aged, OtherPurpose, SecondTry])
}

impl Life {
    /// A life of `steps` steps.
    pub(super) fn drawn(seed: u64, steps: usize) -> Self {
        let mut rng = Pcg32::seed_from_u64(seed);
        let variant = rng.next_u32();
        let steps = (0..steps).map(|_| step(&mut rng, variant)).collect();
        Self { seed, variant, steps }
    }

    /// Without steps `from` to `to`.
    pub(super) fn without(&self, from: usize, to: usize) -> Self {
        let mut life = self.clone();
        life.steps.drain(from..to);
        life
    }
}

fn step(rng: &mut Pcg32, variant: u32) -> Step {
    let off_us = one_of(rng, &[-1, 0, 1, -1, 0, 1, 7]);
    let needle = 1 + below(rng, 16) as u8;
    let early = one_of(rng, &[0_u16, 0, 0, 8, 60]);
    let tear = below(rng, 6) as u8;
    match below(rng, 48) {
        0..=7 => Step::Turn {
            revolutions: 1 + below(rng, 24),
            period_us: one_of(rng, &[60_000, 100_000, 300_000, 1_900_000]),
            bounce_us: one_of(rng, &[0, 0, 15]),
        },
        8 => Step::PulseAfter { limit: Limit::RunGap, off_us },
        9 => Step::PulseAfter { limit: Limit::Shortest, off_us },
        10 => Step::Spike { off_us },
        11..=14 => Step::Needle {
            needle: 1 + below(rng, if variant.is_multiple_of(3) { 16 } else { 4 }) as u8,
        },
        15 => Step::PulseThenNeedle { needle, after_us: one_of(rng, &[10, 60, 1_000, 300]) },
        16 => Step::Flicker { needle, off_us },
        17 => Step::Off { mv: one_of(rng, &[0, 59, 60, 61, -60, -61, 90, 91, -90, -91]) },
        18 | 19 => Step::Close {
            contact: one_of(rng, &[Contact::Trim, Contact::Break]),
            off_us: Some(off_us),
            bounces: 0,
        },
        20..=22 => Step::Close {
            contact: one_of(rng, &[Contact::Trim, Contact::Trim, Contact::Break]),
            off_us: None,
            bounces: below(rng, 3) as u8,
        },
        23 => Step::BreakThenNeedle { needle, after_us: one_of(rng, &[1_000, 5_000, 20_000]) },
        24 => {
            Step::Twice { shaft: below(rng, 2) == 0, apart_us: one_of(rng, &[30, 60, 900, 7_000]) }
        }
        25 => {
            Step::Jump { revolutions: 1 + below(rng, 5), after_us: one_of(rng, &[40_000, 3_000]) }
        }
        26 | 27 => Step::Stand { ms: one_of(rng, &[500, 3_000, 9_000, 16_000, 61_000, 70_000]) },
        28 => Step::Missed { edges: 1 + below(rng, 3) as u8 },
        29 => Step::Dips {
            times: one_of(rng, &[1, 2, 8, 9]),
            apart_ms: one_of(rng, &[60, 300, 1_100]),
            twice: below(rng, 4) == 0,
        },
        30..=32 => Step::WarnedCut {
            hold_up_us: one_of(rng, &[40_000, 60_000, 15_000, 5_000, 300_000]),
            twice: below(rng, 3) == 0,
            tear,
            early,
        },
        33..=35 => Step::Cut { after_trim_us: below(rng, 40_000), tear, early },
        36 | 37 => Step::Renew { places: places(rng), wait: below(rng, 3) > 0 },
        38 | 39 => Step::RenewBy { places: places(rng), reply: reply(rng) },
        40 => Step::Service { reply: reply(rng) },
        41 if below(rng, 30) == 0 => Step::Powered { hours: one_of(rng, &[23, 25, 49]) },
        41 => Step::ServiceAlone,
        42 => Step::Refit { variant: rng.next_u32(), reply: reply(rng) },
        43 => Step::Clock {
            day: one_of(
                rng,
                &[None, Some(0), Some(2_193), Some(2_192), Some(3_000), Some(3_029), Some(3_030)],
            )
            .map(|day| day + one_of(rng, &[0, 0, 1, 400, 401, 14_609, 14_610])),
        },
        44 => Step::Confirm { day: 3_000 + below(rng, 2_000) as u16 },
        45 => Step::Guesses { wrong: below(rng, 6) as u8 },
        46 => Step::Breaks { times: one_of(rng, &[3, 35]) },
        _ => Step::Look,
    }
}

fn places(rng: &mut Pcg32) -> u32 {
    match below(rng, 3) {
        0 => 1 << below(rng, 11),
        1 => 1 << below(rng, 10) | 1 << below(rng, 10),
        _ => 1 + below(rng, 0x7FF),
    }
}
