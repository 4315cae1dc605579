//! The exact test against published values and against an independent library.

// The edges are exact, and counts are not negative.
#![allow(clippy::float_cmp, clippy::cast_sign_loss)]

use shaftbook_care::binomial::{limits, lower_tail, upper_tail};
use statrs::distribution::{Binomial, DiscreteCDF};

fn near(a: f64, b: f64, relative: f64) -> bool {
    (a - b).abs() <= relative * b.abs().max(1e-280)
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1: 4 defectives of 20, 90 %.
#[test]
fn the_limits_of_the_handbook() {
    let (least, most) = limits(4, 20, 0.90);
    assert!((least - 0.071_354).abs() < 5e-7, "{least}");
    assert!((most - 0.401_028).abs() < 5e-7, "{most}");
}

/// P(X ≥ 3 | 15, 0.1) = 0.184061, from an independent library (scipy).
#[test]
fn three_of_fifteen() {
    assert!((upper_tail(3, 15, 0.1) - 0.184_061).abs() < 5e-7);
    assert!((lower_tail(2, 15, 0.1) - (1.0 - 0.184_061)).abs() < 5e-7);
}

/// F. Garwood, Fiducial limits for the Poisson distribution, 1936: 95 %. With many tries of
/// a small chance the binomial is the Poisson distribution.
#[test]
fn rare_events_have_the_limits_of_garwood() {
    const TRIES: u64 = 1_000_000_000;
    for (seen, least, most) in [
        (0, 0.0, 3.6889),
        (1, 0.0253, 5.5716),
        (3, 0.6187, 8.7673),
        (10, 4.7954, 18.3904),
        (20, 12.2165, 30.8884),
    ] {
        let (low, high) = limits(seen, TRIES, 0.95);
        let (low, high) = (low * TRIES as f64, high * TRIES as f64);
        assert!((low - least).abs() < 1e-4 && (high - most).abs() < 1e-4, "{seen}: {low} {high}");
    }
}

/// P(X ≥ `seen`) and P(X ≤ `seen`) another way: all terms from the likeliest on, in both
/// directions, divided by their sum. No logarithm, no gamma function.
fn by_normalising(seen: u64, tries: u64, chance: f64) -> (f64, f64) {
    let odds = chance / (1.0 - chance);
    let likeliest = (tries as f64 * chance) as u64;
    let mut terms = vec![(likeliest, 1.0_f64)];
    let (mut at, mut term) = (likeliest, 1.0);
    while at < tries && term > 1e-300 {
        term *= (tries - at) as f64 / (at + 1) as f64 * odds;
        at += 1;
        terms.push((at, term));
    }
    (at, term) = (likeliest, 1.0);
    while at > 0 && term > 1e-300 {
        term *= at as f64 / (tries - at + 1) as f64 / odds;
        at -= 1;
        terms.push((at, term));
    }
    terms.sort_by(|a, b| a.1.total_cmp(&b.1));
    let sum = |wanted: &dyn Fn(u64) -> bool| -> f64 {
        terms.iter().filter(|(at, _)| wanted(*at)).map(|(_, term)| term).sum()
    };
    let all = sum(&|_| true);
    (sum(&|at| at >= seen) / all, sum(&|at| at <= seen) / all)
}

/// Over a grid: another way of summing, to 10 digits, and crate `statrs` to what its
/// incomplete beta function is good for. Where they differ, both of ours agree.
#[test]
fn the_tails_agree_with_an_independent_library_and_another_sum() {
    let mut compared = 0;
    for tries in [1_u64, 2, 5, 17, 60, 240, 1_000, 20_000, 300_000, 1_000_000] {
        let beta_is_good_to = match tries {
            ..=1_000 => 1e-9,
            1_001..=20_000 => 1e-6,
            // Its fraction is cut off too early: 0.2 % out at 500,000 of 1,000,000.
            _ => 1e-2,
        };
        for chance in [1e-7, 1e-5, 0.0003, 0.01, 0.066, 0.2, 0.5, 0.7, 0.95, 0.9999] {
            let other = Binomial::new(chance, tries).unwrap();
            let mean = tries as f64 * chance;
            let sd = (mean * (1.0 - chance)).sqrt();
            for deviations in [-6.0, -3.0, -1.0, -0.2, 0.0, 0.3, 1.0, 2.5, 4.0, 7.0, 12.0] {
                let seen = (mean + deviations * sd).round().clamp(0.0, tries as f64) as u64;
                let case = format!("{seen} of {tries}, {chance}");
                let (upper, lower) = by_normalising(seen, tries, chance);
                let tail = upper_tail(seen, tries, chance);
                if upper > 1e-200 {
                    assert!(near(tail, upper, 1e-10), "{case}: {tail:e} {upper:e}");
                    let beta = if seen > 0 { other.sf(seen - 1) } else { 1.0 };
                    assert!(near(tail, beta, beta_is_good_to), "{case}: {tail:e} {beta:e}");
                    compared += 1;
                }
                let tail = lower_tail(seen, tries, chance);
                if lower > 1e-200 {
                    assert!(near(tail, lower, 1e-10), "{case}: {tail:e} {lower:e}");
                    let beta = other.cdf(seen);
                    assert!(near(tail, beta, beta_is_good_to), "{case}: {tail:e} {beta:e}");
                    compared += 1;
                }
            }
        }
    }
    assert!(compared > 1_500, "{compared}");
}

/// With a chance that is a power of 2 the small cases are exact sums.
#[test]
fn the_tails_of_fair_coins_are_counted_out() {
    for tries in 1..=40_u64 {
        let mut ways = 1.0_f64;
        let mut from = vec![1.0];
        for k in 0..tries {
            ways = ways * (tries - k) as f64 / (k + 1) as f64;
            from.push(ways);
        }
        for seen in 0..=tries {
            let sum: f64 = from[seen as usize..].iter().sum::<f64>() / 2_f64.powf(tries as f64);
            assert!(near(upper_tail(seen, tries, 0.5), sum, 1e-12), "{seen} of {tries}");
        }
    }
}

#[test]
fn the_edges_are_exact_and_nonsense_is_no_sign() {
    assert_eq!(upper_tail(0, 0, 0.3), 1.0);
    assert_eq!(upper_tail(1, 0, 0.3), 0.0);
    assert_eq!(upper_tail(5, 5, 1.0), 1.0);
    assert_eq!(upper_tail(1, 5, 0.0), 0.0);
    assert_eq!(upper_tail(1, 5, f64::NAN), 1.0);
    assert_eq!(lower_tail(3, 5, f64::NAN), 1.0);
    assert_eq!(lower_tail(3, 5, 1.0), 0.0);
    assert_eq!(limits(0, 0, 0.95), (0.0, 1.0));
    for (seen, tries) in [(u64::MAX, u64::MAX), (1, u64::MAX), (u64::MAX / 2, u64::MAX)] {
        for chance in [-1.0, 0.0, 1e-300, 0.5, 1.0 - 1e-16, 1.0, 2.0, f64::INFINITY] {
            let tails = (upper_tail(seen, tries, chance), lower_tail(seen, tries, chance));
            assert!((0.0..=1.0).contains(&tails.0) && (0.0..=1.0).contains(&tails.1), "{tails:?}");
        }
    }
}
