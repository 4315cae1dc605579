//! Hints in words of the trade.

use shaftbook_care::hint::{Certainty, Finding};

/// What was found.
#[must_use]
pub fn finding(finding: Finding) -> String {
    let found = match finding {
        Finding::NeedleBreaks(needle) => {
            return format!("needle {} breaks more thread than the others", needle.number());
        }
        Finding::BreaksEverywhere => "thread breaks are up on all needles",
        Finding::TrimmerDirty => "the trimmer is over its limit for cleaning",
        Finding::KnifeWorn => "the knife is over its limit, and the trimmer was cleaned",
        Finding::NoNeedleChange => "the shaft turns, and no needle is ever selected or changed",
        Finding::ShaftGlitches => "shaft pulses are rejected as glitches",
    };
    found.to_owned()
}

/// What to look at first.
#[must_use]
pub fn look_first(finding: Finding) -> String {
    let look = match finding {
        Finding::NeedleBreaks(needle) => {
            let n = needle.number();
            return format!(
                "the thread path of needle {n}, the seat of its pre-tensioner, then the needle"
            );
        }
        Finding::BreaksEverywhere => "the hook, dust in the tension base, the thread",
        Finding::TrimmerDirty => "clean the trimmer, before anything is replaced",
        Finding::KnifeWorn => "the knife",
        Finding::NoNeedleChange => "the wiring of the needle position",
        Finding::ShaftGlitches => "the wiring of the shaft sensor",
    };
    look.to_owned()
}

/// How sure a hint is.
#[must_use]
pub const fn certainty(certainty: Certainty) -> &'static str {
    match certainty {
        Certainty::Possible => "possible",
        Certainty::Strong => "strong",
    }
}
