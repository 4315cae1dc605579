//! The exact binomial test: how likely chance alone is to give as many events or more.
//!
//! The tail is summed term by term from its largest term, which comes from the saddle-point
//! form of the binomial probability (C. Loader, *Fast and Accurate Computation of Binomial
//! Probabilities*, 2000). That form subtracts no large logarithms, so the result is good to
//! about 12 digits for any number of tries and any chance.
//!
//! Invariants: the result is always within 0 to 1. No input panics or loops for long: at most
//! [`TERMS_MAX`] terms are summed. The terms left out are bounded from above by a geometric
//! series, so that a test errs towards "no sign".

use libm::{exp, fabs, lgamma, log, log1p};

/// Most terms summed. Reached only beyond some 10 million tries.
pub const TERMS_MAX: u32 = 20_000;
/// Halvings of an interval of chances: past the last bit of a double.
const HALVINGS: u32 = 100;
/// A term this much smaller than the sum ends it.
const NEGLIGIBLE: f64 = 1e-17;
const LN_2_PI: f64 = 1.837_877_066_409_345_3;

/// P(X ≥ `seen`) for X binomial with `tries` tries of `chance`: the chance of as many
/// events or more. A `chance` outside 0 to 1 is taken into it; one that is no number
/// gives 1 (no sign of anything).
#[must_use]
pub fn upper_tail(seen: u64, tries: u64, chance: f64) -> f64 {
    upper_tail_and_terms(seen, tries, chance).0
}

/// [`upper_tail`], and how many terms were summed for it.
#[must_use]
pub fn upper_tail_and_terms(seen: u64, tries: u64, chance: f64) -> (f64, u32) {
    if seen == 0 || chance.is_nan() || chance >= 1.0 {
        return (if seen <= tries || chance.is_nan() { 1.0 } else { 0.0 }, 0);
    }
    if seen > tries || chance <= 0.0 {
        return (0.0, 0);
    }
    let (n, k) = (tries as f64, seen as f64);
    if k > n * chance {
        let (tail, terms) = tail_from(k, n, chance);
        (tail.min(1.0), terms)
    } else {
        // The lower tail is that of the failures.
        let (rest, terms) = tail_from(n - k + 1.0, n, 1.0 - chance);
        ((1.0 - rest).clamp(0.0, 1.0), terms)
    }
}

/// P(X ≤ `seen`), as [`upper_tail`].
#[must_use]
pub fn lower_tail(seen: u64, tries: u64, chance: f64) -> f64 {
    if seen >= tries || chance.is_nan() || chance <= 0.0 {
        return 1.0;
    }
    if chance >= 1.0 {
        return 0.0;
    }
    let (n, k) = (tries as f64, seen as f64);
    if k < n * chance {
        tail_from(n - k, n, 1.0 - chance).0.min(1.0)
    } else {
        (1.0 - tail_from(k + 1.0, n, chance).0).clamp(0.0, 1.0)
    }
}

/// Two-sided limits of the chance behind `seen` of `tries` events at `confidence` (0.95
/// for 95 %): C. Clopper and E. Pearson, *The use of confidence or fiducial limits*, 1934.
/// (0, 1) when nothing was tried.
#[must_use]
pub fn limits(seen: u64, tries: u64, confidence: f64) -> (f64, f64) {
    let seen = seen.min(tries);
    let beyond = ((1.0 - confidence) / 2.0).clamp(0.0, 0.5);
    let least = if seen == 0 { 0.0 } else { solve(|p| upper_tail(seen, tries, p) < beyond) };
    let most = if seen == tries { 1.0 } else { solve(|p| lower_tail(seen, tries, p) >= beyond) };
    (least, most)
}

/// The chance up to which `is_below` holds.
fn solve(is_below: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if is_below(middle) { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Sum of the probabilities from `k` on, and how many were summed; `k` is above the mean or
/// at most 1 from it, so that the terms fall.
fn tail_from(k: f64, n: f64, p: f64) -> (f64, u32) {
    if k > n {
        return (0.0, 0);
    }
    let odds = p / (1.0 - p);
    let (mut sum, mut term, mut at) = (1.0, 1.0, k);
    for terms in 1..=TERMS_MAX {
        if at >= n {
            return (sum * probability(k, n, p), terms);
        }
        let ratio = (n - at) / (at + 1.0) * odds;
        term *= ratio;
        sum += term;
        at += 1.0;
        if term < sum * NEGLIGIBLE {
            return (sum * probability(k, n, p), terms);
        }
    }
    let ratio = (n - at) / (at + 1.0) * odds;
    let rest = if ratio < 1.0 { term * ratio / (1.0 - ratio) } else { f64::INFINITY };
    ((sum + rest) * probability(k, n, p), TERMS_MAX)
}

/// P(X = k), 0 ≤ k ≤ n, 0 < p < 1.
fn probability(k: f64, n: f64, p: f64) -> f64 {
    let q = 1.0 - p;
    if k <= 0.0 {
        return exp(n * log1p(-p));
    }
    if k >= n {
        return exp(n * log(p));
    }
    let exponent = stirling_error(n)
        - stirling_error(k)
        - stirling_error(n - k)
        - deviance(k, n * p)
        - deviance(n - k, n * q);
    exp(exponent + 0.5 * (log(n / k) - log(n - k) - LN_2_PI))
}

/// ln n! less Stirling's formula for it, n ≥ 1. The series is Stirling's.
fn stirling_error(n: f64) -> f64 {
    if n < 16.0 {
        return lgamma(n + 1.0) - (n + 0.5) * log(n) + n - 0.5 * LN_2_PI;
    }
    let n2 = n * n;
    (1.0 / 12.0 - (1.0 / 360.0 - (1.0 / 1_260.0 - (1.0 / 1_680.0) / n2) / n2) / n2) / n
}

/// `x ln(x / m) + m − x`, without loss where x is near m.
fn deviance(x: f64, m: f64) -> f64 {
    if fabs(x - m) >= 0.1 * (x + m) {
        return x * log(x / m) + m - x;
    }
    let v = (x - m) / (x + m);
    let mut sum = (x - m) * v;
    let mut power = 2.0 * x * v;
    for j in 1..200_u32 {
        power *= v * v;
        let next = sum + power / f64::from(2 * j + 1);
        if next.to_bits() == sum.to_bits() {
            break;
        }
        sum = next;
    }
    sum
}
