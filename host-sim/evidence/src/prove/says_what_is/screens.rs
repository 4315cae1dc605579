//! What each screen of the panel should say of a machine, in words and figures.

use shaftbook_care::hint::Finding;
use shaftbook_core::component::ComponentKind;
use shaftbook_core::counters::Needle;
use shaftbook_core::fault::Fault;
use shaftbook_core::journal::{AUTHORISED, Event};
use shaftbook_core::service::Authorised;
use shaftbook_panel::screen::{Screen, Top};
use shaftbook_panel::text::{COLUMNS, Words};
use shaftbook_panel::view::{Body, Foot, Row, View};

use super::figures::{compact, date, grouped, hours, rolling};
use super::known::Known;
use crate::reference::book::{Measure, Standing};
use crate::reference::days::{self, Left};
use crate::reference::looking::{Of, Sign};
use crate::reference::read_out;

/// A line of a screen: what stands left and right, and whether it is marked as due; each is one
/// of those that are right.
type Lines = Vec<Vec<String>>;

fn line(left: &str, right: &str, is_due: bool) -> Vec<String> {
    vec![format!("{left}|{right}{}", if is_due { "|due" } else { "" })]
}

fn shown_line(row: &Row) -> String {
    format!("{}|{}{}", row.left, row.right, if row.due { "|due" } else { "" })
}

/// What a view says, line by line: the title first.
fn shown(view: &View) -> Vec<String> {
    let mut lines = vec![format!("{}: {} due, fault {}", view.title, view.due, view.faulty)];
    match &view.body {
        Body::Rows(rows) => lines.extend(rows.iter().map(shown_line)),
        Body::Home { figure, beside, permille, below } => {
            lines.push(format!("{figure} {beside} {permille}"));
            lines.extend(below.iter().map(shown_line));
        }
        Body::Needles { bars, below, .. } => {
            lines.extend(bars.iter().map(|bar| {
                let (wear, breaks) = (bar.wear_permille, bar.breaks_permille);
                format!("{wear} {breaks}{}", if bar.due { "|due" } else { "" })
            }));
            lines.push(below.to_string());
        }
        Body::Code(rows) => lines.extend(rows.iter().map(|row| format!("{row}|"))),
        Body::Qr(symbols) => {
            // The rows that the same code has in letters.
            let text = String::from_utf8_lossy(symbols).into_owned();
            lines.extend((0..3).map(|n| {
                format!("{} {}|", &text[10 * n..10 * n + 5], &text[10 * n + 5..10 * n + 10])
            }));
        }
        Body::Digits { above, .. } => lines.push(shown_line(above)),
    }
    lines
}

/// What `view` says on `screen` is what is so; `signs` are the hints of the last look.
pub(super) fn agree(
    screen: &Screen,
    view: &View,
    known: &Known,
    signs: &[Sign],
) -> Result<(), String> {
    let words = known.words();
    let Some((title, expected)) = expected(screen, known, signs) else { return Ok(()) };
    let due = known.due() + u64::from(known.service_is_due());
    let mut all = vec![vec![format!("{title}: {due} due, fault {}", !known.faults.is_empty())]];
    all.extend(expected);
    let shown = shown(view);
    for (n, line) in shown.iter().enumerate() {
        // A list goes on below the screen.
        if !all.get(n).is_some_and(|right| right.contains(line)) {
            return Err(format!("{screen:?} says `{line}`, not {:?}", all.get(n)));
        }
    }
    let room = if view.foot.is_some() { 5 } else { 6 };
    if shown.len() < all.len().min(room) {
        return Err(format!("{screen:?} says only {shown:?} of {all:?}"));
    }
    if let Screen::Component { place, .. } = screen {
        let engineers = known.book.parts[usize::from(*place)].engineers;
        let wanted = if engineers { words.hold_ask } else { words.hold_renew };
        if view.foot != Some(Foot::Hold(wanted)) {
            return Err(format!("{screen:?} says {:?}, not {wanted}", view.foot));
        }
    }
    Ok(())
}

/// Title and lines of a screen, as far as they are known; `None` for a screen of which nothing is.
fn expected(screen: &Screen, known: &Known, signs: &[Sign]) -> Option<(String, Lines)> {
    let words = known.words();
    let title = |text: &str, lines| Some((text.to_owned(), lines));
    match *screen {
        Screen::Top(top) => of_top(top, None, known, signs),
        Screen::List { top, line } => of_top(top, Some(line.into()), known, signs),
        Screen::Component { place, page, .. } => {
            let place = usize::from(place);
            Some((name(known.book.parts[place].kind, words), component(place, page, known)))
        }
        Screen::Confirm { place, .. } => {
            let kind = known.book.parts[usize::from(place)].kind;
            let todo = words.care_words(ComponentKind(kind)).todo;
            let lines = [&name(kind, words), todo[0], todo[1]].map(|text| line(text, "", false));
            title(words.confirm, lines.into())
        }
        Screen::Entry { line } => title(words.journal, entry(usize::from(line), known)?),
        Screen::Fault { line: at } => {
            let fault = known.faults.iter().nth(usize::from(at))?;
            let said = words.fault_words(fault);
            if fault == Fault::ClockWrong && known.clock >= known.day && known.clock > Some(0) {
                let rows = [
                    line(said.name, "", false),
                    line(words.date, &date(known.clock?), false),
                    line(said.todo[0], "", false),
                    line(said.todo[1], "", false),
                ];
                return title(words.faults, rows.into());
            }
            let rows = [said.name].into_iter().chain(said.todo);
            title(words.faults, rows.map(|text| line(text, "", false)).collect())
        }
        Screen::Hint { line, page } => {
            title(words.hints, hint(signs.get(usize::from(line))?, page, words))
        }
        Screen::Challenge { wish, challenge } => {
            let what = match wish {
                Authorised::Service => words.for_service,
                Authorised::Renew(_) => words.for_renewal,
                Authorised::Refit => words.for_fitting,
            };
            let digits = challenge.map_or_else(
                || "...".into(),
                |challenge| {
                    format!("{:04} {:04}", challenge.get() / 10_000, challenge.get() % 10_000)
                },
            );
            let rows = [
                line(what, "", false),
                line(words.board, &read_out::tag(known.id.0), false),
                line(words.number, &known.book.services.to_string(), false),
                line(words.code, &digits, false),
            ];
            title(words.ask_engineer, rows.into())
        }
        Screen::Code { .. } | Screen::Reply { .. } | Screen::Told { .. } => None,
    }
}

fn of_top(
    top: Top,
    chosen: Option<usize>,
    known: &Known,
    signs: &[Sign],
) -> Option<(String, Lines)> {
    let words = known.words();
    // Which lines of a list are shown depends on the chosen one.
    let below = |lines: Lines, chosen: Option<usize>, room: usize| -> Lines {
        lines.into_iter().skip((chosen.unwrap_or(0) + 1).saturating_sub(room)).collect()
    };
    let (title, lines) = match top {
        Top::Home => (words.home, home(known)),
        Top::Needles => (words.needles, needles(known, chosen)),
        Top::Care => {
            let order = known.order();
            let at = chosen.and_then(|chosen| order.iter().position(|place| *place == chosen));
            (words.care, below(care(&order, known), at, 4))
        }
        Top::Hints if signs.is_empty() => {
            (words.hints, words.no_sign.iter().map(|text| line(text, "", false)).collect())
        }
        Top::Hints => {
            let lines = signs.iter().map(|sign| line(&sign_name(sign, words), "", false));
            (words.hints, below(lines.collect(), chosen, 4))
        }
        Top::Counters => {
            // The foot of a list that is chosen from takes no room.
            (words.counters, below(counters(known), chosen, 5))
        }
        Top::Service => (words.service, service(known)),
        Top::ReadOut => return None,
        Top::Faults => {
            let names = known.faults.iter().map(|fault| words.fault_words(fault).name);
            let names: Vec<&str> =
                if known.faults.is_empty() { vec![words.no_faults] } else { names.collect() };
            let lines = names.into_iter().map(|text| line(text, "", false)).collect();
            (words.faults, below(lines, chosen, 4))
        }
        Top::Journal => (words.journal, below(journal(known), chosen, 4)),
        Top::About => (words.about, below(about(known), chosen, 4)),
    };
    Some((title.to_owned(), lines))
}

fn name(kind: u8, words: &Words) -> String {
    let name = words.care_words(ComponentKind(kind)).name;
    if (32..40).contains(&kind) { name.into() } else { format!("{name} {kind}") }
}

fn home(known: &Known) -> Lines {
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

fn care(order: &[usize], known: &Known) -> Lines {
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

fn component(place: usize, page: u8, known: &Known) -> Lines {
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

fn counters(known: &Known) -> Lines {
    let words = known.words();
    let counts = &known.counts;
    let count = |name: &str, value: u64| {
        let figure = rolling(value, 10, words);
        let room = COLUMNS.saturating_sub(figure.chars().count() + 2);
        line(&name.chars().take(room).collect::<String>(), &figure, false)
    };
    let time =
        |name: &str, h: u64| line(name, &format!("{} {}", rolling(h, 6, words), words.h), false);
    let mut lines = vec![
        count(words.stitches, counts.stitches()),
        count(words.trims, counts.trims),
        count(words.breaks, counts.all_breaks()),
        time(words.running, counts.running_ms / 3_600_000),
        time(words.powered, counts.powered_ms / 3_600_000),
        count(words.jumps, counts.jumps),
        count(words.power_ups, counts.power_ups),
        count(words.unattributed, counts.unattributed),
        count(words.glitches, counts.glitches),
        count(words.missed_edges, counts.missed),
    ];
    let stated = &known.ledger.carried_in;
    if stated.hours > 0 || stated.stitches > 0 || stated.trims > 0 {
        lines.push(line(words.stated, "", false));
        lines.push(time(words.powered, stated.hours.into()));
        lines.push(count(words.stitches, stated.stitches));
        lines.push(count(words.trims, stated.trims.into()));
    }
    lines
}

fn service(known: &Known) -> Lines {
    let words = known.words();
    let interval = format!(
        "{} {} {} {}",
        hours(known.interval_ms() / 1_000, words),
        words.of,
        grouped(known.wiring.service_interval_h, words),
        words.h
    );
    let is_due = known.service_is_due();
    let has_room = words.due.chars().count() + interval.chars().count() <= COLUMNS;
    let by_running = known.wiring.service_by_running;
    let counts = if by_running { words.counts_running } else { words.counts_powered };
    let renewed = known.book.parts.iter().filter(|part| part.with_service).count();
    vec![
        line(if is_due && has_room { words.due } else { "" }, &interval, is_due),
        line(counts, "", false),
        line(words.services_done, &grouped(known.book.services, words), false),
        line(words.parts_renewed, &grouped(renewed as u64, words), false),
    ]
}

fn about(known: &Known) -> Lines {
    let words = known.words();
    let h = |h: u64| format!("{} {}", rolling(h, 6, words), words.h);
    let hash = known.build.hash.map_or_else(|| "?".into(), |hash| format!("{hash:08x}"));
    let version = known.build.version;
    let fits = words.version.chars().count() + version.len() < 20;
    vec![
        line(words.board, &read_out::tag(known.id.0), false),
        line(words.measured, &h(known.counts.powered_ms / 3_600_000), false),
        line(words.stated_hours, &h(known.ledger.carried_in.hours.into()), false),
        line(words.retired, &grouped(known.memory.retired_slots.into(), words), false),
        line(words.laps, &compact(known.memory.laps.into(), words), false),
        line(if fits { words.version } else { "" }, version, false),
        line(words.hash, &hash, false),
        line(words.language_label, words.language, false),
        line(words.identity, &format!("{:016X}", known.id.0), false),
    ]
}

fn journal(known: &Known) -> Lines {
    let words = known.words();
    if known.ledger.history.is_empty() {
        return vec![line(words.no_entries, "", false)];
    }
    let lines = known.ledger.history.iter().rev().map(|entry| {
        let when = match entry.day {
            Some(day) => date(day)[2..].to_owned(),
            None => format!("{} {}", hours(entry.powered_s.into(), words), words.h),
        };
        line(words.event(entry.event), &when, false)
    });
    lines.collect()
}

fn entry(at: usize, known: &Known) -> Option<Lines> {
    let words = known.words();
    let entry = known.ledger.history.iter().rev().nth(at)?;
    let when = format!("{} {}", hours(entry.powered_s.into(), words), words.h);
    let mut lines = vec![
        line(words.event(entry.event), &grouped(entry.number.get().into(), words), false),
        line(words.lifetime, &when, false),
    ];
    lines.extend(entry.day.map(|day| line(words.date, &date(day), false)));
    match (entry.event, Fault::from_number(entry.subject)) {
        (Event::FaultSeen, Some(fault)) => {
            lines.push(line(words.fault_words(fault).name, "", false));
        }
        (Event::Renewed, _) if entry.subject == AUTHORISED => {
            lines.push(line(words.authorised, "", false));
        }
        _ => {}
    }
    Some(lines)
}

fn sign_name(sign: &Sign, words: &Words) -> String {
    let finding = match sign.finding {
        17 => Finding::BreaksEverywhere,
        18 => Finding::TrimmerDirty,
        19 => Finding::KnifeWorn,
        20 => Finding::NoNeedleChange,
        21 => Finding::ShaftGlitches,
        needle => match Needle::new(needle as u8) {
            Some(of) => {
                let name = words.hint_words(Finding::NeedleBreaks(of)).name;
                return format!("{name} {needle}");
            }
            None => return "no finding".into(),
        },
    };
    words.hint_words(finding).name.into()
}

#[allow(clippy::cast_sign_loss)] // None is negative.
fn hint(sign: &Sign, page: u8, words: &Words) -> Lines {
    let finding = match sign.finding {
        17 => Finding::BreaksEverywhere,
        18 => Finding::TrimmerDirty,
        19 => Finding::KnifeWorn,
        20 => Finding::NoNeedleChange,
        21 => Finding::ShaftGlitches,
        needle => {
            Needle::new(needle as u8).map_or(Finding::BreaksEverywhere, Finding::NeedleBreaks)
        }
    };
    let said = words.hint_words(finding);
    let first = line(&sign_name(sign, words), "", false);
    if page == 0 {
        let sure = if sign.is_strong { words.strong } else { words.possible };
        let rest = [sure, said.todo[0], said.todo[1]].map(|text| line(text, "", false));
        return [first].into_iter().chain(rest).collect();
    }
    let [session, lifetime, renewal] = words.spans;
    let span = match sign.of {
        Of::Session => session,
        Of::Lifetime => lifetime,
        Of::Renewal => renewal,
    };
    let is_expected = matches!(sign.finding, 1..=17 | 21);
    let against = |by: f64| {
        let hundredths = (sign.against * 100.0 + by).round() as u64;
        let text = if is_expected {
            format!("{}{}{:02}", grouped(hundredths / 100, words), words.decimal, hundredths % 100)
        } else {
            grouped(sign.against as u64, words)
        };
        line(said.against, &text, false).remove(0)
    };
    vec![
        first,
        line(span, "", false),
        line(said.seen, &grouped(sign.seen, words), false),
        vec![against(-1e-6), against(1e-6)],
    ]
}

/// Bars and text of the needles; the text speaks of `chosen`, or of the most worn.
fn needles(known: &Known, chosen: Option<usize>) -> Lines {
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
