//! Figures that stand in `.ci/budgets.toml` and in code are the same.

use host_sim::hold_up::reaction::BUDGET_US;

/// The limit `[rp2040] reaction_us` in the text of a budget file.
fn reaction_us(text: &str) -> Option<i64> {
    let budgets: toml::Table = toml::from_str(text).ok()?;
    budgets.get("rp2040")?.get("reaction_us")?.as_integer()
}

#[test]
fn the_hold_up_is_sized_by_the_limit_that_the_image_is_held_to() {
    assert_eq!(reaction_us(include_str!("../.ci/budgets.toml")), Some(BUDGET_US.into()));
    assert_eq!(reaction_us("[rp2040]\nreaction_us = 7"), Some(7), "another would be seen");
}
