//! Profiles that are read, with the components that they give, and profiles that are refused.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use shaftbook_core::component::{ComponentKind, Measure, Role};
use shaftbook_core::counters::Needle;

use super::Profile;

const GOOD: &str = r#"
name = "Bench"
needles = 2
service_interval_h = 300
[[components]]
kind = "each-needle"
due = { months = 2 }
without_clock = { needle_stitches = 9_000 }
[[components]]
kind = "belt"
due = { running_h = 1.5 }
notice_percent = 50
renewed_by = "engineer"
with_service = true
"#;

fn error_of(from: &str, to: &str) -> String {
    assert!(GOOD.contains(from));
    Profile::parse("p.toml", &GOOD.replace(from, to)).unwrap_err().to_string()
}

#[test]
fn care_in_months_is_days_with_a_clock_and_the_other_limit_without() {
    let profile = Profile::parse("p.toml", GOOD).unwrap();
    let with = profile.components(true);
    let without = profile.components(false);
    assert_eq!((with.len(), without.len()), (3, 3));
    assert_eq!((with[0].measure, with[0].notice, with[0].due), (Measure::Days, 54, 60));
    let second = Measure::NeedleStitches(Needle::new(2).unwrap());
    assert_eq!((without[1].kind, without[1].measure), (ComponentKind(2), second));
    assert_eq!((without[1].notice, without[1].due), (8_100, 9_000));
    for components in [with, without] {
        let belt = components[2];
        assert_eq!((belt.kind, belt.measure), (ComponentKind::BELT, Measure::Running));
        assert_eq!((belt.notice, belt.due), (2_700, 5_400));
        assert_eq!((belt.renewed_by, belt.with_service), (Role::Engineer, true));
    }
}

#[test]
fn every_size_of_head_has_a_built_in_profile() {
    for needles in 1..=16 {
        for clock_fitted in [false, true] {
            let components = Profile::builtin(needles).components(clock_fitted);
            let own = components.iter().filter(|c| c.kind.0 <= 16).count();
            assert_eq!((own, components.len()), (needles.into(), usize::from(needles) + 8));
            for component in &components {
                assert!(component.notice <= component.due, "{component:?}");
                assert!(clock_fitted || component.measure != Measure::Days, "{component:?}");
            }
        }
    }
    assert_eq!(Profile::builtin(6).service_interval_h, 500);
}

#[test]
fn each_thing_wrong_is_said_with_its_place() {
    assert_eq!(
        error_of("notice_percent = 50", "notice_percent = 0"),
        "p.toml:12:18: components[1].notice_percent: 0 is not 1 to 100"
    );
    assert_eq!(error_of("needles = 2", "needles = 17"), "p.toml:3:11: needles: 17 is not 1 to 16");
    assert!(
        error_of("\"belt\"", "\"bolt\"").starts_with("p.toml:10:8: components[1].kind: \"bolt\"")
    );
    assert!(error_of("\"belt\"", "\"needle-2\"").contains("is in the profile already"));
    assert!(error_of("\"belt\"", "\"needle-3\"").contains("there are only 2 needles"));
    assert!(
        error_of("due = { running_h = 1.5 }", "due = { running_h = 1.5, trims = 5 }")
            .contains("components[1].due: give exactly one of")
    );
    assert!(error_of("without_clock = { needle_stitches = 9_000 }", "").contains("need without"));
    assert!(error_of("needle_stitches = 9_000", "weeks = 1").contains("not be in calendar days"));
    assert!(error_of("running_h = 1.5", "needle_stitches = 5").contains("only for needles"));
    assert!(error_of("running_h = 1.5", "running_h = 1e9").contains("is not 1 to 4000000000"));
    assert!(error_of("running_h = 1.5", "running_h = nan").contains("is not 1 to 4000000000"));
    assert!(error_of("months = 2", "months = 0").contains("0 days is not 1 to 20000"));
    assert!(error_of("with_service", "with_servise").starts_with("p.toml:14:1: unknown field"));
    assert!(error_of("service_interval_h = 300", "").contains("missing field"));
    assert!(error_of("name = \"Bench\"", "name = ").starts_with("p.toml:2:"));
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400, failure_persistence: None, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default()
    })]

    /// A profile with any characters changed is read or refused in one line, and one that
    /// is read gives components.
    #[test]
    fn any_text_is_read_or_refused(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<char>()), 0..4),
    ) {
        let mut text: Vec<char> = GOOD.chars().collect();
        for (place, char) in &changes {
            let place = place.index(text.len());
            text[place] = *char;
        }
        let text: String = text.into_iter().collect();
        match Profile::parse("p.toml", &text) {
            Ok(profile) => {
                prop_assert!(!profile.components(true).is_empty());
                prop_assert!(!profile.components(false).is_empty());
            }
            Err(error) => prop_assert_eq!(error.to_string().lines().count(), 1),
        }
    }
}
