//! How each component stands now: its wear, its limits, and whether it is fine, at notice or
//! due.

use shaftbook_core::component::{Component, Standing};

use crate::machine::Machine;
use crate::rules::CareRules;

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
pub fn item<R: CareRules>(machine: &Machine<'_, R>, place: usize) -> Option<CareItem> {
    let lifetime = machine.lifetime.as_ref()?;
    let component = R::component(machine.ledger, place)?;
    let wear = R::wear(machine.ledger, place, lifetime, machine.day)?;
    let standing = R::standing(&component, wear);
    let wear = R::in_limit_unit(component.measure, wear);
    Some(CareItem { place, component, wear, standing })
}

/// All components, in the order of the profile.
pub fn items<'a, R: CareRules>(machine: &'a Machine<'a, R>) -> impl Iterator<Item = CareItem> + 'a {
    (0..machine.ledger.components.len()).filter_map(|place| item(machine, place))
}

/// The most pressing component: the worst standing, then the most worn for its limit.
#[must_use]
pub fn most_pressing<R: CareRules>(machine: &Machine<'_, R>) -> Option<CareItem> {
    items(machine).max_by_key(|item| (urgency::<R>(item), usize::MAX - item.place))
}

/// How pressing a component is: the more, the larger.
#[must_use]
pub fn urgency<R: CareRules>(item: &CareItem) -> (Standing, u16) {
    let standing = if R::worst_standing_first() { item.standing } else { Standing::Fine };
    (standing, item.permille())
}
