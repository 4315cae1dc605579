//! How long the firmware takes from the power-fail edge until all counts are durable. On the
//! host side, the first two figures are only here.
//!
//! Sizing goes by the limit, not by what was measured. The measurement is of random moments on
//! an emulator, which does not model cache misses of the flash. The limit is held by a search
//! for the worst moment (`shaftbook prove`, some 16 ms with parts of 5 ms).
//!
//! Invariant: [`BUDGET_US`] is the `reaction_us` limit of the RP2040 image in
//! `.ci/budgets.toml` (a test compares them); an image that is slower fails its tests.

use shaftbook_core::medium::Geometry;
use shaftbook_world::judge::answer_us;

/// Longest time from the power-fail edge to the durable checkpoint that is allowed, µs.
/// `shaftbook prove` holds this bound with an EEPROM of 5 ms write time on a 400 kHz bus,
/// `tests/images/rp2040.rs` on the image.
pub const BUDGET_US: u32 = 20_000;

/// The same on a part with pages of `page_bytes`, µs: below 64 bytes a record is several program
/// cycles. `shaftbook prove` holds it too.
#[must_use]
pub const fn budget_us(page_bytes: u16) -> u64 {
    BUDGET_US as u64 + answer_us(page_bytes) - answer_us(Geometry::REFERENCE.page_bytes)
}

/// The longest of 100 warnings at random moments that was measured on the RP2040 image, µs
/// (`tests/images/rp2040.rs`, seed 20261125).
pub const MEASURED_US: u32 = 7_017;

/// Where a reaction time comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// The limit that the image is held to.
    Budget,
    /// The same on pages that do not take a record.
    ShortPages,
    /// Given on the command line.
    Given,
}

// What was measured is within the budget, or this does not compile.
const _: () = assert!(MEASURED_US > 0 && MEASURED_US <= BUDGET_US);
