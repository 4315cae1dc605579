//! `shaftbook hold-up`: the capacitor that carries the board while it stores.

use super::Verdict;
use super::failure::Failure;
use super::inspect::page_bytes;
use super::output::{Format, print};
use shaftbook_core::medium::Geometry;
use shaftbook_tools::hold_up::circuit::{Circuit, Conditions, Load, Losses};
use shaftbook_tools::hold_up::microfarads::Microfarads;
use shaftbook_tools::hold_up::reaction::{Source, budget_us};
use shaftbook_tools::hold_up::report::HoldUpReport;

/// Size the hold-up capacitor, or say how long a given one lasts.
///
/// The board must be carried from the power-fail warning until all counts are durable. Give
/// the voltages at the capacitor and what is drawn from it: --load-ma through a linear
/// regulator, --load-mw behind a switching one. Voltages are those of the worst case: the
/// lowest at which the warning can come, less all diodes in between.
///
/// Exit code 1 if the given capacitor, or any up to 1 F, does not last to the end of its
/// life.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("load").required(true))]
#[command(after_help = "Examples:
  shaftbook hold-up --warning-v 4.5 --lowest-v 3.2 --load-ma 80 --esr-mohm 1100
  shaftbook hold-up --warning-v 17.5 --lowest-v 6.5 --load-mw 400 --efficiency-percent 80
  shaftbook hold-up --warning-v 5 --lowest-v 2.7 --load-ma 10 --capacitor-uf 470

Formulas, and where the voltages come from: docs/WIRING.md.")]
pub struct Args {
    /// Voltage at the capacitor when the warning comes
    #[arg(long, value_name = "V", allow_negative_numbers = true)]
    warning_v: f64,
    /// Lowest voltage that the regulator behind it works at
    #[arg(long, value_name = "V", allow_negative_numbers = true)]
    lowest_v: f64,
    /// Constant current that is drawn, in mA
    #[arg(long, value_name = "MA", group = "load", allow_negative_numbers = true)]
    load_ma: Option<f64>,
    /// Constant power behind a switching regulator, in mW
    #[arg(long, value_name = "MW", group = "load", allow_negative_numbers = true)]
    load_mw: Option<f64>,
    /// Efficiency of that regulator (from memory: look into its data sheet)
    #[arg(long, value_name = "PERCENT", default_value_t = 80.0, allow_negative_numbers = true)]
    #[arg(conflicts_with = "load_ma")]
    efficiency_percent: f64,
    /// A capacitor that is there: how long it lasts
    #[arg(long, value_name = "UF", allow_negative_numbers = true)]
    capacitor_uf: Option<f64>,
    /// Resistance of the capacitor, and in series with it, in mΩ
    #[arg(long, value_name = "MOHM", default_value_t = 0.0, allow_negative_numbers = true)]
    esr_mohm: f64,
    /// Lower end of the capacitor's tolerance
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true)]
    #[arg(default_value_t = Losses::default().tolerance_percent)]
    tolerance_percent: f64,
    /// Capacitance lost at the end of life
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true)]
    #[arg(default_value_t = Losses::default().ageing_percent)]
    ageing_percent: f64,
    /// Capacitance lost at the lowest temperature
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true)]
    #[arg(default_value_t = Losses::default().temperature_percent)]
    temperature_percent: f64,
    /// From the warning until all is durable, instead of the image's own time
    #[arg(long, value_name = "MS", allow_negative_numbers = true)]
    reaction_ms: Option<f64>,
    /// Length of the memory part's pages, in bytes: with shorter ones than 64 a record takes several
    /// program cycles
    #[arg(long, value_name = "N", default_value = "64", value_parser = page_bytes())]
    #[arg(conflicts_with = "reaction_ms")]
    page_bytes: u16,
    /// How many times that time the board is carried
    #[arg(long, value_name = "N", default_value_t = 2.0, allow_negative_numbers = true)]
    safety_factor: f64,
    /// Form of the output
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Args {
    fn load(&self) -> Load {
        match (self.load_ma, self.load_mw) {
            (Some(ma), _) => Load::Current { ma },
            // One of the two is there: the group is required.
            (None, mw) => Load::Power {
                mw: mw.unwrap_or_default(),
                efficiency_percent: self.efficiency_percent,
            },
        }
    }

    fn capacitor(&self) -> Result<Option<Microfarads>, Failure> {
        match self.capacitor_uf {
            Some(uf) if !(0.001..=10_000_000.0).contains(&uf) => {
                Err(Failure(format!("--capacitor-uf: must be 0.001 to 10000000 µF, not {uf}")))
            }
            given => Ok(given.map(Microfarads)),
        }
    }
}

/// Does it.
///
/// # Errors
/// A figure that makes no sense, or the output cannot be written.
pub fn run(args: &Args) -> Result<Verdict, Failure> {
    let given = args.capacitor()?;
    let is_short = args.page_bytes < Geometry::REFERENCE.page_bytes;
    let source = if is_short { Source::ShortPages } else { Source::Budget };
    let own = (budget_us(args.page_bytes) as f64 / 1_000.0, source);
    let (reaction_ms, source) = args.reaction_ms.map_or(own, |ms| (ms, Source::Given));
    let circuit = Circuit::new(Conditions {
        warning_v: args.warning_v,
        lowest_v: args.lowest_v,
        load: args.load(),
        esr_mohm: args.esr_mohm,
        losses: Losses {
            tolerance_percent: args.tolerance_percent,
            ageing_percent: args.ageing_percent,
            temperature_percent: args.temperature_percent,
        },
        reaction_ms,
        safety_factor: args.safety_factor,
    })?;
    let report = HoldUpReport::new(&circuit, source, given);
    print(args.format, &report.text(), &report)?;
    Ok(if report.suffices { Verdict::Held } else { Verdict::Failed })
}
