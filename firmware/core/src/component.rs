//! Wearing parts and care tasks: what they are measured by and when they are due.
//!
//! Invariants: the wear of everything is *lifetime minus baseline*; nothing here
//! changes a lifetime figure.

use crate::counters::{Counters, Needle};

/// Most components a profile can hold.
pub const COMPONENTS_MAX: usize = 32;

/// What a component is: a stable number that the panel's text table names.
///
/// 1–16: needle 1–16; 32 fixed knife; 33 moving knife; 34 hook lubrication;
/// 35 cleaning under the needle plate; 36 tension base cleaning; 37 bobbin case;
/// 38 belt; 39 trimmer cleaning; 40–63: the profile's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ComponentKind(pub u8);

impl ComponentKind {
    /// The fixed knife: wears by cuts.
    pub const FIXED_KNIFE: Self = Self(32);
    /// The moving knife.
    pub const MOVING_KNIFE: Self = Self(33);
    /// A drop of oil on the hook race.
    pub const HOOK_OIL: Self = Self(34);
    /// Cleaning under the needle plate.
    pub const PLATE_CLEANING: Self = Self(35);
    /// Dusting the tension base.
    pub const TENSION_CLEANING: Self = Self(36);
    /// The bobbin case.
    pub const BOBBIN_CASE: Self = Self(37);
    /// The drive belt.
    pub const BELT: Self = Self(38);
    /// Cleaning the trimmer.
    pub const TRIMMER_CLEANING: Self = Self(39);

    /// The kind of a needle.
    #[must_use]
    pub const fn needle(needle: Needle) -> Self {
        Self(needle.number())
    }
}

/// What wears a component.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Measure {
    /// Powered time, ms.
    Powered,
    /// Running time, ms.
    Running,
    /// All stitches.
    Stitches,
    /// Trims.
    Trims,
    /// Power-ups.
    PowerUps,
    /// Calendar days, where a clock is fitted.
    Days,
    /// Stitches on one needle.
    NeedleStitches(Needle),
}

impl Measure {
    /// The measure now. `day` is the calendar day number, if a clock is fitted;
    /// without one, days stand still.
    #[must_use]
    pub fn value(self, lifetime: &Counters, day: Option<u16>) -> u64 {
        match self {
            Self::Powered => lifetime.powered_ms,
            Self::Running => lifetime.running_ms,
            Self::Stitches => lifetime.stitches(),
            Self::Trims => lifetime.trims,
            Self::PowerUps => u64::from(lifetime.power_ups),
            Self::Days => u64::from(day.unwrap_or(0)),
            Self::NeedleStitches(needle) => {
                lifetime.needle_stitches.get(needle.index()).copied().unwrap_or(0)
            }
        }
    }

    /// How much of the measure one unit of a limit is: limits of time are in s,
    /// the measures in ms; all others count one by one.
    #[must_use]
    pub const fn per_limit_unit(self) -> u64 {
        match self {
            Self::Powered | Self::Running => 1_000,
            _ => 1,
        }
    }

    /// The number that stands for this measure on the part.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Powered => 0,
            Self::Running => 1,
            Self::Stitches => 2,
            Self::Trims => 3,
            Self::PowerUps => 4,
            Self::Days => 5,
            Self::NeedleStitches(needle) => 15 + needle.number(),
        }
    }

    /// The measure that `code` stands for.
    #[must_use]
    pub const fn from_code(code: u8) -> Option<Self> {
        Some(match code {
            0 => Self::Powered,
            1 => Self::Running,
            2 => Self::Stitches,
            3 => Self::Trims,
            4 => Self::PowerUps,
            5 => Self::Days,
            16..=31 => match Needle::new(code - 15) {
                Some(needle) => Self::NeedleStitches(needle),
                None => return None,
            },
            _ => return None,
        })
    }
}

/// Who may renew a component.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Role {
    /// Anyone at the machine.
    Operator,
    /// Only with the engineer's authorisation.
    Engineer,
}

/// A wearing part or a care task, as a profile sets it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Component {
    /// What it is.
    pub kind: ComponentKind,
    /// What wears it.
    pub measure: Measure,
    /// Who may renew it.
    pub renewed_by: Role,
    /// Whether a service renews it too.
    pub with_service: bool,
    /// Wear at which it is announced: s of time, or a count.
    pub notice: u32,
    /// Wear at which it is due: s of time, or a count.
    pub due: u32,
}

/// How a component stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Standing {
    /// Below its notice limit.
    Fine,
    /// At or over its notice limit.
    Notice,
    /// At or over its due limit.
    Due,
}

impl Component {
    /// How a component with this wear (in the measure's own unit) stands.
    #[must_use]
    pub fn standing(&self, wear: u64) -> Standing {
        let units = wear / self.measure.per_limit_unit();
        if units >= u64::from(self.due) {
            Standing::Due
        } else if units >= u64::from(self.notice) {
            Standing::Notice
        } else {
            Standing::Fine
        }
    }
}
