//! Tails of the binomial distribution, summed term by term (`docs/CARE.md`, *How sure*).

/// The chance of `seen` events or more of `tries`, each with `chance`, which is between 0 and 1.
/// Good to some 12 digits for up to a few hundred tries.
#[must_use]
pub fn upper(seen: u64, tries: u64, chance: f64) -> f64 {
    terms(tries, chance).skip(seen as usize).sum()
}

/// The chance of `seen` events or fewer.
#[must_use]
pub fn lower(seen: u64, tries: u64, chance: f64) -> f64 {
    terms(tries, chance).take(seen as usize + 1).sum()
}

/// The chance of 0, 1, 2 … `tries` events. Each comes from the one before; the first is kept as a
/// logarithm until the terms are large enough for a double.
fn terms(tries: u64, chance: f64) -> impl Iterator<Item = f64> {
    let n = tries as f64;
    let mut log = n * (-chance).ln_1p();
    let mut term = log.exp();
    (0..=tries).map(move |k| {
        let now = term;
        let k = k as f64;
        let factor = (n - k) / (k + 1.0) * (chance / (1.0 - chance));
        log += factor.ln();
        term = if now > 1e-290 { now * factor } else { log.exp() };
        now
    })
}

/// Two-sided limits of the chance behind `seen` of `tries` events (Clopper and Pearson), each
/// missed with the chance `beyond`.
#[must_use]
pub fn limits(seen: u64, tries: u64, beyond: f64) -> (f64, f64) {
    let search = |is_below: &dyn Fn(f64) -> bool| {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if is_below(middle) { low = middle } else { high = middle }
        }
        low
    };
    let least = if seen == 0 { 0.0 } else { search(&|p| upper(seen, tries, p) < beyond) };
    let most = if seen == tries { 1.0 } else { search(&|p| lower(seen, tries, p) >= beyond) };
    (least, most)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook 7.2.4.1, from memory as `docs/CARE.md` has it: 4 of 20, 90 %.
    #[test]
    fn a_published_example_comes_out() {
        let (least, most) = limits(4, 20, 0.05);
        assert!((least - 0.071_354).abs() < 1e-6 && (most - 0.401_028).abs() < 1e-6);
        assert!((upper(0, 20, 0.3) - 1.0).abs() < 1e-12);
    }
}
