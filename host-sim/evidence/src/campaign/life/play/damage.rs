//! What of the part is damaged, and until when a loss may come of it.
//!
//! What is promised of damage is promised of one page, until the board has written anew what it
//! lost: the drawn damages of a life are days apart.

use shaftbook_core::retired::Retired;

/// Power-ups of at least [`WHOLE_US`] after which a damage is made good.
const POWER_UPS: u32 = 3;
/// A power-up in which everything that falls due is done, µs.
const WHOLE_US: u64 = 3_600_000_000;

/// Program cycles of a page that takes none, in one power-up: two, and then its slot is retired.
const TRIES: u32 = 2;

/// The damage of a life.
#[derive(Clone, Debug, Default)]
pub struct Damage {
    /// Whole power-ups until the last damage is made good.
    open: u32,
    /// Slots that take no program and are not retired yet, each with its page.
    stuck: Vec<(u16, usize)>,
    /// Program cycles of all pages when the board started.
    cycles: Vec<u32>,
    /// Slots that were retired at the last look.
    seen: Vec<u16>,
    /// Slots that were retired at two looks: that is on the part.
    retired: Vec<u16>,
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
        self.stuck.push((slot, page));
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

    /// A board starts, when the pages have had `cycles`.
    pub fn started(&mut self, cycles: &[u32]) {
        self.cycles = if self.stuck.is_empty() { Vec::new() } else { cycles.to_vec() };
        self.seen.clear();
    }

    /// Whether a slot is to be looked at again soon: it takes no program and is not retired, or was
    /// not at the last look but one.
    #[must_use]
    pub fn is_new(&self) -> bool {
        !self.stuck.is_empty() || self.seen.iter().any(|slot| !self.retired.contains(slot))
    }

    /// A look at what a board that knows its past has retired, a minute after the last one or
    /// more, or when it starts. Whether a slot has stayed retired for that long, of which this was
    /// not known.
    ///
    /// # Errors
    /// A slot that had been retired for good and is not any more.
    pub fn look(&mut self, retired: &Retired) -> Result<bool, String> {
        if let Some(slot) = self.retired.iter().find(|slot| !retired.contains(**slot)) {
            return Err(format!("a slot that was retired is not any more: {slot}"));
        }
        let before = self.stuck.len();
        self.stuck.retain(|(slot, _)| !retired.contains(*slot));
        if self.stuck.len() < before {
            self.open = POWER_UPS;
        }
        let again = self.seen.iter().filter(|slot| !self.retired.contains(slot));
        let again: Vec<u16> = again.copied().filter(|slot| retired.contains(*slot)).collect();
        let is_new = !again.is_empty();
        self.retired.extend(again);
        self.seen = retired.iter().collect();
        Ok(is_new)
    }

    /// A board that started with a slot that takes no program has not tried it again and again.
    ///
    /// # Errors
    /// Such a slot that is not retired.
    pub fn passes_over(&self, retired: &Retired, cycles: &[u32]) -> Result<(), String> {
        let tried = |page: usize| {
            cycles.get(page).zip(self.cycles.get(page)).map_or(0, |(now, then)| now - then)
        };
        let again =
            self.stuck.iter().find(|(slot, page)| !retired.contains(*slot) && tried(*page) > TRIES);
        again.map_or(Ok(()), |(slot, page)| {
            let tries = tried(*page);
            Err(format!("a slot that takes no program is not retired: {slot}, tried {tries} times"))
        })
    }

    /// A power-up that lasted `lasted_us` is over.
    pub fn power_up_is_over(&mut self, was_known: bool, lasted_us: u64) {
        if was_known && lasted_us >= WHOLE_US {
            self.open = self.open.saturating_sub(1);
        }
    }
}
