//! The hints of a look, with their figures.

use shaftbook_care::hint::Finding;
use shaftbook_core::counters::Needle;
use shaftbook_panel::text::Words;

use super::{Lines, line};
use crate::prove::says_what_is::figures::grouped;
use crate::reference::looking::{Of, Sign};

pub(super) fn sign_name(sign: &Sign, words: &Words) -> String {
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
pub(super) fn hint(sign: &Sign, page: u8, words: &Words) -> Lines {
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
