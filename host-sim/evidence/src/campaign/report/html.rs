//! A campaign's report for people: one page that needs nothing but itself.
//!
//! Invariants: no script, and no address outside the page; every word of a plan or a
//! failure is escaped (`maud` does it); all figures are those of [`Report`].

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::heat;
use super::json::{Bounded, Failure, Figures, Histogram, Report, Wear};
use super::plot::{Bars, PlotLine, PlotScale};
use crate::campaign::results::Results;
use crate::campaign::tally::{BOOT_BIN_US, LOST_BIN_MS};
use shaftbook_world::figures::grouped;

/// How the page looks; light, dark and printed.
const STYLE: &str = include_str!("page.css");
/// Bins of boot time that are shown at least, though nothing took so long.
const BOOT_BINS_LEAST: usize = 10;

/// The page; `file` is the campaign file, for the commands in it. It is also well-formed
/// XML, but for the two `meta` tags.
#[must_use]
pub fn html(results: &Results, file: &str) -> String {
    page(&Report::of(results, file)).into_string()
}

fn page(report: &Report) -> Markup {
    let campaign = &report.campaign;
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Campaign “" (campaign.name) "”" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    h1 { "Campaign “" (campaign.name) "”" }
                    @if !campaign.description.is_empty() { p { (campaign.description) } }
                    p class="about" {
                        "On " (campaign.subject) ", seed " (campaign.seed)
                        ", simulator " (campaign.version)
                        @if campaign.parts > 1 {
                            ", part " (campaign.part) " of " (campaign.parts)
                        }
                        "."
                    }
                    (verdict(report))
                    @if !report.failures.is_empty() { (failures(report)) }
                    h2 { "Figures" }
                    (figures(report))
                    h2 { "Spread" }
                    div class="pair" {
                        (lost(&report.figures, &report.histograms.lost_running_ms))
                        (boot(&report.figures, &report.histograms.boot_us))
                        (wear(&report.wear))
                    }
                    h2 { "Coverage" }
                    (coverage(report))
                    h2 { "Runs" }
                    div class="pair" { (scenarios(report)) (kinds(report)) }
                }
            }
        }
    }
}

/// `1 run`, `2 runs`.
fn counted(count: u64, one: &str, more: &str) -> String {
    format!("{} {}", grouped(count), if count == 1 { one } else { more })
}

fn verdict(report: &Report) -> Markup {
    let verdict = &report.verdict;
    let coverage = &report.coverage;
    let headline = match (verdict.held, verdict.complete) {
        (true, true) => "✓ Held",
        (true, false) => "✓ Held so far, not complete",
        (false, _) => "✗ Did not hold",
    };
    html! {
        section class=(if verdict.held { "verdict" } else { "verdict bad" }) {
            h2 { (headline) }
            p {
                @if verdict.runs_failed == 0 { "No run failed" }
                @else { (counted(verdict.runs_failed, "run", "runs")) " failed" }
                " of " (grouped(verdict.runs_done)) "; "
                (counted(verdict.cases, "cut or reset was", "cuts and resets were")) " judged."
                @if !verdict.complete {
                    " " (grouped(verdict.runs_planned)) " runs are planned: "
                    (grouped(verdict.runs_planned.saturating_sub(verdict.runs_done)))
                    " are missing."
                }
            }
            @if !coverage.missing.is_empty() {
                p {
                    @if verdict.complete { "Required, but met by no cut or reset: " }
                    @else { "Required, and not yet met by a cut or reset: " }
                    (coverage.missing.join(", ")) "."
                }
            }
            @if coverage.unvisited.is_empty() {
                p { "Every state was met by a fault." }
            } @else {
                p { "No fault met: " (coverage.unvisited.join(", ")) "." }
            }
        }
    }
}

fn failures(report: &Report) -> Markup {
    let (shown, all) = (report.failures.len() as u64, report.verdict.runs_failed);
    html! {
        h2 { "Failures" }
        p {
            @if shown < all { "The first " (grouped(shown)) " of " (grouped(all)) ". " }
            "FILE is the campaign file; the command plays the run again."
        }
        ol class="failures" { @for failure in &report.failures { (failed(failure)) } }
    }
}

fn failed(failure: &Failure) -> Markup {
    html! {
        li {
            h3 { "Run " (failure.run) ": " (failure.seen) }
            p class="about" {
                (failure.scenario) ", seed " (failure.seed) ", with "
                @if failure.kinds.is_empty() { "no fault" }
                @else { (failure.kinds.join(", ")) }
                "."
            }
            p { code { (failure.replay) } }
        }
    }
}

fn figures(report: &Report) -> Markup {
    let figures = &report.figures;
    let seconds = |ms: u64| format!("{} s", decimal(ms, 1_000));
    html! {
        div class="wide" role="region" tabindex="0" aria-labelledby="figures-caption" {
            table class="figures" {
                caption id="figures-caption" {
                    "Most lost at one cut without warning, of "
                    (grouped(figures.unwarned_cuts)) " on a sound part."
                }
                thead { tr {
                    th scope="col" { "Lost" } th scope="col" { "Worst" }
                    th scope="col" { "Bound" } th scope="col" { "Share" }
                } }
                tbody {
                    (bounded("Running time", figures.lost_running_ms, seconds))
                    (bounded("Trims", figures.lost_trims, grouped))
                    (bounded("Powered time", figures.lost_powered_ms, seconds))
                }
            }
        }
        p {
            "At " (counted(figures.warned_cuts, "cut", "cuts")) " with a long enough warning, "
            @if figures.warned_lost_stitches == 0 { "no stitch was lost." }
            @else {
                span class="failed" {
                    "✗ " (counted(figures.warned_lost_stitches, "stitch was", "stitches were"))
                    " lost."
                }
            }
        }
        @if !report.faults_named.is_empty() {
            p { "Faults that were named: " (report.faults_named.join(", ")) "." }
        }
    }
}

fn bounded(name: &str, figure: Bounded, shown: impl Fn(u64) -> String) -> Markup {
    let is_over = figure.worst > figure.bound;
    html! {
        tr {
            th scope="row" { (name) }
            td class=[is_over.then_some("failed")] {
                @if is_over { "✗ " }
                (shown(figure.worst))
            }
            td { (shown(figure.bound)) }
            td { (share(figure)) }
        }
    }
}

/// The worst in hundredths of the bound.
fn share(figure: Bounded) -> String {
    let per_mille = figure.worst.saturating_mul(1_000).checked_div(figure.bound).unwrap_or(0);
    format!("{} %", decimal(per_mille, 10))
}

/// `figure` in units of `unit` parts, a power of ten; no zeros at the end.
fn decimal(figure: u64, unit: u64) -> String {
    let places = unit.ilog10() as usize;
    let text = format!("{}.{:0places$}", grouped(figure / unit), figure % unit);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// From where to where half of what `histogram` counts lies.
fn median(histogram: &Histogram, unit: u64, name: &str) -> Option<String> {
    super::median_bin(&histogram.counts).map(|bin| {
        let from = bin as u64 * histogram.bin_width;
        let to = from + histogram.bin_width;
        format!("the median is from {} to {} {name}", decimal(from, unit), decimal(to, unit))
    })
}

fn lost(figures: &Figures, histogram: &Histogram) -> Markup {
    let Bounded { worst, bound } = figures.lost_running_ms;
    let words = format!(
        "The worst of {} is {} s: {} of the bound of {} s{}.",
        counted(figures.unwarned_cuts, "cut", "cuts"),
        decimal(worst, 1_000),
        share(figures.lost_running_ms),
        decimal(bound, 1_000),
        median(histogram, 1_000, "s").map(|text| format!("; {text}")).unwrap_or_default(),
    );
    let bins = 1_000 / LOST_BIN_MS;
    let marks =
        (0..=12).step_by(2).map(|s| PlotLine { at: (s * bins) as f64, name: s.to_string() });
    let plot = Bars {
        id: "lost",
        title: "Running time lost at cuts without warning",
        description: words.clone(),
        counts: &histogram.counts,
        scale: PlotScale::Logarithmic,
        count_label: "cuts, logarithmic",
        bin_label: "running time lost, s (the last bar: 12 and more)",
        marks: marks.collect(),
        bound: Some(PlotLine {
            at: bound as f64 / LOST_BIN_MS as f64,
            name: format!("bound {} s", decimal(bound, 1_000)),
        }),
        level: None,
    };
    figure(&plot, &words, Some(numbers(histogram, "Lost, s", 1_000, "Cuts")))
}

fn boot(figures: &Figures, histogram: &Histogram) -> Markup {
    let words = format!(
        "The longest is {} ms{}; at most {} were read from the part.",
        decimal(figures.boot_worst_us, 1_000),
        median(histogram, 1_000, "ms").map(|text| format!(", {text}")).unwrap_or_default(),
        counted(figures.boot_bytes, "byte", "bytes"),
    );
    let used = histogram.counts.iter().rposition(|count| *count > 0).map_or(0, |last| last + 1);
    let shown = used.max(BOOT_BINS_LEAST).min(histogram.counts.len());
    let bins_a_mark = [5, 10, 25].into_iter().find(|bins| shown / bins <= 8).unwrap_or(25);
    let marks = (0..=shown)
        .step_by(bins_a_mark)
        .map(|bin| PlotLine { at: bin as f64, name: decimal(bin as u64 * BOOT_BIN_US, 1_000) });
    let plot = Bars {
        id: "boot",
        title: "Time from power-up until writing can begin",
        description: words.clone(),
        counts: &histogram.counts[..shown],
        scale: PlotScale::Logarithmic,
        count_label: "power-ups, logarithmic",
        bin_label: if used == histogram.counts.len() {
            "time, ms (the last bar: 198 and more)"
        } else {
            "time, ms"
        },
        marks: marks.collect(),
        bound: None,
        level: None,
    };
    figure(&plot, &words, Some(numbers(histogram, "Time, ms", 1_000, "Power-ups")))
}

fn wear(wear: &Wear) -> Markup {
    // To the next whole one.
    let all = wear.page_programs.len().max(1) as u64;
    let mean = grouped((wear.programs + all / 2) / all);
    let words = match wear.hottest_over_mean {
        None => "Nothing was programmed.".to_owned(),
        Some(ratio) => format!(
            "{} of {} pages; the hottest page has {}, the mean is {}: \
             {ratio:.2} times the mean. A run writes only a stretch of the ring, from where its \
             board stands: this is not the wear of a whole life.",
            counted(wear.programs, "program cycle", "program cycles"),
            wear.page_programs.len(),
            grouped(wear.hottest_page_programs),
            mean,
        ),
    };
    let pages = wear.page_programs.len();
    let marks =
        (0..=pages).step_by(128).map(|page| PlotLine { at: page as f64, name: page.to_string() });
    let plot = Bars {
        id: "wear",
        title: "Wear of the pages, all runs added",
        description: words.clone(),
        counts: &wear.page_programs,
        scale: PlotScale::Linear,
        count_label: "program cycles",
        bin_label: "page",
        marks: marks.collect(),
        bound: None,
        level: (wear.programs > 0)
            .then(|| PlotLine { at: wear.mean_page_programs, name: format!("mean {mean}") }),
    };
    figure(&plot, &words, None)
}

fn figure(plot: &Bars<'_>, words: &str, more: Option<Markup>) -> Markup {
    html! {
        figure {
            h3 { (plot.title) }
            (plot.svg())
            p { (words) }
            @if let Some(more) = more { (more) }
        }
    }
}

fn numbers(histogram: &Histogram, bin: &str, unit: u64, count: &str) -> Markup {
    let filled = histogram.counts.iter().enumerate().filter(|(_, count)| **count > 0);
    let last = histogram.counts.len().saturating_sub(1);
    html! {
        details {
            summary { "The numbers" }
            table {
                caption { "Bars that are not empty" }
                thead { tr { th scope="col" { (bin) } th scope="col" { (count) } } }
                tbody {
                    @for (place, count) in filled {
                        @let from = place as u64 * histogram.bin_width;
                        tr {
                            th scope="row" {
                                (decimal(from, unit))
                                @if place == last { " and more" }
                                @else { " to " (decimal(from + histogram.bin_width, unit)) }
                            }
                            td { (grouped(*count)) }
                        }
                    }
                }
            }
        }
    }
}

fn coverage(report: &Report) -> Markup {
    let coverage = &report.coverage;
    let met = coverage.states.len() - coverage.unvisited.len();
    html! {
        p {
            "Faults met " (met) " of " (coverage.states.len())
            " states of store and service. Several states hold at once, so that a fault may count \
             in several rows."
        }
        (heat::table(coverage))
    }
}

fn scenarios(report: &Report) -> Markup {
    let rows = report
        .scenarios
        .iter()
        .map(|scenario| (scenario.name.as_str(), scenario.runs, scenario.failed));
    runs("By scenario", "Scenario", rows)
}

fn kinds(report: &Report) -> Markup {
    let rows = report.fault_kinds.iter().map(|kind| (kind.kind.as_str(), kind.runs, kind.failed));
    runs("By kind of fault: the runs in which it came", "Kind", rows)
}

fn runs<'a>(caption: &str, first: &str, rows: impl Iterator<Item = (&'a str, u64, u64)>) -> Markup {
    html! {
        div {
            table class="runs" {
                caption { (caption) }
                thead { tr {
                    th scope="col" { (first) } th scope="col" { "Runs" }
                    th scope="col" { "Failed" }
                } }
                tbody {
                    @for (name, runs, failed) in rows {
                        tr {
                            th scope="row" { (name) }
                            td { (grouped(runs)) }
                            td class=[(failed > 0).then_some("failed")] {
                                @if failed > 0 { "✗ " }
                                (grouped(failed))
                            }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_written_without_zeros_at_the_end() {
        assert_eq!(decimal(9_988, 1_000), "9.988");
        assert_eq!(decimal(10_000, 1_000), "10");
        assert_eq!(decimal(1_234_500, 1_000), "1,234.5");
        assert_eq!(decimal(0, 10), "0");
    }

    #[test]
    fn a_share_is_not_rounded_up_to_the_bound() {
        assert_eq!(share(Bounded { worst: 9_999, bound: 10_000 }), "99.9 %");
        assert_eq!(share(Bounded { worst: 1, bound: 0 }), "0 %");
    }
}
