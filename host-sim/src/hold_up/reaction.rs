//! How long the firmware takes from the power-fail edge until all counts are durable: the
//! one place of these two figures on the host side.
//!
//! Invariant: [`BUDGET_US`] is the `reaction_us` limit of the RP2040 image in
//! `.ci/budgets.toml`; a build that is slower fails.

/// Longest time from the power-fail edge to the durable checkpoint that the build allows,
/// µs. `shaftbook prove` holds this bound with an EEPROM of 5 ms write time on a 400 kHz bus.
pub const BUDGET_US: u32 = 20_000;

/// Longest such time that was measured on the RP2040 image, µs; `None`: not measured yet.
pub const MEASURED_US: Option<u32> = None;

/// Where a reaction time comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// Measured on the image.
    Measured,
    /// The build's limit, as nothing was measured.
    Budget,
    /// Given on the command line.
    Given,
}

/// The reaction time that sizing takes unless another is given, in µs, and where it comes
/// from: the measured one, else the build's limit.
#[must_use]
pub const fn reaction_us() -> (u32, Source) {
    match MEASURED_US {
        Some(us) => (us, Source::Measured),
        None => (BUDGET_US, Source::Budget),
    }
}

// What was measured is within the budget, or this does not compile.
const _: () = assert!(reaction_us().0 > 0 && reaction_us().0 <= BUDGET_US);
