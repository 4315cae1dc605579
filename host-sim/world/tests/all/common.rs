//! Shared by the property tests: their cases, which are the same in every run.

use proptest::test_runner::{Config, RngSeed};

/// The same cases in every run, and more or others on request: a failure is replayed
/// by running the test again with the same `PROPTEST_RNG_SEED` and `PROPTEST_CASES`,
/// if any were set.
pub fn fixed_cases() -> Config {
    let mut config = Config { failure_persistence: None, ..Config::default() };
    if config.rng_seed == RngSeed::Random {
        config.rng_seed = RngSeed::Fixed(20);
    }
    config
}
