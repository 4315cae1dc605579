//! What of the part is damaged, and until when a loss may come of it.
//!
//! What is promised of damage is promised of one page, until the board has written anew what it
//! lost: the drawn damages of a life are days apart.

use shaftbook_core::retired::Retired;

/// Power-ups of at least [`WHOLE_US`] after which a damage is made good.
const POWER_UPS: u32 = 3;
/// A power-up in which everything that falls due is done, µs.
const WHOLE_US: u64 = 3_600_000_000;

/// The damage of a life.
#[derive(Clone, Debug, Default)]
pub struct Damage {
    /// Whole power-ups until the last damage is made good.
    open: u32,
    /// Slots that take no program and are not retired yet.
    stuck: Vec<u16>,
    /// All pages that were ever damaged for good.
    pages: Vec<usize>,
}

impl Damage {
    /// A page changed at rest, or a write went astray.
    pub fn at_rest(&mut self) {
        self.open = POWER_UPS;
    }

    /// `page`, which is of `slot`, takes no program from now on.
    pub fn stuck(&mut self, page: usize, slot: u16) {
        self.at_rest();
        self.stuck.push(slot);
        self.pages.push(page);
    }

    /// Pages that take no program.
    #[must_use]
    pub fn pages(&self) -> &[usize] {
        &self.pages
    }

    /// Whether a loss may come of it.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.open > 0 || !self.stuck.is_empty()
    }

    /// The board passes over what it has retired.
    pub fn retired(&mut self, retired: &Retired) {
        let before = self.stuck.len();
        self.stuck.retain(|slot| !retired.contains(*slot));
        if self.stuck.len() < before {
            self.open = POWER_UPS;
        }
    }

    /// A power-up that lasted `lasted_us` is over.
    pub fn power_up_is_over(&mut self, was_known: bool, lasted_us: u64) {
        if was_known && lasted_us >= WHOLE_US {
            self.open = self.open.saturating_sub(1);
        }
    }
}
