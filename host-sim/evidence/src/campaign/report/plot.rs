//! Small plots as inline SVG: bars over bins, with a logarithmic or a linear scale.
//!
//! They are drawn here, and not by a plotting crate, because of what the page needs: colours
//! from the page's style sheet, so that they follow light, dark and print; a title and a
//! description for readers who do not see the plot; one outline for 512 bars.

use std::fmt::Write as _;

use maud::{Markup, html};

use shaftbook_world::figures::grouped;

/// Size of a plot, in units of its own coordinates.
const SIZE: (f64, f64) = (480.0, 260.0);
/// Where bars are: left, right, top, bottom.
const LEFT: f64 = 58.0;
const RIGHT: f64 = 468.0;
const TOP: f64 = 34.0;
const BOTTOM: f64 = 214.0;

/// How heights are scaled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlotScale {
    /// From 0.
    Linear,
    /// By powers of ten, so that a single case can be seen beside a million.
    Logarithmic,
}

/// A line across the plot, from bottom to top or from left to right, with its name.
#[derive(Clone, Debug)]
pub struct PlotLine {
    /// Where: in bins from the left edge, or a height.
    pub at: f64,
    /// What it is.
    pub name: String,
}

/// A plot of bars.
#[derive(Clone, Debug)]
pub struct Bars<'a> {
    /// Its id in the page.
    pub id: &'a str,
    /// Its title.
    pub title: &'a str,
    /// What it shows, in words, for those who do not see it.
    pub description: String,
    /// Heights, from left to right.
    pub counts: &'a [u64],
    /// How they are scaled.
    pub scale: PlotScale,
    /// What is counted.
    pub count_label: &'a str,
    /// What runs from left to right.
    pub bin_label: &'a str,
    /// Marks under the bars: in bins from the left edge, with what they say.
    pub marks: Vec<PlotLine>,
    /// A bound, from bottom to top.
    pub bound: Option<PlotLine>,
    /// A level, from left to right.
    pub level: Option<PlotLine>,
}

impl Bars<'_> {
    /// The plot.
    #[must_use]
    pub fn svg(&self) -> Markup {
        let (width, height) = SIZE;
        let (title, desc) = (format!("{}-title", self.id), format!("{}-desc", self.id));
        html! {
            svg id=(self.id) class="plot" role="img" viewBox=(format!("0 0 {width} {height}"))
                aria-labelledby=(title) aria-describedby=(desc) {
                title id=(title) { (self.title) }
                desc id=(desc) { (self.description) }
                text class="label" x="6" y="16" { (self.count_label) }
                @for count in self.steps() {
                    line class="grid" x1=(at(LEFT)) x2=(at(RIGHT))
                        y1=(at(self.y(count))) y2=(at(self.y(count))) {}
                    text class="tick" x=(at(LEFT - 6.0)) y=(at(self.y(count) + 4.0))
                        text-anchor="end" { (grouped(count)) }
                }
                path class="bars" d=(self.outline()) {}
                line class="axis" x1=(at(LEFT)) x2=(at(RIGHT)) y1=(at(BOTTOM)) y2=(at(BOTTOM)) {}
                @for mark in &self.marks {
                    line class="axis" x1=(at(self.x(mark.at))) x2=(at(self.x(mark.at)))
                        y1=(at(BOTTOM)) y2=(at(BOTTOM + 4.0)) {}
                    text class="tick" x=(at(self.x(mark.at))) y=(at(BOTTOM + 18.0))
                        text-anchor="middle" { (mark.name) }
                }
                text class="label" x=(at(f64::midpoint(LEFT, RIGHT))) y=(at(BOTTOM + 38.0))
                    text-anchor="middle" { (self.bin_label) }
                @if let Some(bound) = &self.bound {
                    line class="bound" x1=(at(self.x(bound.at))) x2=(at(self.x(bound.at)))
                        y1=(at(TOP - 6.0)) y2=(at(BOTTOM)) {}
                    text class="bound-name" x=(at(self.x(bound.at) - 5.0)) y=(at(TOP + 4.0))
                        text-anchor="end" { (bound.name) }
                }
                @if let Some(level) = &self.level {
                    line class="bound" x1=(at(LEFT)) x2=(at(RIGHT))
                        y1=(at(self.level_y(level.at))) y2=(at(self.level_y(level.at))) {}
                    text class="bound-name" x=(at(RIGHT)) y="16" text-anchor="end" { (level.name) }
                }
            }
        }
    }

    fn most(&self) -> u64 {
        self.counts.iter().copied().max().unwrap_or(0).max(1)
    }

    fn x(&self, bin: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * bin / self.counts.len().max(1) as f64
    }

    /// Where a count ends, from the top of the picture.
    fn y(&self, count: u64) -> f64 {
        let share = match self.scale {
            _ if count == 0 => 0.0,
            PlotScale::Linear => count as f64 / self.most() as f64,
            // 1 stands a little above the axis, so that it can be seen.
            PlotScale::Logarithmic => {
                ((count as f64).log10() + 0.2) / ((self.most() as f64).log10() + 0.2)
            }
        };
        BOTTOM - (BOTTOM - TOP) * share
    }

    fn level_y(&self, count: f64) -> f64 {
        BOTTOM - (BOTTOM - TOP) * count / self.most() as f64
    }

    /// Counts with a line of the grid.
    fn steps(&self) -> Vec<u64> {
        let most = self.most();
        match self.scale {
            PlotScale::Logarithmic => {
                std::iter::successors(Some(1_u64), |step| step.checked_mul(10))
                    .take_while(|step| *step <= most)
                    .collect()
            }
            PlotScale::Linear => {
                let step = step_of(most);
                (0..=most / step).map(|place| place * step).collect()
            }
        }
    }

    /// All bars as one outline; neighbours of one height are one bar.
    fn outline(&self) -> String {
        let mut path = String::new();
        let mut bin = 0;
        for run in self.counts.chunk_by(|a, b| a == b) {
            let (from, to) = (self.x(bin as f64), self.x((bin + run.len()) as f64));
            bin += run.len();
            if run[0] > 0 {
                let top = at(self.y(run[0]));
                // Writing to a string cannot fail.
                let _ = write!(path, "M{} {BOTTOM}V{top}H{}V{BOTTOM}Z", at(from), at(to));
            }
        }
        path
    }
}

/// A round step, so that there are 3 to 6 of them up to `most`.
fn step_of(most: u64) -> u64 {
    let mut ten = 1;
    loop {
        for step in [ten, 2 * ten, 5 * ten] {
            if most / step <= 5 {
                return step;
            }
        }
        ten *= 10;
    }
}

/// A coordinate, to a hundredth.
fn at(coordinate: f64) -> String {
    let text = format!("{coordinate:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_and_few() {
        for (most, step) in [(1, 1), (5, 1), (6, 2), (12, 5), (99, 20), (700, 200), (2_999, 500)] {
            assert_eq!(step_of(most), step, "{most}");
        }
        let most = u64::MAX;
        assert!(most / step_of(most) <= 5);
    }

    #[test]
    fn coordinates_are_short() {
        assert_eq!([at(10.0), at(0.5), at(1.234_5), at(0.001)], ["10", "0.5", "1.23", "0"]);
    }
}
