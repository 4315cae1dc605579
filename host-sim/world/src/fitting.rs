//! Fitting a board on the bench: the real core on a blank simulated part, and the bytes that it
//! leaves, to be programmed into the part of a real board.
//!
//! Invariant: bytes that come out of [`fit`] were read back by a new board, which found exactly
//! this fitting and no fault.
//!
//! Not done here: choosing components and settings (`profile`, `settings_file`), and the
//! board's key (`keys`).

use std::fmt;

use shaftbook_core::authority::{KEY_BYTES, Key};
use shaftbook_core::board::Fitting;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::CarriedIn;
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::Refusal;
use shaftbook_core::settings::Settings;

use crate::bench::core::Core;
use crate::bench::session::Session;
use crate::bus::{Bus, Part, Timing, WrongImage};
use crate::scenario::{self, PartKindName};

/// The simulated board's identity, where nothing else is said.
pub const BOARD: BoardId = BoardId(0x5EED);
/// A new board has recovered by then, µs.
const RECOVERED_US: u64 = 2_000_000;

/// Why a board was not fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FitError {
    /// No part has this shape.
    Shape,
    /// The board refused the fitting.
    Refused(Refusal),
    /// What a new board reads from the part is not what was fitted: a bug.
    ReadBack,
}

impl fmt::Display for FitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Shape => f.write_str("no part has this shape"),
            Self::Refused(refusal) => write!(f, "the board refused the fitting: {refusal:?}"),
            Self::ReadBack => f.write_str("what was fitted does not read back: please report it"),
        }
    }
}

impl std::error::Error for FitError {}

/// A bus with the blank part of a scenario.
///
/// # Errors
/// [`WrongImage`] for an impossible shape.
pub fn bus_of(part: &scenario::ScenarioPart, seed: u64) -> Result<Bus, WrongImage> {
    let blank = Part::blank(part.geometry())?;
    let blank = match part.kind {
        PartKindName::Eeprom => blank,
        PartKindName::Fram => blank.as_fram(),
    };
    let program_max_ns = u64::from(part.program_us) * 1_000;
    let timing =
        Timing { program_max_ns, program_min_ns: program_max_ns * 6 / 10, ..Timing::FAST_MODE };
    Ok(Bus::new(blank, timing, seed))
}

/// A fitting with `settings`, nothing carried in and no components.
#[must_use]
pub fn plain_fitting(settings: Settings) -> Fitting {
    Fitting {
        settings,
        components: heapless::Vec::new(),
        carried_in: CarriedIn::default(),
        key: Key::new([0x5A; KEY_BYTES]),
    }
}

/// The bytes of a part of the reference shape, on which the board `id` was just fitted. On
/// a board with a clock, `day` is the calendar day of the fitting (1 is 1 January 2020).
///
/// # Errors
/// A [`FitError`].
pub fn fit(id: BoardId, fitting: &Fitting, day: Option<u16>) -> Result<Vec<u8>, FitError> {
    let part = Part::blank(Geometry::REFERENCE).map_err(|_| FitError::Shape)?;
    let bus = Bus::new(part, Timing::FAST_MODE, 1);
    let (mut bench, _) =
        Session::<Core>::fitted(bus, id, fitting.clone(), day).map_err(FitError::Refused)?;
    let image = bench.bus().part().cells().to_vec();
    bench.power_up(0);
    bench.run_until(RECOVERED_US, |_| {});
    let found = bench.board().filter(|board| board.is_ready() && board.faults().is_empty());
    let ledger = found.ok_or(FitError::ReadBack)?.ledger();
    let same = ledger.settings == fitting.settings
        && ledger.carried_in == fitting.carried_in
        && ledger.key == fitting.key
        && ledger.components.iter().map(|fitted| &fitted.component).eq(&fitting.components);
    if same { Ok(image) } else { Err(FitError::ReadBack) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::Profile;
    use shaftbook_core::component::Measure;

    fn fitting(clock: bool) -> Fitting {
        Fitting {
            settings: Settings { needles: 6, ..Settings::default() },
            components: Profile::builtin(6).components(clock),
            carried_in: CarriedIn { hours: 12, stitches: (1 << 48) - 1, trims: u32::MAX },
            key: Key::new([0x55; 32]),
        }
    }

    #[test]
    fn the_same_fitting_gives_the_same_bytes_and_another_board_others() {
        let image = |id| fit(BoardId(id), &fitting(false), None).unwrap();
        assert_eq!(image(1), image(1));
        assert_ne!(image(1), image(2));
        assert_eq!(image(1).len(), 32_768);
    }

    #[test]
    fn calendar_care_counts_from_the_day_of_the_fitting() {
        let fitting = fitting(true);
        let image = fit(BoardId(7), &fitting, Some(2_000)).unwrap();
        let part = Part::from_image(image, Geometry::REFERENCE).unwrap();
        let bus = Bus::new(part, Timing::FAST_MODE, 1);
        let mut bench: Session = Session::new(bus, BoardId(7), Settings::default()).unwrap();
        bench.power_up(0);
        bench.run_until(RECOVERED_US, |_| {});
        let components = &bench.board().unwrap().ledger().components;
        let days = components.iter().filter(|f| f.component.measure == Measure::Days);
        let baselines: Vec<u64> = days.map(|fitted| fitted.baseline).collect();
        assert!(!baselines.is_empty() && baselines.iter().all(|day| *day == 2_000));
    }

    #[test]
    fn what_does_not_fit_a_field_is_not_written_changed() {
        let mut fitting = fitting(false);
        fitting.carried_in.stitches = 1 << 48;
        assert_eq!(fit(BoardId(1), &fitting, None), Err(FitError::ReadBack));
        fitting.settings.needles = 0;
        let refused = FitError::Refused(Refusal::BadSettings);
        assert_eq!(fit(BoardId(1), &fitting, None), Err(refused));
    }
}
