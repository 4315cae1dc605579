//! The balance of charge or energy in the hold-up capacitor.
//!
//! Formulas, C in F, V in V, I in A, P in W, R in Ω, t in s:
//! - constant current, as through a linear regulator: t = C·(V1 − V2′)/I, the charge
//!   balance; V2′ = V2 + I·R
//! - constant power, as through a switching regulator of efficiency η:
//!   t = C·(V1² − V2′²)·η/(2·P) · V2/V2′, the energy balance; V2′ = V2 + P/(η·V2)·R
//!
//! V1 is the voltage at the warning, V2 the lowest that the regulator works at, R the
//! series resistance of the capacitor and of anything in series with it. V2′ is what the
//! capacitor itself still has when its terminals are at V2. At constant power the current
//! is largest at V2; V2/V2′ takes the loss in R at that current for the whole time, which
//! is too much, so the time is too short rather than too long. With R = 0 both are exact.
//!
//! Invariant: a [`Circuit`] has passed its check; every time that it gives is finite and
//! above zero.

use std::error::Error;
use std::fmt::{self, Display, Formatter};

use super::e6::E6;
use super::microfarads::Microfarads;

/// Highest voltage that is taken, V: the rails that a board is fed from end far below.
pub const HIGHEST_V: f64 = 60.0;
/// Most that one of the losses may be, percent.
pub const MOST_LOSS_PERCENT: f64 = 90.0;

/// What the board draws during hold-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Load {
    /// The same current at any voltage: a linear regulator.
    Current {
        /// That current, mA.
        ma: f64,
    },
    /// The same power at any voltage: a switching regulator.
    Power {
        /// Power behind the regulator, mW.
        mw: f64,
        /// The regulator's efficiency, percent, 1 to 100.
        efficiency_percent: f64,
    },
}

/// What a capacitor lacks of the capacitance that is printed on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Losses {
    /// Lower end of the tolerance, percent.
    pub tolerance_percent: f64,
    /// Lost at the end of its life, percent.
    pub ageing_percent: f64,
    /// Lost at the lowest temperature, percent.
    pub temperature_percent: f64,
}

impl Default for Losses {
    /// 20 % tolerance and 20 % at the end of life, as data sheets of general-purpose
    /// aluminium electrolytics have it; 10 % at 0 °C. From memory: look into the part's.
    fn default() -> Self {
        Self { tolerance_percent: 20.0, ageing_percent: 20.0, temperature_percent: 10.0 }
    }
}

/// What is to be held up, and for how long.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    /// Voltage at the capacitor when the warning comes, V.
    pub warning_v: f64,
    /// Lowest voltage that the regulator behind it needs, V.
    pub lowest_v: f64,
    /// What is drawn.
    pub load: Load,
    /// Series resistance of the capacitor and of what is in series with it, mΩ.
    pub esr_mohm: f64,
    /// What the capacitor lacks.
    pub losses: Losses,
    /// From the warning until all is durable, ms.
    pub reaction_ms: f64,
    /// Times that, at least 1.
    pub safety_factor: f64,
}

/// Why nothing can be said: the name of the figure, and what it should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unusable {
    /// The figure, as the command line calls it.
    pub figure: &'static str,
    /// What it should be.
    pub wanted: String,
}

impl Display for Unusable {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(f, "--{}: {}", self.figure, self.wanted)
    }
}

impl Error for Unusable {}

/// Conditions that make sense.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circuit {
    given: Conditions,
    /// V2′: what the capacitor itself must still have, V.
    lowest_inside_v: f64,
}

impl Circuit {
    /// # Errors
    /// The first figure that is no number, is out of its range, or leaves nothing to draw.
    pub fn new(given: Conditions) -> Result<Self, Unusable> {
        within("warning-v", given.warning_v, 0.1, HIGHEST_V, "V")?;
        within("lowest-v", given.lowest_v, 0.1, HIGHEST_V, "V")?;
        let drawn_ma = match given.load {
            Load::Current { ma } => {
                within("load-ma", ma, 0.001, 10_000.0, "mA")?;
                ma
            }
            Load::Power { mw, efficiency_percent } => {
                within("load-mw", mw, 0.001, 100_000.0, "mW")?;
                within("efficiency-percent", efficiency_percent, 1.0, 100.0, "%")?;
                mw / (efficiency_percent / 100.0) / given.lowest_v
            }
        };
        within("esr-mohm", given.esr_mohm, 0.0, 1_000_000.0, "mΩ")?;
        let losses = given.losses;
        within("tolerance-percent", losses.tolerance_percent, 0.0, MOST_LOSS_PERCENT, "%")?;
        within("ageing-percent", losses.ageing_percent, 0.0, MOST_LOSS_PERCENT, "%")?;
        within("temperature-percent", losses.temperature_percent, 0.0, MOST_LOSS_PERCENT, "%")?;
        within("reaction-ms", given.reaction_ms, 0.001, 60_000.0, "ms")?;
        within("safety-factor", given.safety_factor, 1.0, 100.0, "")?;
        // mA · mΩ is µV.
        let drop_v = drawn_ma * given.esr_mohm / 1e6;
        let lowest_inside_v = given.lowest_v + drop_v;
        if given.warning_v <= given.lowest_v {
            return Err(Unusable {
                figure: "warning-v",
                wanted: format!(
                    "above --lowest-v, {} V; let the warning come earlier",
                    given.lowest_v
                ),
            });
        }
        if given.warning_v <= lowest_inside_v {
            return Err(Unusable {
                figure: "esr-mohm",
                wanted: format!(
                    "it takes {drop_v:.3} V of the {:.3} V between warning and lowest; make it smaller",
                    given.warning_v - given.lowest_v
                ),
            });
        }
        Ok(Self { given, lowest_inside_v })
    }

    /// What it was made from.
    #[must_use]
    pub fn conditions(&self) -> &Conditions {
        &self.given
    }

    /// Voltage lost in the series resistance at the end, V.
    #[must_use]
    pub fn drop_v(&self) -> f64 {
        self.lowest_inside_v - self.given.lowest_v
    }

    /// Hold-up that each µF gives, ms. Units: µF·V/mA and µF·V²/mW are ms.
    #[must_use]
    pub fn ms_per_uf(&self) -> f64 {
        let (v1, v2, inside) = (self.given.warning_v, self.given.lowest_v, self.lowest_inside_v);
        match self.given.load {
            Load::Current { ma } => (v1 - inside) / ma,
            Load::Power { mw, efficiency_percent } => {
                let efficiency = efficiency_percent / 100.0;
                (v1 * v1 - inside * inside) * efficiency / (2.0 * mw) * (v2 / inside)
            }
        }
    }

    /// How long this capacitance, as it is and not as it is marked, carries the board, ms.
    #[must_use]
    pub fn hold_up_ms(&self, real: Microfarads) -> f64 {
        real.0 * self.ms_per_uf()
    }

    /// What is left of `marked` when the capacitor is new, at the low end of its tolerance.
    #[must_use]
    pub fn least_when_new(&self, marked: Microfarads) -> Microfarads {
        Microfarads(marked.0 * left(self.given.losses.tolerance_percent))
    }

    /// What is left of `marked` at the end of its life, at the lowest temperature.
    #[must_use]
    pub fn at_end_of_life(&self, marked: Microfarads) -> Microfarads {
        let losses = self.given.losses;
        let worn = left(losses.ageing_percent) * left(losses.temperature_percent);
        Microfarads(self.least_when_new(marked).0 * worn)
    }

    /// How long the board must be carried, ms: the reaction times the safety factor.
    #[must_use]
    pub fn needed_ms(&self) -> f64 {
        self.given.reaction_ms * self.given.safety_factor
    }

    /// The least marked capacitance that lasts, losses included.
    #[must_use]
    pub fn needed(&self) -> Microfarads {
        let one = self.hold_up_ms(self.at_end_of_life(Microfarads(1.0)));
        Microfarads(self.needed_ms() / one)
    }

    /// Whether a capacitor marked so lasts to the end of its life.
    #[must_use]
    pub fn suffices(&self, marked: Microfarads) -> bool {
        self.hold_up_ms(self.at_end_of_life(marked)) >= self.needed_ms()
    }

    /// The smallest value of the E6 series that lasts; none if 1 F does not.
    #[must_use]
    pub fn proposal(&self) -> Option<E6> {
        E6::all().find(|value| self.suffices(value.capacitance()))
    }
}

fn left(lost_percent: f64) -> f64 {
    1.0 - lost_percent / 100.0
}

fn within(
    figure: &'static str,
    value: f64,
    least: f64,
    most: f64,
    unit: &str,
) -> Result<(), Unusable> {
    // Written so that what is no number fails, too.
    if value >= least && value <= most {
        return Ok(());
    }
    let wanted = format!("{least} to {most} {unit}");
    Err(Unusable { figure, wanted: format!("must be {}, not {value}", wanted.trim_end()) })
}

#[cfg(test)]
mod tests;
