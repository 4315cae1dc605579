//! The screen of the needles: their wear, and thread breaks per 100,000 stitches.

use core::fmt::Write;

use heapless::Vec;
use shaftbook_care::item::items;
use shaftbook_core::component::{ComponentKind, Standing};
use shaftbook_core::counters::{Counters, NEEDLES_MAX, Needle};

use super::{Body, Content, NeedleBar};
use crate::number::{Line, line};
use crate::rules::PanelRules;
use crate::state::State;
use crate::text::Words;

#[inline(never)]
pub(super) fn content<R: PanelRules>(
    chosen: Option<u8>,
    words: &Words,
    state: &State<'_, R>,
) -> Content {
    let Some(lifetime) = &state.machine.lifetime else {
        return Content::rows(words.needles, [super::Row::text(words.not_known)], None);
    };
    let needles = usize::from(state.machine.ledger.settings.needles).min(NEEDLES_MAX);
    let highest = (0..needles).map(|n| per_100k_tenths(lifetime, n)).max().unwrap_or(0);
    let mut bars: Vec<NeedleBar, NEEDLES_MAX> = (0..needles)
        .map(|n| NeedleBar {
            breaks_permille: (per_100k_tenths(lifetime, n) * 1_000)
                .checked_div(highest)
                .unwrap_or(0)
                .min(1_000) as u16,
            ..NeedleBar::default()
        })
        .collect();
    let mut worst = (0, 0);
    for item in items(&state.machine) {
        let Some(needle) = Needle::new(item.component.kind.0) else { continue };
        if let Some(bar) = bars.get_mut(needle.index()) {
            bar.wear_permille = item.permille();
            bar.due = item.standing == Standing::Due;
            worst = worst.max((item.permille(), needle.index()));
        }
    }
    let of = chosen.map_or(worst.1, usize::from);
    let below = figures(of, bars.get(of).map_or(0, |bar| bar.wear_permille), words, state);
    Content::new(words.needles, Body::Needles { bars, chosen: Some(of), below }, None)
}

/// "Needle 3 62% 12.5/100k".
fn figures<R: PanelRules>(
    index: usize,
    wear_permille: u16,
    words: &Words,
    state: &State<'_, R>,
) -> Line {
    let mut text = line(words.needle);
    let is_its_own = |kind: ComponentKind| usize::from(kind.0) == index + 1;
    let fitted = state.machine.ledger.components.iter().any(|f| is_its_own(f.component.kind));
    // Cannot fail: a line has room for it.
    let _ = write!(text, " {}", index + 1);
    if fitted {
        let _ = write!(text, " {}%", wear_permille / 10);
    }
    if let Some(lifetime) = &state.machine.lifetime {
        let tenths = per_100k_tenths(lifetime, index);
        if tenths < 1_000 {
            let _ = write!(text, " {}{}{}", tenths / 10, words.decimal, tenths % 10);
        } else {
            let _ = write!(text, " {}", (tenths / 10).min(99_999));
        }
        let _ = write!(text, "{}", words.per_100k);
    }
    text
}

/// Breaks of a needle per 100,000 of its stitches, in tenths.
fn per_100k_tenths(lifetime: &Counters, index: usize) -> u64 {
    let breaks = lifetime.needle_breaks.get(index).copied().unwrap_or(0);
    let stitches = lifetime.needle_stitches.get(index).copied().unwrap_or(0);
    (u64::from(breaks) * 1_000_000).checked_div(stitches).unwrap_or(0)
}
