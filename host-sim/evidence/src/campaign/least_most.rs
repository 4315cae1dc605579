//! A range to draw from.

use serde::{Deserialize, Serialize};

/// Least and most, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeastMost {
    /// At least.
    pub least: u32,
    /// At most.
    pub most: u32,
}

impl Default for LeastMost {
    fn default() -> Self {
        Self { least: 6, most: 24 }
    }
}
