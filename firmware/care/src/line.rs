//! A straight line through points, by least squares.
//!
//! Sums are taken about the means, so that large offsets (hours over years, day numbers)
//! cost no precision.

use libm::sqrt;

/// `y = intercept + slope · x`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Rise of y for 1 of x.
    pub slope: f64,
    /// y at x = 0.
    pub intercept: f64,
    /// Standard error of the slope; 0 with two points.
    pub slope_error: f64,
}

/// The line through `points` (x, y) with the least sum of squares in y; `None` with fewer
/// than two points, or when all have one x.
pub fn fit(points: impl Iterator<Item = (f64, f64)> + Clone) -> Option<Line> {
    let count = points.clone().count() as f64;
    if count < 2.0 {
        return None;
    }
    let (sum_x, sum_y) = points.clone().fold((0.0, 0.0), |(a, b), (x, y)| (a + x, b + y));
    let (mean_x, mean_y) = (sum_x / count, sum_y / count);
    let (mut sxx, mut sxy) = (0.0, 0.0);
    for (x, y) in points.clone() {
        sxx += (x - mean_x) * (x - mean_x);
        sxy += (x - mean_x) * (y - mean_y);
    }
    if sxx <= 0.0 {
        return None;
    }
    let slope = sxy / sxx;
    let squares: f64 = points
        .map(|(x, y)| (y - mean_y) - slope * (x - mean_x))
        .fold(0.0, |sum, rest| sum + rest * rest);
    let slope_error = if count > 2.0 { sqrt(squares / (count - 2.0) / sxx) } else { 0.0 };
    Some(Line { slope, intercept: mean_y - slope * mean_x, slope_error })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected values: computed with `scipy.stats.linregress`.
    #[test]
    fn hours_over_days_agree_with_an_independent_library() {
        let points = [(0.0, 1200.0), (7.0, 1241.5), (14.0, 1279.0), (21.0, 1322.5), (28.0, 1360.0)];
        let line = fit(points.into_iter()).unwrap();
        assert!((line.slope - 5.728_571).abs() < 1e-6, "{line:?}");
        assert!((line.intercept - 1_200.4).abs() < 1e-9, "{line:?}");
        assert!((line.slope_error - 0.071_903_2).abs() < 1e-7, "{line:?}");
    }

    /// NIST Statistical Reference Datasets, Norris. Data and certified values are written
    /// from memory; that they agree to 11 digits shows that they were remembered right.
    #[test]
    fn the_norris_reference_data_set_agrees_to_eleven_digits() {
        let points = [
            (0.2, 0.1),
            (337.4, 338.8),
            (118.2, 118.1),
            (884.6, 888.0),
            (10.1, 9.2),
            (226.5, 228.1),
            (666.3, 668.5),
            (996.3, 998.5),
            (448.6, 449.1),
            (777.0, 778.9),
            (558.2, 559.2),
            (0.4, 0.3),
            (0.6, 0.1),
            (775.5, 778.1),
            (666.9, 668.8),
            (338.0, 339.3),
            (447.5, 448.9),
            (11.6, 10.8),
            (556.0, 557.7),
            (228.1, 228.3),
            (995.8, 998.0),
            (887.6, 888.8),
            (120.2, 119.6),
            (0.3, 0.3),
            (0.3, 0.6),
            (556.8, 557.6),
            (339.1, 339.3),
            (887.2, 888.0),
            (999.0, 998.5),
            (779.0, 778.9),
            (11.1, 10.2),
            (118.3, 117.6),
            (229.2, 228.9),
            (669.1, 668.4),
            (448.9, 449.2),
            (0.5, 0.2),
        ];
        let line = fit(points.into_iter()).unwrap();
        let near = |a: f64, b: f64| ((a - b) / b).abs() < 1e-11;
        assert!(near(line.slope, 1.002_116_818_020_45), "{line:?}");
        assert!(near(line.intercept, -0.262_323_073_774_029), "{line:?}");
        assert!(near(line.slope_error, 0.429_796_848_199_937e-3), "{line:?}");
    }

    #[test]
    fn no_line_through_one_place() {
        assert_eq!(fit([(3.0, 1.0)].into_iter()), None);
        assert_eq!(fit([(3.0, 1.0), (3.0, 9.0)].into_iter()), None);
        let line = fit([(3.0, 1.0), (4.0, 9.0)].into_iter()).unwrap();
        assert!(line.slope_error.abs() < 1e-12 && (line.slope - 8.0).abs() < 1e-12);
    }
}
