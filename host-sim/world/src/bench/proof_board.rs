//! The board of the proofs: its identity, its key, and a profile with each kind of measure.

use heapless::Vec;
use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_core::authority::{self, Key};
use shaftbook_core::board::Fitting;
use shaftbook_core::component::{COMPONENTS_MAX, Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::Needle;
use shaftbook_core::identity::BoardId;
use shaftbook_core::ledger::CarriedIn;
use shaftbook_core::settings::{NeedleSource, Settings};

/// The board of the proofs.
pub const BOARD: BoardId = BoardId(0x0BAD_5EED_0000_0042);
/// Its key.
pub const KEY: [u8; authority::KEY_BYTES] = [0x3C; authority::KEY_BYTES];
/// Place of the fixed knife in the profile: the engineer's.
pub const KNIFE: usize = 16;
/// Place of the belt: the engineer's too.
pub const BELT: usize = 18;
/// Places that the operator may renew: all but the knife and the belt.
pub const OPERATORS: u32 = 0x1F_FFFF & !(1 << KNIFE | 1 << BELT);

/// A fitting with a component of each kind of measure.
///
/// # Panics
/// When it has more components than a profile holds: not as it stands.
#[must_use]
pub fn fitting() -> Fitting {
    let mut components: Vec<Component, COMPONENTS_MAX> = Vec::new();
    let mut add = |kind, measure, renewed_by, with_service| {
        let component = Component {
            kind,
            measure,
            renewed_by,
            with_service,
            notice: 4_000_000,
            due: 5_000_000,
        };
        components.push(component).expect("room for the profile");
    };
    for needle in (1..=16).filter_map(Needle::new) {
        add(
            ComponentKind::needle(needle),
            Measure::NeedleStitches(needle),
            Role::Operator,
            needle.number() % 2 == 1,
        );
    }
    add(ComponentKind::FIXED_KNIFE, Measure::Trims, Role::Engineer, true);
    add(ComponentKind::HOOK_OIL, Measure::PowerUps, Role::Operator, false);
    add(ComponentKind::BELT, Measure::Running, Role::Engineer, true);
    add(ComponentKind::PLATE_CLEANING, Measure::Powered, Role::Operator, true);
    add(ComponentKind::BOBBIN_CASE, Measure::Stitches, Role::Operator, false);
    let settings =
        Settings { needles: 16, needle_source: NeedleSource::Code, ..Settings::default() };
    let carried_in = CarriedIn { hours: 9_876, stitches: 432_100_000, trims: 765_000 };
    Fitting { settings, components, carried_in, key: Key::new(KEY) }
}

/// A needle of the proofs' machine, drawn.
///
/// # Panics
/// Never: 1 to 15 are needles.
pub fn any_needle(rng: &mut Pcg32) -> Needle {
    Needle::new(1 + (rng.next_u32() % 15) as u8).expect("1 to 15")
}
