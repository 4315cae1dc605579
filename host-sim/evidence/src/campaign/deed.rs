//! What goes wrong in a run, as a file says it.

use serde::{Deserialize, Serialize};

use super::kind::FaultKind;

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
        /// Bytes after which it fails; left out, it does not. In lives only.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        fails_after_bytes: Option<u64>,
        /// It then holds the bus until the board's next reset; else it acknowledges nothing.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        holds_bus: bool,
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
