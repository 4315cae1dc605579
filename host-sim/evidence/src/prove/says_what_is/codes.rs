//! The read-out code: what it says, read by the reference and by the decoder that ships, and what
//! becomes of it when it is misheard (`docs/FORMAT.md`, sections 11.1 to 11.4).

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_care::hint::{Certainty, Finding};
use shaftbook_core::settings::ServiceMeasure;
use shaftbook_readout::alphabet::LETTERS;
use shaftbook_readout::code::group_and_place;
use shaftbook_readout::decode::{Decoded, Refused, decode};
use shaftbook_readout::heard::{Heard, HeardError};
use shaftbook_readout::state::{ReadOut, StateError};

use crate::reference::read_out::{self, Said};

/// A finding, as the reference numbers it.
pub(super) fn number_of(finding: Finding) -> u64 {
    match finding {
        Finding::NeedleBreaks(needle) => u64::from(needle.number()),
        Finding::BreaksEverywhere => 17,
        Finding::TrimmerDirty => 18,
        Finding::KnifeWorn => 19,
        Finding::NoNeedleChange => 20,
        Finding::ShaftGlitches => 21,
    }
}

/// What the shipped decoder read, as the reference has it.
fn said(of: &ReadOut) -> Said {
    Said {
        version: 1,
        tag: of.tag.bits().into(),
        powered: of.powered_h.steps().into(),
        interval: of.interval_h.steps().into(),
        measure: (of.service_measure == ServiceMeasure::Running).into(),
        service: of.is_service_due.into(),
        stated: of.has_stated_past.into(),
        stitches: of.stitches.steps().into(),
        knife: of.knife_trims.map_or(255, |trims| trims.steps().into()),
        kind: of.pressing.map_or(0, |it| it.kind.map_or(17, |kind| kind.0.into())),
        wear: of.pressing.map_or(0, |it| it.wear.steps().into()),
        faults: of.faults.iter().fold(0, |bits, fault| bits | 1 << (15 - fault.number())),
        due: of.due.steps().into(),
        notice: of.notice.steps().into(),
        services: of.services.steps().into(),
        hint: of.sign.map_or(0, |sign| {
            number_of(sign.finding) + if sign.certainty == Certainty::Strong { 32 } else { 0 }
        }),
    }
}

/// The first field in which two differ.
fn same(who: &str, is: &Said, expected: &Said) -> Result<(), String> {
    match is.named().iter().zip(expected.named()).find(|(a, b)| a.1 != b.1) {
        Some(((name, is), (_, expected))) => {
            Err(format!("the read-out code, read by {who}, says {name} {is}, not {expected}"))
        }
        None => Ok(()),
    }
}

/// The code that is shown says `expected`.
pub(super) fn says(text: &str, expected: &Said) -> Result<(), String> {
    same("the reference", &read_out::decoded(text)?, expected)?;
    let heard = Heard::parse(text).map_err(|error| error.to_string())?;
    let decoded = decode(&heard).map_err(|refused| refused.to_string())?;
    if !decoded.mended.is_empty() || heard.odd_group().is_some() {
        return Err(format!("`{text}` is read as if it was misheard"));
    }
    same("its decoder", &said(&decoded.read_out), expected)?;
    let steps = &decoded.read_out;
    let of =
        |steps: u64, unit, most| (steps * unit, (steps < most).then_some(steps * unit + unit - 1));
    let ranges = [
        (steps.powered_h.least(), steps.powered_h.most(), of(expected.powered, 1, 131_071)),
        (steps.stitches.least(), steps.stitches.most(), of(expected.stitches, 150_000, 32_767)),
        (steps.interval_h.least(), steps.interval_h.most(), of(expected.interval, 1, 1_023)),
        (steps.services.least(), steps.services.most(), of(expected.services, 1, 63)),
    ];
    match ranges.into_iter().find(|(least, most, right)| (*least, *most) != *right) {
        Some((least, most, right)) => {
            Err(format!("a figure is {least} to {most:?}, not {right:?}"))
        }
        None => Ok(()),
    }
}

/// `text` as somebody writes it down: in groups, in one go, with dashes, small, with the letters
/// that are left out.
fn written(text: &str, how: u32) -> String {
    let grouped: Vec<&str> = (0..6).map(|n| &text[5 * n..5 * n + 5]).collect();
    let joined = grouped.join(["", " ", "-", "  ", " – ", "\n", "−"][how as usize / 24 % 7]);
    let confused: String = joined
        .chars()
        .map(|c| match (c, how / 4 % 3) {
            ('0', 1) => 'O',
            ('1', 1) => 'I',
            ('1', 2) => 'l',
            (c, _) => c,
        })
        .collect();
    if how / 12 % 2 == 1 { confused.to_lowercase() } else { confused }
}

/// Some symbols are not heard and some are wrong: up to 2 × wrong + unheard = 4 the code is
/// understood, beyond it is refused, as far as that is promised.
pub(super) fn misheard(code: &Said, rng: &mut Pcg32) -> Result<(), String> {
    let text = read_out::encoded(code);
    let (unheard, wrong) = (rng.next_u32() as usize % 6, rng.next_u32() as usize % 5);
    let mut places: Vec<usize> = (0..30).collect();
    for n in 0..unheard + wrong {
        places.swap(n, n + rng.next_u32() as usize % (30 - n));
    }
    let mut symbols: Vec<char> = text.chars().collect();
    let mut spoilt: Vec<usize> = places[..unheard + wrong].to_vec();
    for place in &places[..unheard] {
        symbols[*place] = '?';
    }
    for place in &places[unheard..unheard + wrong] {
        let old = LETTERS.iter().position(|l| char::from(*l) == symbols[*place]).unwrap_or(0);
        symbols[*place] = char::from(LETTERS[(old + 1 + rng.next_u32() as usize % 31) % 32]);
    }
    let heard: String = symbols.into_iter().collect();
    let as_written = written(&heard, rng.next_u32());
    let parsed = Heard::parse(&as_written).map_err(|e| format!("`{as_written}`: {e}"))?;
    let with = format!("with {unheard} symbols unheard and {wrong} wrong");
    spoilt.sort_unstable();
    match decode(&parsed) {
        Ok(Decoded { read_out, code: meant, mended }) if 2 * wrong + unheard <= 4 => {
            same("its decoder", &said(&read_out), code).map_err(|what| format!("{what} {with}"))?;
            let mended: Vec<usize> = mended.iter().map(|it| it.place).collect();
            let is_placed =
                |place: &usize| group_and_place(*place) == (place / 5 + 1, place % 5 + 1);
            if mended != spoilt
                || !mended.iter().all(is_placed)
                || meant.to_string() != written(&text, 24)
            {
                return Err(format!("{meant} was mended at {mended:?}, not {spoilt:?}"));
            }
            Ok(())
        }
        Err(refused) if 2 * wrong + unheard > 4 => {
            let names = refused == Refused::Unheard(unheard) && unheard > 4
                || refused == Refused::Wrong(unheard) && unheard <= 4;
            // What is corrected into another code may be refused by its sense.
            let by_sense = matches!(refused, Refused::State(_)) && !is_promised(unheard, wrong);
            let why = refused.to_string();
            let is_told = match refused {
                Refused::Unheard(n) => why.contains(&format!("{n} symbols were not heard")),
                Refused::Wrong(0) => why.starts_with("three or more symbols are wrong"),
                Refused::Wrong(n) => why.starts_with(&format!(
                    "{n} not heard and {} or more wrong",
                    if n < 3 { "two" } else { "one" }
                )),
                Refused::State(_) => true,
            };
            if (names || by_sense) && is_told {
                Ok(())
            } else {
                Err(format!("{with}: {refused:?}"))
            }
        }
        Ok(_) if !is_promised(unheard, wrong) => Ok(()),
        Ok(_) => Err(format!("a code is believed {with}")),
        Err(refused) => Err(format!("a code is refused {with}: {refused}")),
    }
}

/// Whether it is promised that so many are refused (11.4).
fn is_promised(unheard: usize, wrong: usize) -> bool {
    let most = [4, 4, 3, 3, 2];
    unheard > 4 || wrong <= most[unheard]
}

/// A symbol dropped, doubled or not of the alphabet is named with its place; so is a code that
/// says what cannot be.
pub(super) fn refused(code: &Said, rng: &mut Pcg32) -> Result<(), String> {
    let text = read_out::encoded(code);
    let place = rng.next_u32() as usize % 30;
    let (group, in_group) = (place / 5, place % 5);
    let mut groups: Vec<String> = (0..6).map(|n| text[5 * n..5 * n + 5].to_owned()).collect();
    let expect = |groups: &[String], heard: usize, symbols: usize| {
        let odd = Heard::parse(&groups.join(" ")).err();
        let size = if symbols < 5 { "short" } else { "long" };
        let why = format!(
            "{heard} symbols, a code has 30: group {} is {size}: {symbols} instead of 5; ask for \
             that group once more",
            group + 1
        );
        if odd.map(|odd| odd.to_string()) != Some(why) {
            return Err(format!("a wrong count of {heard} is told as {odd:?}"));
        }
        match odd {
            Some(HeardError::Count { heard: is, groups: 6, odd_group: Some(odd) })
                if is == heard && odd.number == group + 1 && odd.symbols == symbols =>
            {
                Ok(())
            }
            other => Err(format!("group {} of {symbols}: {other:?}", group + 1)),
        }
    };
    let dropped = groups[group].remove(in_group);
    expect(&groups, 29, 4)?;
    groups[group].insert(in_group, dropped);
    groups[group].insert(in_group, dropped);
    expect(&groups, 31, 6)?;
    groups[group].remove(in_group);
    groups[group].replace_range(in_group..=in_group, "U");
    match Heard::parse(&groups.join("-")) {
        Err(HeardError::Stranger(it))
            if it.place == place + 1
                && it.in_group == (group + 1, in_group + 1)
                && it.to_string()
                    == format!(
                        "`U` at symbol {} (group {}, place {}) is never used: listen again, it may \
                         be V",
                        place + 1,
                        group + 1,
                        in_group + 1
                    ) => {}
        other => return Err(format!("a U at symbol {}: {other:?}", place + 1)),
    }
    counts(&text)?;
    let nonsense = [
        (Said { version: 2, ..code.clone() }, StateError::Version(2)),
        (Said { version: 0, ..code.clone() }, StateError::Version(0)),
        (Said { faults: code.faults | 1, ..code.clone() }, StateError::Fault(15)),
        (Said { kind: 18, ..code.clone() }, StateError::Kind(18)),
        (Said { kind: 31, ..code.clone() }, StateError::Kind(31)),
        (Said { hint: 22, ..code.clone() }, StateError::Hint(22)),
        (Said { hint: 32, ..code.clone() }, StateError::Hint(32)),
        (Said { hint: 54, ..code.clone() }, StateError::Hint(54)),
        (Said { kind: 0, wear: 1, due: 0, notice: 0, ..code.clone() }, StateError::Contradiction),
        (Said { kind: 0, wear: 0, due: 1, notice: 0, ..code.clone() }, StateError::Contradiction),
        (Said { kind: 0, wear: 0, due: 0, notice: 1, ..code.clone() }, StateError::Contradiction),
        (Said { kind: 5, wear: 25, due: 0, ..code.clone() }, StateError::Contradiction),
        (Said { kind: 5, wear: 24, due: 1, ..code.clone() }, StateError::Contradiction),
    ];
    for (said, expected) in nonsense {
        let decoded = Heard::parse(&read_out::encoded(&said)).map(|heard| decode(&heard));
        let why = Refused::State(expected).to_string();
        let is_told = match expected {
            StateError::Version(n) => why.contains(&format!("version {n},")),
            StateError::Fault(n) => why.contains(&format!("fault {n},")),
            StateError::Kind(n) => why.contains(&format!("component {n},")),
            StateError::Hint(n) => why.contains(&format!("hint {n},")),
            StateError::Contradiction => why.contains("cannot be"),
        };
        if decoded != Ok(Err(Refused::State(expected))) || !is_told {
            return Err(format!("a code with {expected:?} is {decoded:?}"));
        }
    }
    let right = [
        Said { kind: 16, wear: 24, due: 0, ..code.clone() },
        Said { kind: 32, wear: 25, due: 1, ..code.clone() },
        Said { kind: 63, wear: 63, due: 7, hint: 53, ..code.clone() },
        Said { kind: 17, wear: 24, due: 0, hint: 16, ..code.clone() },
    ];
    right.iter().try_for_each(|said| says(&read_out::encoded(said), said))
}

/// Groups that are lost, joined or uneven.
fn counts(text: &str) -> Result<(), String> {
    let groups: Vec<&str> = (0..6).map(|n| &text[5 * n..5 * n + 5]).collect();
    let joined = |groups: &[&str], gap: &str| Heard::parse(&groups.join(gap));
    let why = |text: Result<Heard, HeardError>| text.err().map(|error| error.to_string());
    let again = "ask for it once more, group by group";
    for (is, expected) in [
        (
            why(joined(&groups[1..], " ")),
            "25 symbols, a code has 30: only 5 groups of 6; ask for the missing one".to_owned(),
        ),
        (why(joined(&groups[1..], "")), format!("25 symbols, a code has 30: {again}")),
        (why(Heard::parse("")), format!("0 symbols, a code has 30: {again}")),
        (
            why(Heard::parse("01234 \u{7}")),
            "a control character at symbol 6 (group 2, place 1) is no letter or digit of the \
             alphabet; ? if unheard"
                .to_owned(),
        ),
    ] {
        if is.as_deref() != Some(expected.as_str()) {
            return Err(format!("`{is:?}` is said for `{expected}`"));
        }
    }
    let uneven = format!("{} {} {}", &text[..4], &text[4..10], &text[10..]);
    let odd = Heard::parse(&uneven).ok().and_then(|heard| heard.odd_group());
    if odd.map(|odd| (odd.number, odd.symbols)) != Some((1, 4)) {
        return Err(format!("the odd group of `{uneven}` is {odd:?}"));
    }
    Ok(())
}
