//! Program cycles, counted where datasheets count them: per page and per group of 4 bytes.

use core::ops::Range;

/// Bytes that a part with error correction cycles together (M24256-D, CAT24C256).
const GROUP_BYTES: usize = 4;

/// Program cycles per page and per 4-byte group since the part was made.
///
/// A cycle counts once for its page, and once for each group of which it alters at
/// least one byte.
#[derive(Clone, Debug)]
pub struct Wear {
    pages: Vec<u32>,
    groups: Vec<u32>,
    cycles: u64,
}

impl Wear {
    pub(super) fn new(size_bytes: usize, page_bytes: usize) -> Self {
        Self {
            pages: vec![0; size_bytes / page_bytes],
            groups: vec![0; size_bytes / GROUP_BYTES],
            cycles: 0,
        }
    }

    /// One cycle on `page` that alters `altered`, byte addresses within the part.
    #[inline]
    pub(super) fn add_cycle(&mut self, page: usize) {
        self.pages[page] += 1;
        self.cycles += 1;
    }

    #[inline]
    pub(super) fn add_groups(&mut self, altered: Range<usize>) {
        if altered.is_empty() {
            return;
        }
        for group in
            &mut self.groups[altered.start / GROUP_BYTES..altered.end.div_ceil(GROUP_BYTES)]
        {
            *group += 1;
        }
    }

    /// Cycles of each page.
    #[must_use]
    pub fn page_cycles(&self) -> &[u32] {
        &self.pages
    }

    /// Cycles of each group of four bytes.
    #[must_use]
    pub fn group_cycles(&self) -> &[u32] {
        &self.groups
    }

    /// Cycles of all pages together.
    #[must_use]
    pub fn cycles(&self) -> u64 {
        self.cycles
    }

    /// Cycles of the page with the most.
    #[must_use]
    pub fn hottest_page_cycles(&self) -> u32 {
        self.pages.iter().copied().max().unwrap_or(0)
    }

    /// Cycles of the 4-byte group with the most: what the part's life is judged by.
    #[must_use]
    pub fn hottest_group_cycles(&self) -> u32 {
        self.groups.iter().copied().max().unwrap_or(0)
    }

    /// Hottest page over the mean of `pages`, 1.0 when all are equal or none was
    /// programmed. Pages beyond the part are left out.
    #[must_use]
    pub fn hottest_over_mean(&self, pages: Range<usize>) -> f64 {
        let end = pages.end.min(self.pages.len());
        let pages = &self.pages[pages.start.min(end)..end];
        let sum: u64 = pages.iter().map(|cycles| u64::from(*cycles)).sum();
        let hottest = pages.iter().copied().max().unwrap_or(0);
        if sum == 0 {
            return 1.0;
        }
        #[allow(clippy::cast_precision_loss)] // Far below 2^52 cycles.
        {
            f64::from(hottest) * pages.len() as f64 / sum as f64
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hottest_over_mean_is_of_the_pages_asked_for() {
        let mut wear = Wear::new(256, 64);
        for page in [0, 0, 0, 1, 2] {
            wear.add_cycle(page);
        }
        assert_eq!(wear.page_cycles(), [3, 1, 1, 0]);
        assert!((wear.hottest_over_mean(0..4) - 2.4).abs() < 1e-9);
        assert!((wear.hottest_over_mean(1..3) - 1.0).abs() < 1e-9);
        assert!((wear.hottest_over_mean(3..9) - 1.0).abs() < 1e-9);
    }
}
