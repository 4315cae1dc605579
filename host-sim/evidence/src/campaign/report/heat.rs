//! The table of coverage: which kind of fault met which state, how often.
//!
//! Invariant: what was never met is shown by a sign and a word, not by colour alone.

use maud::{Markup, html};

use super::json::{Coverage, StateHits};
use shaftbook_world::figures::grouped;

/// Shades of a cell that was hit.
const SHADES: u32 = 5;

/// The table.
#[must_use]
pub fn table(coverage: &Coverage) -> Markup {
    let most = coverage.states.iter().flat_map(|state| &state.hits).copied().max().unwrap_or(0);
    html! {
        p {
            span class="never" { "–" }
            " means never. The stronger the shade, the more often (logarithmic)."
        }
        div class="wide" role="region" tabindex="0" aria-labelledby="coverage-caption" {
            table class="heat" {
                caption id="coverage-caption" {
                    "Faults of each kind that met each state"
                }
                thead {
                    tr {
                        th scope="col" class="corner" { "State" }
                        @for kind in &coverage.kinds {
                            th scope="col" class="tilt" { span { (kind) } }
                        }
                        th scope="col" class="tilt" { span { "all kinds" } }
                    }
                }
                tbody {
                    @for state in &coverage.states { (row(state, most)) }
                }
            }
        }
    }
}

fn row(state: &StateHits, most: u64) -> Markup {
    html! {
        tr class=[(state.all == 0).then_some("unvisited")] {
            th scope="row" {
                span class="state" { (state.state) }
                @if state.all == 0 { span class="flag" { " ✗ never met" } }
                @else if state.required && state.cuts == 0 {
                    span class="flag" { " ✗ required, met by no cut" }
                }
                span class="meaning" { (state.meaning) }
            }
            @for hits in &state.hits { (cell(*hits, most)) }
            td class="sum" { (grouped(state.all)) }
        }
    }
}

fn cell(hits: u64, most: u64) -> Markup {
    html! {
        @if hits == 0 {
            td class="never" { span aria-hidden="true" { "–" } span class="unseen" { "never" } }
        } @else {
            td class=(format!("h{}", shade(hits, most))) { (grouped(hits)) }
        }
    }
}

/// 1 for a single hit to [`SHADES`] for the most, by the logarithm.
fn shade(hits: u64, most: u64) -> u32 {
    if hits <= 1 || most <= 1 {
        return 1;
    }
    let share = (hits as f64).ln() / (most as f64).ln();
    (1..SHADES).find(|shade| share * f64::from(SHADES) <= f64::from(*shade)).unwrap_or(SHADES)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_most_is_darkest_and_a_single_hit_is_lightest() {
        assert_eq!([shade(1, 1), shade(1, 1_000), shade(1_000, 1_000)], [1, 1, SHADES]);
        assert!((1..=1_000).is_sorted_by_key(|hits| shade(hits, 1_000)));
    }
}
