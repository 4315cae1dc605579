//! A [`CodeReport`] for people: at most 100 columns.

use std::fmt::{self, Write};

use super::report::{CodeReport, CutFigure};
use shaftbook_world::figures::grouped;

/// The report as text; `is_spelled` adds the spelling alphabet.
#[must_use]
pub fn render(report: &CodeReport, is_spelled: bool) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write_all(&mut text, report, is_spelled);
    text
}

fn write_all(out: &mut String, report: &CodeReport, is_spelled: bool) -> fmt::Result {
    writeln!(out, "code {}", report.code)?;
    if is_spelled {
        for (number, group) in (1..).zip(&report.spelled) {
            writeln!(out, "  group {number}: {group}")?;
        }
    }
    mended(out, report)?;
    due(out, report)?;
    hint(out, report)?;
    figures(out, report)
}

fn mended(out: &mut String, report: &CodeReport) -> fmt::Result {
    if report.mended.is_empty() {
        return writeln!(out, "  all symbols heard rightly");
    }
    for line in &report.mended {
        let (group, place, meant) = (line.group, line.place, line.meant);
        match line.heard {
            Some(heard) => {
                writeln!(
                    out,
                    "  corrected: group {group}, place {place}: heard {heard}, meant {meant}"
                )
            }
            None => {
                writeln!(out, "  filled in: group {group}, place {place}: not heard, meant {meant}")
            }
        }?;
    }
    Ok(())
}

fn due(out: &mut String, report: &CodeReport) -> fmt::Result {
    writeln!(out, "\nDUE")?;
    writeln!(
        out,
        "  service: {}; {} h of {} time since the last one",
        if report.is_service_due { "DUE" } else { "not due" },
        figure(report.interval_h),
        report.interval_measure
    )?;
    writeln!(
        out,
        "  components: {} due, {} at notice",
        figure(report.components_due),
        figure(report.components_at_notice)
    )?;
    match &report.most_pressing {
        Some(line) => {
            let wear = figure(line.wear_percent);
            writeln!(out, "  most pressing: {}, at {wear} % of its limit", line.name)?;
        }
        None => writeln!(out, "  the profile has no components")?,
    }
    writeln!(out, "\nFAULTS")?;
    if report.faults.is_empty() {
        writeln!(out, "  none")?;
    }
    report.faults.iter().try_for_each(|fault| writeln!(out, "  {} {}", fault.number, fault.text))
}

fn hint(out: &mut String, report: &CodeReport) -> fmt::Result {
    writeln!(out, "\nHINT")?;
    match &report.hint {
        Some(hint) => {
            writeln!(out, "  {}: {}", hint.certainty, hint.finding)?;
            writeln!(out, "  look first at: {}", hint.look_first)
        }
        None => writeln!(out, "  no sign"),
    }
}

fn figures(out: &mut String, report: &CodeReport) -> fmt::Result {
    writeln!(out, "\nMEASURED, rounded down")?;
    let mut line = |name: &str, value: String| writeln!(out, "  {name:<30}{value}");
    line("board's tag begins", report.tag_begins.clone())?;
    line("powered time", figure(report.powered_h) + " h")?;
    line("stitches", figure(report.stitches))?;
    if let Some(trims) = report.knife_trims {
        line("trims with this fixed knife", figure(trims))?;
    }
    line("services done", figure(report.services))?;
    if report.has_stated_past {
        writeln!(out, "  an earlier past was STATED at fitting; it is in none of these figures")?;
    }
    Ok(())
}

/// A figure as exactly as it is known.
fn figure(range: CutFigure) -> String {
    let least = grouped(range.least);
    match range.most {
        None => format!("at least {least}"),
        Some(most) if most == range.least => least,
        Some(most) => format!("{least} to {}", grouped(most)),
    }
}
