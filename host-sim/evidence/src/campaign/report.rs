//! The reports of a campaign, each made from its results.
//!
//! - [`json`]: the figures for programs, with a published schema; [`schema`] makes it
//! - [`html`]: one page for people; [`plot`] draws in it, [`heat`] is its table of coverage
//! - [`parquet`]: all runs as a table, for queries
//!
//! Invariant: the results decide every byte. No report holds a time, a host or a path.

pub mod heat;
pub mod html;
pub mod json;
mod names;
pub mod parquet;
pub mod plot;
pub mod schema;

/// The bin that holds the median of what `bins` count; `None` if they are empty. Of an
/// even number it is the bin of the lower of the two in the middle.
#[must_use]
pub fn median_bin(bins: &[u64]) -> Option<usize> {
    let all: u64 = bins.iter().sum();
    let mut below = 0;
    bins.iter().position(|count| {
        below += count;
        *count > 0 && 2 * below >= all
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_is_in_the_bin_that_holds_the_middle() {
        assert_eq!(median_bin(&[]), None);
        assert_eq!(median_bin(&[0, 0]), None);
        assert_eq!(median_bin(&[0, 1, 0]), Some(1));
        assert_eq!(median_bin(&[2, 1, 0]), Some(0));
        assert_eq!(median_bin(&[2, 2, 0]), Some(0));
        assert_eq!(median_bin(&[2, 3, 0]), Some(1));
    }
}
