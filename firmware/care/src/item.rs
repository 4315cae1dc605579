//! How each component stands now: its wear, its limits, and whether it is fine, at notice or
//! due.

use shaftbook_core::component::{Component, Standing};

use crate::machine::Machine;

/// One component as it stands now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CareItem {
    /// Its place in the profile, 0 to 31.
    pub place: usize,
    /// What it is and its limits.
    pub component: Component,
    /// Wear in the unit of the limits: s of time, or a count.
    pub wear: u64,
    /// How it stands.
    pub standing: Standing,
}

impl CareItem {
    /// What is left to the due limit, in its unit; 0 when due.
    #[must_use]
    pub fn remaining(&self) -> u64 {
        u64::from(self.component.due).saturating_sub(self.wear)
    }

    /// Wear in per mille of the due limit; saturates at 9,999.
    #[must_use]
    pub fn permille(&self) -> u16 {
        let due = u64::from(self.component.due.max(1));
        (self.wear.saturating_mul(1_000) / due).min(9_999) as u16
    }
}

/// The component at `place`; `None` if there is none or the past is not known.
#[must_use]
pub fn item(machine: &Machine<'_>, place: usize) -> Option<CareItem> {
    let lifetime = machine.lifetime.as_ref()?;
    let component = machine.ledger.components.get(place)?.component;
    let wear = machine.ledger.wear(place, lifetime, machine.day)?;
    let standing = component.standing(wear);
    Some(CareItem { place, component, wear: wear / component.measure.per_limit_unit(), standing })
}

/// All components, in the order of the profile.
pub fn items<'a>(machine: &'a Machine<'a>) -> impl Iterator<Item = CareItem> + 'a {
    (0..machine.ledger.components.len()).filter_map(|place| item(machine, place))
}

/// The most pressing component: the worst standing, then the most worn for its limit.
#[must_use]
pub fn most_pressing(machine: &Machine<'_>) -> Option<CareItem> {
    items(machine).max_by_key(|item| (item.standing, item.permille(), usize::MAX - item.place))
}
