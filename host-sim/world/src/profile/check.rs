//! Whether a profile can be fitted: ranges, and what must fit together.
//!
//! The first thing wrong is reported, with the path of its key.

use shaftbook_core::component::{COMPONENTS_MAX, ComponentKind, Measure};

use super::{Counted, Entry, LIMIT_MAX, Limit, Profile, kinds};
use crate::scenario::check::Wrong;

type Check = Result<(), Wrong>;

fn wrong(key: impl Into<String>, what: impl Into<String>) -> Check {
    Err(Wrong { key: key.into(), what: what.into() })
}

/// Checks all of a profile.
///
/// # Errors
/// The first [`Wrong`] found, in the order of the file.
pub fn check(profile: &Profile) -> Check {
    if profile.name.trim().is_empty() {
        return wrong("name", "is empty");
    }
    if !(1..=16).contains(&profile.needles) {
        return wrong("needles", format!("{} is not 1 to 16", profile.needles));
    }
    if profile.service_interval_h == 0 {
        return wrong("service_interval_h", "0 is not 1 to 65535");
    }
    if profile.components.is_empty() {
        return wrong("components", "there is none");
    }
    let mut seen: Vec<ComponentKind> = Vec::new();
    for (n, entry) in profile.components.iter().enumerate() {
        let key = format!("components[{n}]");
        component(&key, entry, profile.needles)?;
        for kind in kinds::unfold(&entry.kind, profile.needles) {
            if seen.contains(&kind) {
                return wrong(format!("{key}.kind"), "is in the profile already");
            }
            seen.push(kind);
        }
        if seen.len() > COMPONENTS_MAX {
            return wrong(
                format!("{key}.kind"),
                format!("more than {COMPONENTS_MAX} components, each needle counted as one"),
            );
        }
    }
    Ok(())
}

fn component(key: &str, entry: &Entry, needles: u8) -> Check {
    let unfolded = kinds::unfold(&entry.kind, needles);
    let Some(first) = unfolded.first() else {
        return wrong(
            format!("{key}.kind"),
            format!("\"{}\" is none of: {}", entry.kind, kinds::NAMES),
        );
    };
    let is_needle = first.0 <= 16;
    if is_needle && first.0 > needles {
        return wrong(format!("{key}.kind"), format!("there are only {needles} needles"));
    }
    limit(&format!("{key}.due"), &entry.due, is_needle)?;
    match &entry.without_clock {
        None if entry.due.is_calendar() => {
            return wrong(
                format!("{key}.due"),
                "calendar days need without_clock = { … } for a board without a clock",
            );
        }
        Some(_) if !entry.due.is_calendar() => {
            return wrong(
                format!("{key}.without_clock"),
                "is only for a due in days, weeks or months",
            );
        }
        Some(other) if other.is_calendar() => {
            return wrong(format!("{key}.without_clock"), "must not be in calendar days");
        }
        Some(other) => limit(&format!("{key}.without_clock"), other, is_needle)?,
        None => {}
    }
    if !(1..=100).contains(&entry.notice_percent) {
        let what = format!("{} is not 1 to 100", entry.notice_percent);
        return wrong(format!("{key}.notice_percent"), what);
    }
    Ok(())
}

fn limit(key: &str, limit: &Limit, is_needle: bool) -> Check {
    let given: Vec<_> = limit.given().collect();
    let [(counted, units)] = given[..] else {
        return wrong(
            key,
            "give exactly one of stitches, needle_stitches, trims, power_ups, running_h, \
             powered_h, days, weeks, months",
        );
    };
    if counted == Counted::OwnNeedle && !is_needle {
        return wrong(key, "needle_stitches is only for needles");
    }
    // A day number has 16 bits.
    let (most, unit) = match counted {
        Counted::Core(Measure::Days) => (f64::from(20_000_u16), "days"),
        Counted::Core(Measure::Running | Measure::Powered) => (f64::from(LIMIT_MAX), "seconds"),
        _ => (f64::from(LIMIT_MAX), "counts"),
    };
    if !(1.0..=most).contains(&units) {
        return wrong(key, format!("{units} {unit} is not 1 to {most}"));
    }
    Ok(())
}
