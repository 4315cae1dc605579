//! The script of a run: a workload, and the faults that come on the way. Written to a file,
//! it is a regression that replays.
//!
//! Invariant: a script and the start in it decide everything. To replay one, no seed is needed
//! but those that it carries.

use serde::{Deserialize, Serialize};

use super::deed::Deed;
use super::life_script::LifeScript;
use super::part_shape::PartShape;
use shaftbook_world::bench::workload::Step;

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
