//! The names that a profile gives to components.

use shaftbook_core::component::ComponentKind;

/// Names of the kinds that every board knows.
const NAMED: [(&str, ComponentKind); 8] = [
    ("fixed-knife", ComponentKind::FIXED_KNIFE),
    ("moving-knife", ComponentKind::MOVING_KNIFE),
    ("hook-oil", ComponentKind::HOOK_OIL),
    ("plate-cleaning", ComponentKind::PLATE_CLEANING),
    ("tension-cleaning", ComponentKind::TENSION_CLEANING),
    ("bobbin-case", ComponentKind::BOBBIN_CASE),
    ("belt", ComponentKind::BELT),
    ("trimmer-cleaning", ComponentKind::TRIMMER_CLEANING),
];
/// Number of the first of the profile's own kinds, `own-1`.
const FIRST_OWN: u8 = 40;
/// How many of its own kinds a profile can have.
const OWN_MAX: u8 = 24;
/// All the names, for an error message.
pub const NAMES: &str = "each-needle, needle-1 to needle-16, fixed-knife, moving-knife, hook-oil, \
    plate-cleaning, tension-cleaning, bobbin-case, belt, trimmer-cleaning, own-1 to own-24";

/// The kinds that `name` stands for on a head of `needles`: one for each needle, or one;
/// none for a name that is not known.
#[must_use]
pub fn unfold(name: &str, needles: u8) -> Vec<ComponentKind> {
    if name == "each-needle" {
        return (1..=needles).map(ComponentKind).collect();
    }
    if let Some((_, kind)) = NAMED.iter().find(|(named, _)| *named == name) {
        return vec![*kind];
    }
    let numbered = |prefix, most| {
        let number: u8 = name.strip_prefix(prefix)?.parse().ok()?;
        (1..=most).contains(&number).then_some(number)
    };
    let needle = numbered("needle-", 16);
    let own = numbered("own-", OWN_MAX).map(|number| FIRST_OWN - 1 + number);
    needle.or(own).map(ComponentKind).into_iter().collect()
}
