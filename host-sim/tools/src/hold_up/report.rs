//! What sizing found, for programs and for people.
//!
//! Invariant: shown times are rounded down, shown needs are rounded up.

use std::fmt::Write as _;

use serde::Serialize;

use super::circuit::{Circuit, Load};
use super::microfarads::Microfarads;
use super::reaction::{MEASURED_US, Source};

/// The result.
#[derive(Clone, Debug, Serialize)]
pub struct HoldUpReport {
    /// Voltage at the capacitor at the warning, V.
    pub warning_v: f64,
    /// Lowest voltage of the regulator, V.
    pub lowest_v: f64,
    /// Voltage lost in the series resistance, V.
    pub drop_v: f64,
    /// Time from the warning until all is durable, ms.
    pub reaction_ms: f64,
    /// Where that time comes from.
    pub reaction_source: Source,
    /// Times that.
    pub safety_factor: f64,
    /// How long the board must be carried, ms.
    pub needed_ms: f64,
    /// The least marked capacitance that lasts, µF.
    pub needed_uf: f64,
    /// The smallest value of the E6 series that lasts, µF; none if 1 F does not.
    pub proposed_uf: Option<f64>,
    /// The capacitor that the times are of; none if none was given and none lasts.
    pub capacitor: Option<Capacitor>,
    /// Whether that capacitor lasts to the end of its life.
    pub suffices: bool,
    #[serde(skip)]
    load: String,
    #[serde(skip)]
    formula: &'static str,
    #[serde(skip)]
    losses: String,
}

/// How long one capacitor carries the board.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Capacitor {
    /// What is printed on it, µF.
    pub marked_uf: f64,
    /// Whether it was given, not proposed.
    pub is_given: bool,
    /// Hold-up when new and exactly as marked, ms.
    pub new_ms: f64,
    /// Hold-up when new, at the low end of its tolerance, ms.
    pub new_least_ms: f64,
    /// Hold-up at the end of its life, at the lowest temperature, ms.
    pub end_of_life_ms: f64,
    /// What that is above what is needed, percent; negative if it is below.
    pub margin_percent: f64,
}

impl HoldUpReport {
    /// Of a circuit, for the capacitor `given` or for the proposed one.
    #[must_use]
    pub fn new(circuit: &Circuit, reaction_source: Source, given: Option<Microfarads>) -> Self {
        let conditions = circuit.conditions();
        let proposed = circuit.proposal().map(super::e6::E6::capacitance);
        let capacitor = given.or(proposed).map(|marked| {
            let end_of_life_ms = circuit.hold_up_ms(circuit.at_end_of_life(marked));
            Capacitor {
                marked_uf: marked.0,
                is_given: given.is_some(),
                new_ms: circuit.hold_up_ms(marked),
                new_least_ms: circuit.hold_up_ms(circuit.least_when_new(marked)),
                end_of_life_ms,
                margin_percent: (end_of_life_ms / circuit.needed_ms() - 1.0) * 100.0,
            }
        });
        let (load, formula) = match conditions.load {
            Load::Current { ma } => {
                (format!("{ma} mA, constant current"), "t = C·(V1 − V2′)/I, V2′ = V2 + I·R")
            }
            Load::Power { mw, efficiency_percent } => (
                format!("{mw} mW behind a switching regulator of {efficiency_percent} %"),
                "t = C·(V1² − V2′²)·η/(2·P) · V2/V2′, V2′ = V2 + P/(η·V2)·R",
            ),
        };
        let losses = conditions.losses;
        Self {
            warning_v: conditions.warning_v,
            lowest_v: conditions.lowest_v,
            drop_v: circuit.drop_v(),
            reaction_ms: conditions.reaction_ms,
            reaction_source,
            safety_factor: conditions.safety_factor,
            needed_ms: circuit.needed_ms(),
            needed_uf: circuit.needed().0,
            proposed_uf: proposed.map(|value| value.0),
            capacitor,
            suffices: capacitor.is_some_and(|c| circuit.suffices(Microfarads(c.marked_uf))),
            load,
            formula,
            losses: format!(
                "{} % tolerance, {} % by age, {} % by cold",
                losses.tolerance_percent, losses.ageing_percent, losses.temperature_percent
            ),
        }
    }

    /// As lines for people.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = String::new();
        let mut line = |name: &str, value: String| {
            let _ = writeln!(text, "{name:<24}{value}");
        };
        line("V1, at the warning", format!("{} V at the capacitor", self.warning_v));
        line("V2, lowest", format!("{} V at the regulator", self.lowest_v));
        line("load", self.load.clone());
        line("lost in the resistance", format!("{:.3} V at the end", self.drop_v));
        line("losses of capacitance", self.losses.clone());
        line("formula", self.formula.into());
        line("reaction", format!("{:.3} ms, {}", self.reaction_ms, said(self.reaction_source)));
        let needed_ms = tenths_up(self.needed_ms);
        line("needed time", format!("{needed_ms} ms: {} times the reaction", self.safety_factor));
        line("needed capacitance", format!("{} µF, as marked", tenths_up(self.needed_uf)));
        if let Some(proposed) = self.proposed_uf {
            line("next value of E6", format!("{proposed} µF (IEC 60063)"));
        }
        let Some(capacitor) = self.capacitor else {
            text.push_str(
                "\nNOT ENOUGH: no capacitor up to 1 F lasts; let the warning come earlier, or draw less\n",
            );
            return text;
        };
        let _ = writeln!(text, "\nhold-up with {} µF", capacitor.marked_uf);
        for (name, ms) in [
            ("new, as marked", capacitor.new_ms),
            ("new, least of tolerance", capacitor.new_least_ms),
            ("end of life, cold", capacitor.end_of_life_ms),
        ] {
            let _ = writeln!(text, "  {name:<24}{:>10} ms", tenths_down(ms));
        }
        let margin = tenths_down(capacitor.margin_percent);
        if self.suffices {
            let _ = writeln!(text, "\nenough: {margin} % above the needed time at the end of life");
        } else {
            let _ = writeln!(
                text,
                "\nNOT ENOUGH: {} % below the needed time at the end of life",
                tenths_up(-capacitor.margin_percent)
            );
        }
        text
    }
}

fn said(source: Source) -> String {
    match source {
        Source::Budget => {
            let measured_ms = f64::from(MEASURED_US) / 1_000.0;
            format!("the image's limit (measured on it: {measured_ms:.1} ms at most)")
        }
        Source::ShortPages => "the limit on pages so short (measured on longer ones only)".into(),
        Source::Given => "as given".into(),
    }
}

fn tenths_down(value: f64) -> String {
    // What is within a rounding error of the next tenth is that tenth.
    format!("{:.1}", (value * 10.0 + 1e-6).floor() / 10.0)
}

fn tenths_up(value: f64) -> String {
    format!("{:.1}", (value * 10.0 - 1e-6).ceil() / 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_rounded_down_and_needs_up() {
        assert_eq!(tenths_down(108.199), "108.1");
        assert_eq!(tenths_down(0.3 * 3.0), "0.9");
        assert_eq!(tenths_up(108.101), "108.2");
        assert_eq!(tenths_up(0.1 * 3.0), "0.3");
    }
}
