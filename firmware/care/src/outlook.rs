//! How many days are left, at the recent rate of use.

use crate::item::CareItem;
use crate::machine::Machine;

/// Days until something is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DaysLeft {
    /// Calendar days, where a clock is fitted.
    Calendar(u16),
    /// Days of use: power-ups, where none is.
    OfUse(u16),
}

/// Days until `item` is due at the recent rate of use; `None` when there is no rate
/// to go by yet.
#[must_use]
pub fn days_left(_machine: &Machine<'_>, _item: &CareItem) -> Option<DaysLeft> {
    None
}
