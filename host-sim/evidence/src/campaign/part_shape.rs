//! The memory part of a run, as a file says it.

use serde::{Deserialize, Serialize};
use shaftbook_core::medium::Geometry;
use shaftbook_drivers::memory::{PartKind, WiredPart};
use shaftbook_world::bench::parts;

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
