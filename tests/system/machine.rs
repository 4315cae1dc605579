//! Runs a state machine test with a fixed seed, and says how to run it again.

use std::panic::PanicHookInfo;
use std::sync::{Arc, Mutex, PoisonError};

use proptest::test_runner::{Config, RngSeed, TestError, TestRunner};
use proptest_state_machine::{ReferenceStateMachine, StateMachineTest};

type Hook = dyn Fn(&PanicHookInfo<'_>) + Send + Sync;

/// Runs `cases` random sequences of 1 to `steps` steps. `PROPTEST_RNG_SEED` and
/// `PROPTEST_CASES` choose others.
///
/// # Panics
/// When a case fails: with the shrunk case and the one command that replays it.
pub fn check<T: StateMachineTest>(test: &str, seed: u64, cases: u32, steps: usize) {
    /// The hook is the process's: one state machine at a time.
    static ONE: Mutex<()> = Mutex::new(());
    let _one = ONE.lock().unwrap_or_else(PoisonError::into_inner);
    let mut config =
        Config { failure_persistence: None, max_shrink_iters: 20_000, ..Config::default() };
    if config.rng_seed == RngSeed::Random {
        config.rng_seed = RngSeed::Fixed(seed);
    }
    if std::env::var_os("PROPTEST_CASES").is_none() {
        config.cases = cases;
    }
    let (seed, cases) = (config.rng_seed, config.cases);
    let mut runner = TestRunner::new(config.clone());
    let strategy = T::Reference::sequential_strategy(1..steps);
    // One line for the shrunk case, not one for each on the way to it; other tests' threads
    // go on saying what they have to.
    let hook: Arc<Hook> = Arc::from(std::panic::take_hook());
    let (others, me) = (Arc::clone(&hook), std::thread::current().id());
    std::panic::set_hook(Box::new(move |info| {
        if std::thread::current().id() != me {
            others(info);
        }
    }));
    let result = runner.run(&strategy, |(state, transitions, seen)| {
        T::test_sequential(config.clone(), state, transitions, seen);
        Ok(())
    });
    std::panic::set_hook(Box::new(move |info| hook(info)));
    match result {
        Ok(()) => {}
        Err(TestError::Abort(reason)) => panic!("{test}: {reason}"),
        Err(TestError::Fail(reason, (state, transitions, _))) => panic!(
            "{test}: {reason}\nfrom {state:?}\nby {transitions:#?}\nreplay: PROPTEST_RNG_SEED={seed} \
             PROPTEST_CASES={cases} cargo test -p system-tests --test system {test}"
        ),
    }
}
