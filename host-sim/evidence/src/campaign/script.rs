//! The script of a run: a workload, and the faults that come on the way. Written to a file,
//! it is a regression that replays.
//!
//! Invariant: a script and the start in it decide everything. To replay one, no seed is needed
//! but those that it carries.

use serde::{Deserialize, Serialize};

use shaftbook_core::medium::Geometry;
use shaftbook_drivers::memory::{PartKind, WiredPart};

use super::kind::FaultKind;
use super::life::script::LifeScript;
use shaftbook_world::bench::parts;
use shaftbook_world::bench::workload::Step;

/// Kind and shape of a memory part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartShape {
    /// An FRAM; else an EEPROM.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub fram: bool,
    /// Size, bytes.
    pub size_bytes: u32,
    /// Page, bytes.
    pub page_bytes: u16,
}

impl PartShape {
    /// The reference part.
    pub const REFERENCE: Self = Self {
        fram: false,
        size_bytes: Geometry::REFERENCE.size_bytes,
        page_bytes: Geometry::REFERENCE.page_bytes,
    };

    /// Whether it is the reference part.
    #[must_use]
    pub fn is_reference(&self) -> bool {
        *self == Self::REFERENCE
    }

    /// The part, as a board's driver is made for it; `None` if the board cannot use it.
    #[must_use]
    pub fn wired(&self) -> Option<WiredPart> {
        let kind = if self.fram { PartKind::Fram } else { PartKind::Eeprom };
        parts::part(kind, self.size_bytes, self.page_bytes)
    }
}

impl Default for PartShape {
    fn default() -> Self {
        Self::REFERENCE
    }
}

/// Where a run starts: a board that was fitted, and sewed until so many checkpoints
/// were stored.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
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
    /// The memory part, if it is not the reference part.
    #[serde(default, skip_serializing_if = "PartShape::is_reference")]
    pub part: PartShape,
}

impl Start {
    /// Whether it says nothing: a life has a start of its own.
    #[must_use]
    pub fn is_none(&self) -> bool {
        *self == Self::default()
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
    /// See [`FaultKind::Cut`].
    Cut {
        /// Bus bytes that pass before it.
        after_bytes: u64,
        /// What it leaves of a page in its program cycle, as `shaftbook prove` writes it.
        tear: String,
    },
    /// See [`FaultKind::NestedCut`].
    NestedCut {
        /// Bus bytes that pass before it.
        after_bytes: u64,
        /// As for a cut.
        tear: String,
        /// The second cut.
        again: Again,
    },
    /// See [`FaultKind::WarnedCut`].
    WarnedCut {
        /// From the warning to the cut, ms.
        hold_up_ms: u32,
        /// As for a cut.
        tear: String,
    },
    /// See [`FaultKind::Reset`].
    Reset {
        /// Bus bytes that pass before it.
        after_bytes: u64,
        /// How long the bus stays held, ms.
        held_ms: u32,
    },
    /// See [`FaultKind::Refused`].
    Refused {
        /// Transactions refused, of 1,000.
        per_mille: u32,
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`FaultKind::BusHeld`].
    BusHeld {
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`FaultKind::Silent`].
    Silent {
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`FaultKind::Stranger`].
    Stranger {
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`FaultKind::WriteProtect`].
    WriteProtect {
        /// For so long, ms.
        for_ms: u32,
    },
    /// See [`FaultKind::FlippedBits`].
    FlippedBits {
        /// Which page, counted from the one that is written next.
        page_ahead: u32,
        /// How many bits.
        bits: u32,
        /// Which ones.
        seed: u64,
    },
    /// See [`FaultKind::StuckPage`].
    StuckPage {
        /// Which page, counted from the one that is written next.
        page_ahead: u32,
        /// What every byte of it reads as; left out, it keeps what it held.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        reads: Option<u8>,
    },
    /// See [`FaultKind::MisdirectedWrite`].
    MisdirectedWrite {
        /// Sound program cycles before it.
        cycles: u32,
        /// Page it lands on, counted from the one that is written next.
        page_ahead: u32,
    },
    /// See [`FaultKind::WornPart`].
    WornPart {
        /// How many pages take no program, from the one that is written next.
        pages: u32,
    },
    /// See [`FaultKind::Display`].
    Display {
        /// Seed of its memory after power-up.
        seed: u64,
    },
}

impl Deed {
    /// Its kind.
    #[must_use]
    pub const fn kind(&self) -> FaultKind {
        match self {
            Self::Cut { .. } => FaultKind::Cut,
            Self::NestedCut { .. } => FaultKind::NestedCut,
            Self::WarnedCut { .. } => FaultKind::WarnedCut,
            Self::Reset { .. } => FaultKind::Reset,
            Self::Refused { .. } => FaultKind::Refused,
            Self::BusHeld { .. } => FaultKind::BusHeld,
            Self::Silent { .. } => FaultKind::Silent,
            Self::Stranger { .. } => FaultKind::Stranger,
            Self::WriteProtect { .. } => FaultKind::WriteProtect,
            Self::FlippedBits { .. } => FaultKind::FlippedBits,
            Self::StuckPage { .. } => FaultKind::StuckPage,
            Self::MisdirectedWrite { .. } => FaultKind::MisdirectedWrite,
            Self::WornPart { .. } => FaultKind::WornPart,
            Self::Display { .. } => FaultKind::Display,
        }
    }

    /// The tears that it names.
    pub fn tears(&self) -> impl Iterator<Item = &str> {
        let (first, second) = match self {
            Self::Cut { tear, .. } | Self::WarnedCut { tear, .. } => (Some(tear), None),
            Self::NestedCut { tear, again, .. } => (Some(tear), Some(&again.tear)),
            _ => (None, None),
        };
        first.into_iter().chain(second).map(String::as_str)
    }
}

/// A fault and when it comes: before piece `act` of step `step` (its last piece, if it
/// has fewer).
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ScriptFault {
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
    #[serde(default, skip_serializing_if = "Start::is_none")]
    pub start: Start,
    /// What the world does, in order.
    #[serde(default, rename = "step", skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<Step>,
    /// What goes wrong on the way, in order of step and piece.
    #[serde(default, rename = "fault", skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<ScriptFault>,
    /// A whole life, instead of all that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub life: Option<Box<LifeScript>>,
}

impl Script {
    /// A whole life.
    #[must_use]
    pub fn of_life(life: LifeScript) -> Self {
        Self {
            firmware: false,
            start: Start::default(),
            steps: Vec::new(),
            faults: Vec::new(),
            life: Some(Box::new(life)),
        }
    }

    /// Steps, or working days of a life.
    #[must_use]
    pub fn length(&self) -> u32 {
        self.life.as_ref().map_or(self.steps.len() as u32, |life| life.days())
    }

    /// Faults, or those that are dated in a life.
    #[must_use]
    pub fn faults_drawn(&self) -> u32 {
        let of_life = |life: &LifeScript| life.faults() as u32;
        self.life.as_deref().map_or(self.faults.len() as u32, of_life)
    }
}
