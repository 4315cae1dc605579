//! The first screen, the care list, a component and the needles: wear, limits and days left.

use shaftbook_core::component::ComponentKind;
use shaftbook_panel::text::COLUMNS;

use super::{Lines, line, name};
use crate::prove::says_what_is::figures::{compact, hours, rolling};
use crate::prove::says_what_is::known::Known;
use crate::reference::book::{Measure, Standing};
use crate::reference::days::{self, Left};

pub(super) fn home(known: &Known) -> Lines {
    let words = known.words();
    let limit_h = known.wiring.service_interval_h;
    let s = known.interval_ms() / 1_000;
    let figure = format!(
        "{} {} {limit_h} {} {}",
        hours(s, words),
        words.of,
        words.h,
        (s * 1_000 / (limit_h * 3_600)).min(1_000)
    );
    let lifetime_h = rolling(known.counts.powered_ms / 3_600_000, 6, words);
    let lifetime = format!("{lifetime_h} {}", words.h);
    vec![vec![figure], line(words.lifetime, &lifetime, false), next(known)]
}

/// What is due next.
fn next(known: &Known) -> Vec<String> {
    let words = known.words();
    if known.service_is_due() {
        return line(words.service_name, words.due, true);
    }
    let Some(place) = known.order().first().copied() else {
        return line(words.nothing_due, "", false);
    };
    let name = name(known.book.parts[place].kind, words);
    if known.standing(place) == Standing::Due {
        return line(&name, words.due, true);
    }
    let percent = format!("{} %", known.permille(place) / 10);
    let Some(left) = days_left(place, known) else { return line(&name, &percent, false) };
    let unit = if left.by_calendar { words.days } else { words.days_of_use };
    let of = |days: u64| {
        let text = if days == 0 { words.today.into() } else { format!("{} {unit}", days.min(999)) };
        let fits = days == 0 || name.chars().count() + 1 + text.chars().count() <= COLUMNS;
        line(&name, if fits { &text } else { &percent }, false).remove(0)
    };
    vec![of(left.days.0), of(left.days.1)]
}

fn days_left(place: usize, known: &Known) -> Option<Left> {
    days::left(&known.book, place, &known.counts, known.day, known.clock_is_wrong())
}

pub(super) fn care(order: &[usize], known: &Known) -> Lines {
    let words = known.words();
    if order.is_empty() {
        return vec![line(words.no_components, "", false)];
    }
    let lines = order.iter().map(|place| {
        let name = name(known.book.parts[*place].kind, words);
        let percent = known.permille(*place) / 10;
        match known.standing(*place) {
            Standing::Due => line(&name, words.due, true),
            Standing::Notice => line(&name, &format!("!{percent} %"), false),
            Standing::Fine => line(&name, &format!("{percent} %"), false),
        }
    });
    lines.collect()
}

pub(super) fn component(place: usize, page: u8, known: &Known) -> Lines {
    let words = known.words();
    let part = &known.book.parts[place];
    let care = words.care_words(ComponentKind(part.kind));
    let [h, stitches, trims, power_ups, days] = words.units;
    let amount = |value: u64| match part.measure {
        Measure::Powered | Measure::Running => format!("{} {h}", hours(value, words)),
        Measure::Stitches | Measure::Needle(_) => format!("{} {stitches}", compact(value, words)),
        Measure::Trims => format!("{} {trims}", compact(value, words)),
        Measure::PowerUps => format!("{} {power_ups}", compact(value, words)),
        Measure::Days => format!("{} {days}", compact(value, words)),
    };
    let worn = known.worn(place);
    let rest = amount(part.due.saturating_sub(worn));
    let in_days = days_left(place, known).map(|left| {
        let unit = if left.by_calendar { words.days } else { words.days_of_use };
        [left.days.0, left.days.1].map(|days| match days {
            0 => words.today.to_owned(),
            _ => format!("~{} {unit}", days.min(999)),
        })
    });
    let either = |name: &str, texts: [String; 2]| {
        texts.iter().flat_map(|text| line(name, text, false)).collect::<Vec<_>>()
    };
    match page {
        0 => {
            let left = match (known.standing(place), in_days) {
                (Standing::Due, _) => line(words.left, words.due, true),
                (_, Some(days)) => either(words.left, days),
                (_, None) => line(words.left, &rest, false),
            };
            let todo = care.todo.map(|text| line(text, "", false));
            [line(words.wear, &amount(worn), false), left].into_iter().chain(todo).collect()
        }
        1 => vec![
            line(words.wear, &amount(worn), false),
            line(words.limit, &amount(part.due), false),
            line(words.left, &rest, false),
            in_days.map_or_else(|| line(words.due_in, "-", false), |d| either(words.due_in, d)),
        ],
        _ => care.caution.map(|text| line(text, "", false)).into(),
    }
}

/// Bars and text of the needles; the text speaks of `chosen`, or of the most worn.
pub(super) fn needles(known: &Known, chosen: Option<usize>) -> Lines {
    let words = known.words();
    let counts = &known.counts;
    let count = usize::from(known.wiring.needles).min(16);
    let tenths =
        |n: usize| (counts.breaks[n] * 1_000_000).checked_div(counts.needles[n]).unwrap_or(0);
    let highest = (0..count).map(tenths).max().unwrap_or(0).max(1);
    let mut lines = Vec::new();
    let mut worst = (0, 0);
    for n in 0..count {
        let of = |place: &usize| usize::from(known.book.parts[*place].kind) == n + 1;
        // The last one of the profile, if there are several of one needle.
        let place = (0..known.book.parts.len()).rfind(of);
        let wear = place.map_or(0, |place| known.permille(place));
        for place in (0..known.book.parts.len()).filter(of) {
            worst = worst.max((known.permille(place), n));
        }
        let is_due = place.is_some_and(|place| known.standing(place) == Standing::Due);
        let breaks = (tenths(n) * 1_000 / highest).min(1_000);
        lines.push(vec![format!("{wear} {breaks}{}", if is_due { "|due" } else { "" })]);
    }
    let of = chosen.unwrap_or(worst.1);
    let mut text = format!("{} {}", words.needle, of + 1);
    if let Some(place) =
        (0..known.book.parts.len()).rfind(|p| usize::from(known.book.parts[*p].kind) == of + 1)
    {
        let percent = known.permille(place) / 10;
        text = format!("{text} {percent}%");
    }
    let rate = tenths(of);
    let rate = if rate < 1_000 {
        format!("{}{}{}", rate / 10, words.decimal, rate % 10)
    } else {
        (rate / 10).min(99_999).to_string()
    };
    lines.push(vec![format!("{text} {rate}{}", words.per_100k)]);
    lines
}
