//! Figures that are both in `.ci/budgets.toml` and in code are the same in both.

use shaftbook_tools::hold_up::reaction::BUDGET_US;
use shaftbook_world::bench::screen::PAINT_STEP_US;

const BUDGETS: &str = include_str!("../../.ci/budgets.toml");
/// Cycles in a µs on the RP2040 board.
const CYCLES_PER_US: u64 = 125;

/// The limit `[rp2040] key` in the text of a budget file.
fn limit(text: &str, key: &str) -> Option<i64> {
    let budgets: toml::Table = toml::from_str(text).ok()?;
    budgets.get("rp2040")?.get(key)?.as_integer()
}

#[test]
fn the_hold_up_is_sized_by_the_limit_that_the_image_is_held_to() {
    assert_eq!(limit(BUDGETS, "reaction_us"), Some(BUDGET_US.into()));
    assert_eq!(limit("[rp2040]\nreaction_us = 7", "reaction_us"), Some(7), "another would be seen");
}

#[test]
fn the_proofs_take_a_step_of_the_panel_as_long_as_the_image_may() {
    let cycles = limit(BUDGETS, "turn_cycles").and_then(|cycles| u64::try_from(cycles).ok());
    assert_eq!(cycles, Some(PAINT_STEP_US * CYCLES_PER_US));
}
