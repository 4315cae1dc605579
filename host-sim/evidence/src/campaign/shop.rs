//! What a campaign takes from a scenario.

use serde::{Deserialize, Serialize};

/// A colour block, as far as a campaign sews it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanBlock {
    /// Needle, 1 to 15.
    pub needle: u8,
    /// Stitches.
    pub stitches: u32,
    /// Jumps.
    pub jumps: u32,
    /// Trims.
    pub trims: u32,
}

/// What a campaign takes from a scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Shop {
    /// The scenario's name.
    pub name: String,
    /// How often it is drawn, beside the others.
    pub weight: u32,
    /// Time of a stitch at cruising speed, ms.
    pub period_ms: u32,
    /// Thread breaks in 100,000 stitches, of all needles on average.
    pub breaks_per_100k: f64,
    /// Time to change the frame, s.
    pub frame_change_s: u32,
    /// Designs: their blocks.
    pub designs: Vec<Vec<PlanBlock>>,
}
