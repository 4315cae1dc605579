//! How often a misheard code is decoded rightly, refused, or taken for another one.
//!
//! Invariants: each case is drawn from the seed, its damage and its number alone, so the
//! same seed gives the same figures on any number of cores; each goes the whole way from
//! text to read-out.

use std::fmt::Write as _;

use rayon::prelude::*;
use serde::Serialize;
use shaftbook_readout::code::Code;
use shaftbook_readout::decode::{Refused, decode_keeping};
use shaftbook_readout::heard::Heard;

use super::damage::{Mishearing, Promise};
use super::draw::read_out;
use shaftbook_world::figures::grouped;
use shaftbook_world::sewing::random::Random;

/// Cases that are drawn from one source.
const CHUNK: u64 = 5_000;

/// What to count.
#[derive(Clone, Copy, Debug)]
pub struct CountPlan {
    /// Seed of everything random.
    pub seed: u64,
    /// Cases of each damage.
    pub cases: u64,
    /// Parity symbols that the decoder keeps for detection.
    pub kept: usize,
}

/// A code taken for another one.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct TakenFor {
    /// Number of the case.
    pub case: u64,
    /// What was said.
    pub said: String,
    /// What was heard.
    pub heard: String,
}

/// What came of one damage.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct MishearingCount {
    /// Cases.
    pub cases: u64,
    /// Decoded as meant.
    pub right: u64,
    /// Refused.
    pub refused: u64,
    /// Of those, corrected into another code, and refused for what that one says.
    pub refused_by_sense: u64,
    /// Taken for another code.
    pub wrong: u64,
    /// The first of those.
    pub first_mistake: Option<TakenFor>,
}

impl MishearingCount {
    fn plus(mut self, other: Self) -> Self {
        self.cases += other.cases;
        self.right += other.right;
        self.refused += other.refused;
        self.refused_by_sense += other.refused_by_sense;
        self.wrong += other.wrong;
        self.first_mistake = match (self.first_mistake, other.first_mistake) {
            (Some(one), Some(other)) => Some(one.min(other)),
            (one, other) => one.or(other),
        };
        self
    }
}

/// A damage with what came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MishearingRow {
    /// The damage.
    pub damage: Mishearing,
    /// What came of it.
    pub count: MishearingCount,
}

impl MishearingRow {
    /// Whether what is promised for this damage was kept.
    #[must_use]
    pub fn held(&self) -> bool {
        let count = &self.count;
        match self.damage.promise() {
            Promise::Right => count.right == count.cases,
            Promise::NeverWrong => count.wrong == 0,
            Promise::Rarely => count.wrong * 1_000 <= count.cases,
        }
    }
}

/// Counts every damage; `progress` is told of each number of cases done.
pub fn count(plan: &CountPlan, progress: &(impl Fn(u64) + Sync)) -> Vec<MishearingRow> {
    let damages = Mishearing::all();
    let chunks = plan.cases.div_ceil(CHUNK);
    let of = |n: u64| (damages[(n / chunks.max(1)) as usize], n / chunks.max(1), n % chunks.max(1));
    let counts: Vec<MishearingCount> = (0..damages.len() as u64 * chunks)
        .into_par_iter()
        .map(|n| {
            let (damage, kind, chunk) = of(n);
            let cases = chunk * CHUNK..((chunk + 1) * CHUNK).min(plan.cases);
            let mut random = Random::new(plan.seed, kind << 40 | chunk);
            progress(cases.end - cases.start);
            cases.fold(MishearingCount::default(), |sum, case| {
                sum.plus(one(damage, case, plan, &mut random))
            })
        })
        .collect();
    let by_damage = counts.chunks(chunks.max(1) as usize);
    let sum = |counts: &[MishearingCount]| {
        counts.iter().cloned().fold(MishearingCount::default(), MishearingCount::plus)
    };
    let rows = damages.iter().zip(by_damage);
    rows.map(|(damage, counts)| MishearingRow { damage: *damage, count: sum(counts) }).collect()
}

fn one(damage: Mishearing, case: u64, plan: &CountPlan, random: &mut Random) -> MishearingCount {
    let (code, text) = loop {
        let code = Code::saying(&read_out(random));
        if let Some(text) = damage.of(&code, random) {
            break (code, text);
        }
    };
    let mut count = MishearingCount { cases: 1, ..MishearingCount::default() };
    match Heard::parse(&text).map(|heard| decode_keeping(&heard, plan.kept)) {
        Ok(Ok(decoded)) if decoded.code == code => count.right = 1,
        Ok(Ok(_)) => {
            count.wrong = 1;
            let said = code.to_string();
            count.first_mistake = Some(TakenFor { case, said, heard: text });
        }
        Ok(Err(Refused::State(_))) => (count.refused, count.refused_by_sense) = (1, 1),
        Ok(Err(_)) | Err(_) => count.refused = 1,
    }
    count
}

/// The rows as a Markdown table.
#[must_use]
pub fn table(rows: &[MishearingRow]) -> String {
    let mut text = String::from(
        "| damage | cases | decoded rightly | refused | of those, by their sense \
         | accepted wrongly | bound |\n|---|--:|--:|--:|--:|--:|---|\n",
    );
    for row in rows {
        let count = &row.count;
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {}{} |",
            row.damage,
            grouped(count.cases),
            grouped(count.right),
            grouped(count.refused),
            grouped(count.refused_by_sense),
            grouped(count.wrong),
            row.damage.promise(),
            if row.held() { "" } else { ": NOT HELD" }
        );
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use shaftbook_readout::decode::KEPT;

    /// A smaller version of the table in `docs/FORMAT.md`.
    const PLAN: CountPlan = CountPlan { seed: 1, cases: 10_000, kept: KEPT };

    #[test]
    fn every_promise_is_kept() {
        let rows = count(&PLAN, &|_| ());
        for row in &rows {
            assert_eq!(row.count.cases, PLAN.cases);
            assert_eq!(row.count.right + row.count.refused + row.count.wrong, PLAN.cases);
        }
        let broken: Vec<_> = rows.into_iter().filter(|row| !row.held()).collect();
        assert!(broken.is_empty(), "{}{broken:#?}", table(&broken));
    }

    /// With nothing kept for detection, three wrong symbols are corrected. The promises
    /// that this breaks are found: the table can fail.
    #[test]
    fn a_decoder_that_corrects_three_breaks_the_promises() {
        let rows = count(&CountPlan { kept: 0, cases: 2_000, ..PLAN }, &|_| ());
        let broken: Vec<_> =
            rows.iter().filter(|row| !row.held()).map(|row| row.damage.to_string()).collect();
        for damage in ["4 wrong", "5 wrong", "8 wrong", "two pairs swapped", "two groups swapped"] {
            assert!(broken.iter().any(|broken| broken == damage), "{damage} not in {broken:?}");
        }
        assert!(rows[3].count.first_mistake.is_some());
    }

    #[test]
    fn one_seed_one_table_on_any_number_of_cores() {
        let plan = CountPlan { cases: 1_000, seed: 9, ..PLAN };
        let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a pool");
        let many = rayon::ThreadPoolBuilder::new().num_threads(5).build().expect("a pool");
        let rows = one.install(|| count(&plan, &|_| ()));
        assert_eq!(rows, many.install(|| count(&plan, &|_| ())));
        assert_ne!(rows, count(&CountPlan { seed: 10, ..plan }, &|_| ()));
    }
}
