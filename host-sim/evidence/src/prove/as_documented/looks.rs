//! What a person sees of a board, against the reference: the port's figures (`docs/BOARD.md`),
//! the lamp, the first screen, the counters (`docs/PANEL.md`) and the read-out code
//! (`docs/FORMAT.md`, section 11).

use super::door::{Door, Shown};
use super::play::Play;
use crate::reference::book::{Measure, Standing};
use crate::reference::machine::Counts;
use crate::reference::read_out;

/// Everything that was shown is what the reference says. It was looked at over some seconds, in
/// which only powered time went on.
pub(super) fn agree<D: Door>(shown: &Shown, play: &Play<D>) -> Result<(), String> {
    let (truth, model) = (play.truth(), &play.model);
    let by_running = model.wiring.service_by_running;
    let interval_ms = model.book.interval_ms(&truth, by_running);
    let limit_ms = model.wiring.service_interval_h * 3_600_000;
    // What comes due while it is looked at may be shown or not.
    let before = Counts { powered_ms: truth.powered_ms.saturating_sub(20_000), ..truth };
    let due_of = |counts: &Counts| {
        let service = u64::from(model.book.interval_ms(counts, by_running) >= limit_ms);
        model.book.number(Standing::Due, counts, model.day) + service
    };
    let at_notice = |counts: &Counts| model.book.number(Standing::Notice, counts, model.day);
    let is_steady = due_of(&before) == due_of(&truth)
        && at_notice(&before) == at_notice(&truth)
        && before.powered_ms > model.book.served_powered_ms;
    port(&shown.port, &truth)?;
    if is_steady {
        let due = due_of(&truth);
        let is_faulty = !model.faults.is_empty();
        if shown.title != (due as u8, is_faulty) {
            return Err(format!("the panel's title says {:?}, not {due} due", shown.title));
        }
        let lit = shown.lamp.iter().filter(|lit| **lit).count();
        let changes = shown.lamp.windows(2).filter(|pair| pair[0] != pair[1]).count();
        let lamp = match (is_faulty, due) {
            (true, _) => (15..=21).contains(&changes),
            (false, 0) => lit == shown.lamp.len(),
            _ => (3..=5).contains(&changes),
        };
        if !lamp {
            return Err(format!("the lamp changes {changes} times in 4 s, with {due} due"));
        }
    }
    let tenths = |ms: u64| format!("{}.{}", ms / 3_600_000, ms / 360_000 % 10);
    let earlier = tenths(interval_ms.saturating_sub(20_000));
    if interval_ms < 360_000_000 && shown.hours != tenths(interval_ms) && shown.hours != earlier {
        return Err(format!("the first screen says {} h since service", shown.hours));
    }
    let expected = [truth.stitches(), truth.trims, truth.all_breaks()];
    for (row, expected) in shown.counters.iter().zip(expected) {
        let figure: String = row.chars().filter(char::is_ascii_digit).collect();
        if figure != expected.to_string() {
            return Err(format!("the counters say `{row}`, not {expected}"));
        }
    }
    if shown.counters.len() < 3 {
        return Err("the panel does not show the counters".into());
    }
    code(&shown.code, play, is_steady)
}

fn port(said: &str, truth: &Counts) -> Result<(), String> {
    let mut expected = vec![
        ("ready".to_owned(), "1".to_owned()),
        ("known".into(), "1".into()),
        ("running_ms".into(), truth.running_ms.to_string()),
        ("stitches".into(), truth.stitches().to_string()),
        ("unattributed".into(), format!("{} {}", truth.unattributed, truth.unattributed_breaks)),
        ("jumps".into(), truth.jumps.to_string()),
        ("trims".into(), truth.trims.to_string()),
        ("power_ups".into(), truth.power_ups.to_string()),
        ("rejected".into(), format!("{} missed {}", truth.glitches, truth.missed)),
    ];
    for (n, (stitches, breaks)) in truth.needles.iter().zip(truth.breaks).enumerate() {
        expected.push((format!("needle {}", n + 1), stitches.to_string()));
        expected.push((format!("breaks {}", n + 1), breaks.to_string()));
    }
    for (name, value) in expected {
        let line = format!("{name} {value}");
        if !said.lines().any(|said| said == line) {
            let said = said.lines().find(|said| said.starts_with(&format!("{name} ")));
            return Err(format!("the port says {said:?}, not `{line}`"));
        }
    }
    Ok(())
}

fn code<D: Door>(symbols: &str, play: &Play<D>, is_steady: bool) -> Result<(), String> {
    let said = read_out::decoded(symbols)?;
    let (truth, model) = (play.truth(), &play.model);
    let book = &model.book;
    let interval_ms = book.interval_ms(&truth, model.wiring.service_by_running);
    let limit_ms = model.wiring.service_interval_h * 3_600_000;
    let knife = book.parts.iter().find(|part| part.kind == 32 && part.measure == Measure::Trims);
    let knife = knife.map_or(255, |part| ((truth.trims - part.baseline) / 4_000).min(254));
    let mut expected = vec![
        ("version", said.version, 1),
        ("powered", said.powered, truth.powered_ms / 3_600_000),
        ("interval", said.interval, interval_ms / 3_600_000),
        ("measure", said.measure, u64::from(model.wiring.service_by_running)),
        ("stitches", said.stitches, truth.stitches() / 150_000),
        ("knife", said.knife, knife),
        ("services", said.services, book.services.min(63)),
    ];
    for fault in 1..=15 {
        let is_there = u64::from(model.faults.contains(&fault));
        expected.push(("a fault", said.faults >> (15 - fault) & 1, is_there));
    }
    if is_steady {
        let number = |standing| book.number(standing, &truth, model.day).min(7);
        expected.push(("service", said.service, u64::from(interval_ms >= limit_ms)));
        expected.push(("due", said.due, number(Standing::Due)));
        expected.push(("notice", said.notice, number(Standing::Notice)));
    }
    match expected.into_iter().find(|(_, is, expected)| is != expected) {
        Some((name, is, expected)) => {
            Err(format!("the read-out code says {name} {is}, not {expected}"))
        }
        None => Ok(()),
    }
}
