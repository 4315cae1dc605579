//! The kinds of fault that a campaign draws from, by name.
//!
//! What each leaves behind is in `docs/FAULT_MODEL.md`.

use serde::{Deserialize, Serialize};

/// A kind of fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// The supply goes, without warning.
    Cut,
    /// The same, and again while the board recovers.
    NestedCut,
    /// The power-fail warning, then the supply goes.
    WarnedCut,
    /// The board is reset with the supply up; the bus may stay held for a while.
    Reset,
    /// Transactions are refused at random for a while.
    Refused,
    /// A line of the bus is held low for a while.
    BusHeld,
    /// The part does not answer for a while.
    Silent,
    /// Something else answers at the part's address for a while.
    Stranger,
    /// Writes are acknowledged and not done for a while.
    WriteProtect,
    /// Bits of a page change at rest.
    FlippedBits,
    /// A page takes no program any more.
    StuckPage,
    /// A write lands on another page.
    MisdirectedWrite,
    /// Most pages take no program any more.
    WornPart,
    /// A display on the bus is redrawn without pause.
    Display,
}

impl FaultKind {
    /// All of them, in the order of the tables.
    pub const ALL: [Self; 14] = [
        Self::Cut,
        Self::NestedCut,
        Self::WarnedCut,
        Self::Reset,
        Self::Refused,
        Self::BusHeld,
        Self::Silent,
        Self::Stranger,
        Self::WriteProtect,
        Self::FlippedBits,
        Self::StuckPage,
        Self::MisdirectedWrite,
        Self::WornPart,
        Self::Display,
    ];

    /// Its name in files and tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Cut => "cut",
            Self::NestedCut => "nested-cut",
            Self::WarnedCut => "warned-cut",
            Self::Reset => "reset",
            Self::Refused => "refused",
            Self::BusHeld => "bus-held",
            Self::Silent => "silent",
            Self::Stranger => "stranger",
            Self::WriteProtect => "write-protect",
            Self::FlippedBits => "flipped-bits",
            Self::StuckPage => "stuck-page",
            Self::MisdirectedWrite => "misdirected-write",
            Self::WornPart => "worn-part",
            Self::Display => "display",
        }
    }

    /// Whether it ends a power-up: the board is judged after it.
    #[must_use]
    pub const fn ends_power_up(self) -> bool {
        matches!(self, Self::Cut | Self::NestedCut | Self::WarnedCut | Self::Reset)
    }

    /// Whether it damages the part for good. A run draws at most one such fault: what is
    /// promised of damage is promised of one page.
    #[must_use]
    pub const fn damages(self) -> bool {
        matches!(
            self,
            Self::FlippedBits | Self::StuckPage | Self::MisdirectedWrite | Self::WornPart
        )
    }

    /// Its place in [`FaultKind::ALL`].
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }
}

/// A set of kinds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct KindSet(u32);

impl KindSet {
    /// Adds `kind`.
    pub const fn add(&mut self, kind: FaultKind) {
        self.0 |= 1 << kind.index();
    }

    /// All of both.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether `kind` is in it.
    #[must_use]
    pub const fn contains(self, kind: FaultKind) -> bool {
        self.0 >> kind.index() & 1 == 1
    }

    /// The kinds in it, in order.
    pub fn iter(self) -> impl Iterator<Item = FaultKind> {
        FaultKind::ALL.into_iter().filter(move |kind| self.contains(*kind))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_files_are_the_names_in_tables_and_places_are_in_order() {
        for (place, kind) in FaultKind::ALL.into_iter().enumerate() {
            assert_eq!(kind.index(), place);
            assert_eq!(serde_json::to_value(kind).unwrap(), kind.name());
        }
    }
}
