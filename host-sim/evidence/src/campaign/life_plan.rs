//! The table `[lives]` of a campaign file: how long lives are, and what comes in them.

use serde::{Deserialize, Serialize};

use crate::campaign::least_most::LeastMost;

/// Working days of a year.
pub const DAYS_A_YEAR: u32 = 250;
/// Longest life, years.
const YEARS_MAX: f64 = 40.0;
/// Most hours of power in a year: two shifts.
const HOURS_MAX: u32 = 4_000;

/// What a campaign of lives draws from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LifePlan {
    /// Length of a life, years of 250 working days, 0.004 (one day) to 40.
    pub years: f64,
    /// Hours of power in a year, 250 to 4,000.
    #[serde(default = "two_thousand")]
    pub hours_per_year: u32,
    /// Fittings of the machine after its first.
    #[serde(default = "some_refits")]
    pub refits: LeastMost,
    /// Visits of the engineer in a year, on average, 0 to 50: services, renewals, wrong replies.
    #[serde(default = "four")]
    pub visits_per_year: f64,
    /// Renewals by the operator in a year, on average, 0 to 250.
    #[serde(default = "thirty")]
    pub renewals_per_year: f64,
    /// Cuts in the middle of what the board writes, in a year, on average, 0 to 250.
    #[serde(default = "thirty")]
    pub cuts_per_year: f64,
    /// Other faults of each kind in the mix, in a year, on average, 0 to 50.
    #[serde(default = "one")]
    pub faults_per_year: f64,
    /// Runs of a chunk, 1 to 256: what an interruption may cost.
    #[serde(default = "one_run")]
    pub chunk: u64,
}

const fn two_thousand() -> u32 {
    2_000
}

const fn some_refits() -> LeastMost {
    LeastMost { least: 1, most: 5 }
}

const fn four() -> f64 {
    4.0
}

const fn thirty() -> f64 {
    30.0
}

const fn one() -> f64 {
    1.0
}

const fn one_run() -> u64 {
    1
}

impl LifePlan {
    /// Working days of a life.
    #[must_use]
    #[allow(clippy::cast_sign_loss)] // Checked: positive.
    pub fn days(&self) -> u32 {
        ((self.years * f64::from(DAYS_A_YEAR)).round() as u32).max(1)
    }

    /// The key and what is wrong with it, if anything is.
    ///
    /// # Errors
    /// The first thing wrong.
    pub fn check(&self) -> Result<(), (String, String)> {
        let wrong = |key: &str, what: String| Err((format!("lives.{key}"), what));
        if !(0.004..=YEARS_MAX).contains(&self.years) {
            return wrong("years", format!("{} is not 0.004 to {YEARS_MAX}", self.years));
        }
        if !(DAYS_A_YEAR..=HOURS_MAX).contains(&self.hours_per_year) {
            let what = format!("{} is not {DAYS_A_YEAR} to {HOURS_MAX}", self.hours_per_year);
            return wrong("hours_per_year", what);
        }
        let LeastMost { least, most } = self.refits;
        if least > most || most > 20 {
            return wrong("refits", "least at most most, most 20".into());
        }
        for (key, rate, limit) in [
            ("visits_per_year", self.visits_per_year, 50.0),
            ("renewals_per_year", self.renewals_per_year, 250.0),
            ("cuts_per_year", self.cuts_per_year, 250.0),
            ("faults_per_year", self.faults_per_year, 50.0),
        ] {
            if !(0.0..=limit).contains(&rate) {
                return wrong(key, format!("{rate} is not 0 to {limit}"));
            }
        }
        if !(1..=256).contains(&self.chunk) {
            return wrong("chunk", format!("{} is not 1 to 256", self.chunk));
        }
        Ok(())
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::campaign::plan::CampaignPlan;
    use std::path::Path;

    /// The shipped plan of lives, with lives of `years`.
    pub fn plan(years: f64) -> CampaignPlan {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../campaigns/lives.toml");
        let mut plan = CampaignPlan::load(&file).expect("the shipped plan");
        plan.lives.as_mut().expect("it is one of lives").years = years;
        plan
    }

    #[test]
    fn what_is_out_of_range_is_named() {
        let good = plan(20.0).lives.expect("lives");
        assert_eq!(good.check(), Ok(()));
        for (bad, key) in [
            (LifePlan { years: 0.0, ..good.clone() }, "lives.years"),
            (LifePlan { hours_per_year: 9_000, ..good.clone() }, "lives.hours_per_year"),
            (LifePlan { refits: LeastMost { least: 3, most: 2 }, ..good.clone() }, "lives.refits"),
            (LifePlan { cuts_per_year: -1.0, ..good.clone() }, "lives.cuts_per_year"),
            (LifePlan { chunk: 0, ..good.clone() }, "lives.chunk"),
        ] {
            assert_eq!(bad.check().expect_err(key).0, key);
        }
    }
}
