//! The E6 series of preferred values, IEC 60063: six to a decade, the usual
//! series for electrolytic capacitors.
//!
//! Invariant: values are whole nanofarads, so none is rounded.

use super::microfarads::Microfarads;

/// The series, in tenths (IEC 60063: 1.0 1.5 2.2 3.3 4.7 6.8).
const SERIES_TENTHS: [u64; 6] = [10, 15, 22, 33, 47, 68];

/// Largest value, nF: 1 F.
const LARGEST_NF: u64 = 1_000_000_000;

/// A capacitance of the series, 10 nF to 1 F.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct E6 {
    nf: u64,
}

impl E6 {
    /// All values, the smallest first.
    pub fn all() -> impl Iterator<Item = Self> {
        let decades = std::iter::successors(Some(1_u64), |decade| decade.checked_mul(10));
        decades
            .flat_map(|decade| SERIES_TENTHS.map(|tenths| Self { nf: tenths * decade }))
            .take_while(|value| value.nf <= LARGEST_NF)
    }

    /// The next smaller value; none below 10 nF.
    #[must_use]
    pub fn smaller(self) -> Option<Self> {
        Self::all().take_while(|value| *value < self).last()
    }

    /// As a capacitance.
    #[must_use]
    pub fn capacitance(self) -> Microfarads {
        Microfarads(self.nf as f64 / 1_000.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_series_is_that_of_iec_60063_in_every_decade() {
        let nf: Vec<u64> = E6::all().map(|value| value.nf).collect();
        assert_eq!(nf[..7], [10, 15, 22, 33, 47, 68, 100]);
        assert_eq!(nf.last(), Some(&LARGEST_NF));
        assert_eq!(nf.len(), 8 * 6 + 1);
        assert!(nf.is_sorted_by(|a, b| a < b));
        // Steps of a sixth of a decade, rounded: IEC 60063 gives 10^(k/6).
        for (k, tenths) in SERIES_TENTHS.into_iter().enumerate() {
            let exact = 10_f64.powf(1.0 + k as f64 / 6.0);
            assert!((tenths as f64 / exact - 1.0).abs() < 0.05, "{tenths} {exact}");
        }
    }

    #[test]
    fn the_next_smaller_one() {
        let all: Vec<E6> = E6::all().collect();
        assert_eq!(all[0].smaller(), None);
        for pair in all.windows(2) {
            assert_eq!(pair[1].smaller(), Some(pair[0]));
        }
    }
}
