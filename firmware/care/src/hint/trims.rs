//! Trims since cleaning and since the knife was replaced, against their limits.
//!
//! This is not a test, because the wear of a component is known exactly. What is not known is
//! whether the trimmer cuts badly. Cleaning is the cheaper cure, so it comes first: the knife
//! is named only when cleaning is neither due nor at its notice limit. A hint is possible when
//! the limit is passed, and strong at twice the limit: our own choice, no source.

use shaftbook_core::component::{ComponentKind, Standing};

use super::{Certainty, Finding, Found, Hint, Span};
use crate::item::{CareItem, items};
use crate::machine::Machine;
use crate::rules::CareRules;

/// Looks at cleaning and knife.
pub(super) fn look<R: CareRules>(machine: &Machine<'_, R>, found: &mut Found) {
    let of = |kind| items(machine).find(|item| item.component.kind == kind);
    let cleaning =
        of(ComponentKind::TRIMMER_CLEANING).or_else(|| of(ComponentKind::PLATE_CLEANING));
    let knife = [ComponentKind::FIXED_KNIFE, ComponentKind::MOVING_KNIFE]
        .into_iter()
        .filter_map(of)
        .filter(|item| item.standing == Standing::Due)
        .max_by_key(CareItem::permille);
    match (cleaning, knife) {
        (Some(cleaning), _) if cleaning.standing == Standing::Due => {
            push(found, Finding::TrimmerDirty, &cleaning);
        }
        (Some(cleaning), Some(_))
            if cleaning.standing == Standing::Notice && R::cleaning_before_knife() =>
        {
            push(found, Finding::TrimmerDirty, &cleaning);
        }
        (_, Some(knife)) => push(found, Finding::KnifeWorn, &knife),
        _ => {}
    }
}

fn push(found: &mut Found, finding: Finding, item: &CareItem) {
    let against = u64::from(item.component.due);
    let twice = item.wear >= against.saturating_mul(2);
    let hint = Hint {
        finding,
        certainty: if twice { Certainty::Strong } else { Certainty::Possible },
        span: Span::Renewal,
        seen: item.wear,
        against,
        place: Some(item.place),
    };
    let _ = found.push((hint, 0.0));
}
