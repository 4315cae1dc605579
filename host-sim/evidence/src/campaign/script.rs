//! The script of a run: what the world does to the machine, step by step, and the faults that
//! come on the way. Written to a file, a script is a regression that can be replayed.
//!
//! Invariant: a script and the start in it decide everything. To replay one, no seed is needed
//! but those that it carries.

use serde::{Deserialize, Serialize};

use super::kind::Kind;

/// Where a run starts: a board that was fitted, and sewed until so many checkpoints
/// were stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Start {
    /// Whether the board has been fitted.
    pub fitted: bool,
    /// Number of the ring's first lap, 0 to 2^21 − 1.
    pub lap: u32,
    /// Checkpoints stored before the run begins, 0 to 5,000.
    pub checkpoints: u32,
    /// Seed of the part's program times.
    pub seed: u64,
}

/// What the world does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Step {
    /// Sews.
    Sew {
        /// Needle, 1 to 15.
        needle: u8,
        /// Stitches, at least 1.
        stitches: u32,
        /// Time of one, ms, 1 to 10,000.
        period_ms: u32,
    },
    /// Jumps: the needle bar is disengaged.
    Jump {
        /// Revolutions, at least 1.
        jumps: u32,
        /// Time of one, ms, 1 to 10,000.
        period_ms: u32,
    },
    /// Trims.
    Trim {
        /// Actuations, at least 1.
        times: u32,
    },
    /// A thread breaks.
    Break {
        /// Needle, 1 to 15.
        needle: u8,
    },
    /// The machine stands, powered.
    Stand {
        /// For so long, s, at least 1.
        seconds: u32,
    },
    /// The operator renews components.
    Renew {
        /// A bit each.
        components: u32,
    },
    /// A service with the engineer's right reply.
    Service,
    /// Somebody tries a wrong reply.
    WrongReply,
    /// A new fitting with the engineer's right reply.
    Refit,
}

/// The smallest piece of a step: after each it is seen whether the supply has gone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// Brings this needle over the plate.
    Select(u8),
    /// One stitch on it, in so many µs.
    Stitch(u8, u64),
    /// The needle bar is disengaged, or engaged again.
    Jump(bool),
    /// One revolution of a jump, in so many µs.
    JumpTurn(u64),
    /// One actuation of the trimmer.
    Trim,
    /// A thread break on this needle.
    Break(u8),
    /// One second passes.
    Stand,
    /// See [`Step::Renew`].
    Renew(u32),
    /// See [`Step::Service`].
    Service,
    /// See [`Step::WrongReply`].
    WrongReply,
    /// See [`Step::Refit`].
    Refit,
}

impl Step {
    /// How many pieces it has, at least 1.
    #[must_use]
    pub fn acts(&self) -> u32 {
        match *self {
            Self::Sew { stitches, .. } => stitches.saturating_add(1),
            Self::Jump { jumps, .. } => jumps.saturating_add(2),
            Self::Trim { times } => times.max(1),
            Self::Stand { seconds } => seconds.max(1),
            _ => 1,
        }
    }

    /// Piece `number` of it, 0 to `acts` − 1.
    #[must_use]
    pub fn act(&self, number: u32) -> Act {
        match *self {
            Self::Sew { needle, .. } if number == 0 => Act::Select(needle),
            Self::Sew { needle, period_ms, .. } => {
                Act::Stitch(needle, u64::from(period_ms) * 1_000)
            }
            Self::Jump { .. } if number == 0 => Act::Jump(true),
            Self::Jump { jumps, .. } if number > jumps => Act::Jump(false),
            Self::Jump { period_ms, .. } => Act::JumpTurn(u64::from(period_ms) * 1_000),
            Self::Trim { .. } => Act::Trim,
            Self::Break { needle } => Act::Break(needle),
            Self::Stand { .. } => Act::Stand,
            Self::Renew { components } => Act::Renew(components),
            Self::Service => Act::Service,
            Self::WrongReply => Act::WrongReply,
            Self::Refit => Act::Refit,
        }
    }

    /// The same with less to do; `None` when it is as short as can be.
    #[must_use]
    pub fn shorter(&self) -> Option<Self> {
        match *self {
            Self::Sew { needle, stitches, period_ms } if stitches > 1 => {
                Some(Self::Sew { needle, stitches: stitches / 2, period_ms })
            }
            Self::Jump { jumps, period_ms } if jumps > 1 => {
                Some(Self::Jump { jumps: jumps / 2, period_ms })
            }
            Self::Trim { times } if times > 1 => Some(Self::Trim { times: times / 2 }),
            Self::Stand { seconds } if seconds > 1 => Some(Self::Stand { seconds: seconds / 2 }),
            _ => None,
        }
    }
}

/// A second cut, while the board recovers from the first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Again {
    /// Bus bytes of the recovery that pass before it.
    pub after_bytes: u64,
    /// What it leaves of a page in its program cycle.
    pub tear: String,
}

/// What a fault does.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Deed {
    /// See [`Kind::Cut`].
    Cut {
        /// Bus bytes that pass before it.
        after_bytes: u64,
        /// What it leaves of a page in its program cycle, as `shaftbook prove` writes it.
        tear: String,
    },
    /// See [`Kind::NestedCut`].
    NestedCut {
        /// Bus bytes that pass before it.
        after_bytes: u64,
        /// As for a cut.
        tear: String,
        /// The second cut.
        again: Again,
    },
    /// See [`Kind::WarnedCut`].
    WarnedCut {
        /// From the warning to the cut, ms.
        hold_up_ms: u32,
        /// As for a cut.
        tear: String,
    },
    /// See [`Kind::Reset`].
    Reset {
        /// Bus bytes that pass before it.
        after_bytes: u64,
        /// How long the bus stays held, ms.
        held_ms: u32,
    },
    /// See [`Kind::Refused`].
    Refused {
        /// Transactions refused, of 1,000.
        per_mille: u32,
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`Kind::BusHeld`].
    BusHeld {
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`Kind::Silent`].
    Silent {
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`Kind::Stranger`].
    Stranger {
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`Kind::WriteProtect`].
    WriteProtect {
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`Kind::FlippedBits`].
    FlippedBits {
        /// Which page, counted from the one that is written next.
        page_ahead: u32,
        /// How many bits.
        bits: u32,
        /// Which ones.
        seed: u64,
    },
    /// See [`Kind::StuckPage`].
    StuckPage {
        /// Which page, counted from the one that is written next.
        page_ahead: u32,
        /// What every byte of it reads as; left out, it keeps what it held.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reads: Option<u8>,
    },
    /// See [`Kind::MisdirectedWrite`].
    MisdirectedWrite {
        /// Sound program cycles before it.
        cycles: u32,
        /// Page it lands on, counted from the one that is written next.
        page_ahead: u32,
    },
    /// See [`Kind::WornPart`].
    WornPart {
        /// How many pages take no program, from the one that is written next.
        pages: u32,
    },
    /// See [`Kind::Display`].
    Display {
        /// Seed of its memory after power-up.
        seed: u64,
    },
}

impl Deed {
    /// Its kind.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Cut { .. } => Kind::Cut,
            Self::NestedCut { .. } => Kind::NestedCut,
            Self::WarnedCut { .. } => Kind::WarnedCut,
            Self::Reset { .. } => Kind::Reset,
            Self::Refused { .. } => Kind::Refused,
            Self::BusHeld { .. } => Kind::BusHeld,
            Self::Silent { .. } => Kind::Silent,
            Self::Stranger { .. } => Kind::Stranger,
            Self::WriteProtect { .. } => Kind::WriteProtect,
            Self::FlippedBits { .. } => Kind::FlippedBits,
            Self::StuckPage { .. } => Kind::StuckPage,
            Self::MisdirectedWrite { .. } => Kind::MisdirectedWrite,
            Self::WornPart { .. } => Kind::WornPart,
            Self::Display { .. } => Kind::Display,
        }
    }
}

/// A fault and when it comes: before piece `act` of step `step` (its last piece, if it
/// has fewer).
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fault {
    /// Step, from 0.
    pub step: u32,
    /// Piece of the step, from 0.
    pub act: u32,
    /// What it does.
    #[serde(flatten)]
    pub deed: Deed,
}

/// A whole run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Script {
    /// Our whole firmware runs it, with its main loop, panel and display; else its bare core.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub firmware: bool,
    /// Where it starts.
    pub start: Start,
    /// What the world does, in order.
    #[serde(default, rename = "step")]
    pub steps: Vec<Step>,
    /// What goes wrong on the way, in order of step and piece.
    #[serde(default, rename = "fault")]
    pub faults: Vec<Fault>,
}
