//! Every line of every language fits its place and can be drawn.

use super::*;

/// Every line with the columns it has.
fn lines(words: &Words) -> std::vec::Vec<(usize, &'static str)> {
    let mut all = std::vec::Vec::new();
    let mut add = |columns: usize, texts: &[&'static str]| {
        all.extend(texts.iter().map(|text| (columns, *text)));
    };
    let w = words;
    add(
        16,
        &[
            w.home,
            w.counters,
            w.needles,
            w.care,
            w.hints,
            w.service,
            w.readout,
            w.journal,
            w.faults,
            w.about,
            w.confirm,
            w.ask_engineer,
            w.reply,
            w.notice,
        ],
    );
    add(2, &[w.h]);
    add(3, &[w.of]);
    add(9, &[w.lifetime, w.version, w.hash, w.language_label]);
    add(NAME_COLUMNS, &[w.service_name]);
    add(FIGURE_COLUMNS, &[w.due, w.per_100k, w.today]);
    add(10, &[w.stitches, w.unattributed, w.jumps, w.trims, w.breaks, w.running, w.powered]);
    add(10, &[w.power_ups, w.glitches, w.missed_edges]);
    add(7, &[w.needle, w.wear, w.limit, w.due_in, w.left]);
    add(9, &w.units);
    add(5, &[w.days]);
    add(8, &[w.days_of_use, w.board, w.number, w.code, w.date, w.measured, w.stated_hours]);
    add(
        COLUMNS,
        &[
            w.nothing_due,
            w.not_known,
            w.stated,
            w.no_rate,
            w.no_components,
            w.authorised,
            w.no_entries,
        ],
    );
    add(
        FOOT_COLUMNS,
        &[
            w.act_browse,
            w.act_open,
            w.hold_renew,
            w.hold_ask,
            w.hold_confirm,
            w.act_enter,
            w.act_digit,
            w.hold_send,
            w.act_hold_still,
            w.hold_date,
            w.hold_language,
        ],
    );
    add(12, &[w.services_done, w.parts_renewed]);
    add(
        COLUMNS,
        &[w.counts_powered, w.counts_running, w.for_service, w.for_renewal, w.for_fitting],
    );
    add(COLUMNS, &[w.working, w.done, w.wrong_reply, w.try_again, w.not_ready, w.ask_anew]);
    add(COLUMNS - 7, &[w.wait]);
    add(12, &w.events);
    add(COLUMNS, &[w.no_faults]);
    for fault in &w.fault {
        add(COLUMNS, &[fault.name]);
        add(COLUMNS, &fault.todo);
    }
    add(COLUMNS, &w.no_sign);
    add(13, &[w.strong, w.possible]);
    add(13, &w.spans);
    for hint in &w.hint {
        add(NAME_COLUMNS, &[hint.name]);
        add(COLUMNS, &hint.todo);
        add(10, &[hint.seen, hint.against]);
    }
    add(4, &[w.identity]);
    add(13, &[w.retired, w.laps]);
    for care in w.kind.iter().chain([&w.needle_care, &w.own_care]) {
        add(NAME_COLUMNS, &[care.name]);
        add(COLUMNS, &care.todo);
        add(COLUMNS, &care.caution);
    }
    all
}

#[test]
fn every_line_fits_its_place() {
    let too_long: std::vec::Vec<_> = Language::ALL
        .into_iter()
        .flat_map(|language| lines(language.words()))
        .filter(|(columns, text)| text.chars().count() > *columns)
        .collect();
    assert!(too_long.is_empty(), "{too_long:#?}");
}

#[test]
fn a_line_that_is_too_long_would_be_found() {
    let mut words = *Language::English.words();
    words.care = "seventeen columns";
    assert!(lines(&words).iter().any(|(columns, text)| text.chars().count() > *columns));
}

#[test]
fn every_character_is_in_the_fonts() {
    for language in Language::ALL {
        for (_, text) in lines(language.words()) {
            // ISO/IEC 8859-1: the printable characters.
            let printable = |c: char| matches!(c, ' '..='~' | '\u{a0}'..='\u{ff}');
            assert!(text.chars().all(printable), "{text:?}");
        }
    }
}

#[test]
fn the_languages_differ_and_have_their_codes() {
    for (code, language) in (0..).zip(Language::ALL) {
        assert_eq!(Language::from_code(code), language);
    }
    assert_eq!(Language::from_code(200), Language::English);
    assert_ne!(Language::English.words(), Language::German.words());
    assert_eq!(Language::ALL[1].next(), Language::ALL[0]);
}
