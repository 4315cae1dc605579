//! First-look hints of machines with made-up counters. The rates over many simulated
//! machines are measured by `shaftbook hints`.

use crate::support::{Made, needle};
use proptest::prelude::*;
use shaftbook_care::binomial::upper_tail;
use shaftbook_care::hint::{Certainty, Finding, HINTS_MAX, Hint, Span, look};
use shaftbook_core::component::{ComponentKind, Measure};
use shaftbook_core::counters::{Counters, field};
use shaftbook_core::settings::NeedleSource;

const NONE: [(u32, u64); 6] = [(0, 0); 6];

fn only(made: &Made) -> Hint {
    let hints = look(&made.machine());
    assert_eq!(hints.len(), 1, "{hints:?}");
    hints[0]
}

fn is_no_sign(made: &Made) {
    assert_eq!(look(&made.machine()), []);
}

#[test]
fn a_new_board_shows_no_sign() {
    is_no_sign(&Made::new());
    let made = Made::new();
    let machine = shaftbook_care::machine::Machine { lifetime: None, ..made.machine() };
    assert_eq!(look(&machine), []);
}

#[test]
fn a_needle_that_breaks_more_than_its_fellows_is_named_with_its_figures() {
    let mut today = [(2, 20_000); 6];
    today[3] = (12, 20_000);
    let made = Made::broke(NONE, today);
    let hint = only(&made);
    assert_eq!(hint.finding, Finding::NeedleBreaks(needle(4)));
    // 22 breaks, a sixth of the stitches: 3.67 to be expected. P(X ≥ 12 | 22, 1/6) = 6.2e-5,
    // times 13 tests: 8.1e-4, within 0.1 %.
    let chance = upper_tail(12, 22, 1.0 / 6.0);
    assert!(chance * 13.0 < 0.001 && chance * 13.0 > 0.0005, "{chance}");
    assert_eq!((hint.certainty, hint.span), (Certainty::Strong, Span::Session));
    assert_eq!((hint.seen, hint.against, hint.place), (12, 367, None));
    // Two breaks fewer: within 5 % but not within 0.1 %.
    let mut today = [(2, 20_000); 6];
    today[3] = (10, 20_000);
    let hint = only(&Made::broke(NONE, today));
    assert_eq!((hint.certainty, hint.against), (Certainty::Possible, 333));
    // And fewer again: chance.
    today[3] = (7, 20_000);
    is_no_sign(&Made::broke(NONE, today));
}

#[test]
fn the_only_needle_used_is_not_accused() {
    let mut today = NONE;
    today[1] = (40, 30_000);
    is_no_sign(&Made::broke(NONE, today));
    // Nor one that sewed nearly everything, with nearly all of the breaks.
    today[0] = (1, 1_000);
    is_no_sign(&Made::broke(NONE, today));
}

#[test]
fn few_stitches_or_few_breaks_point_at_nothing() {
    let mut today = [(1, 50_000); 6];
    today[5] = (3, 1_000);
    is_no_sign(&Made::broke(NONE, today));
    today[5] = (9, 999);
    is_no_sign(&Made::broke(NONE, today));
    today[5] = (9, 1_000);
    assert_eq!(only(&Made::broke(NONE, today)).finding, Finding::NeedleBreaks(needle(6)));
}

#[test]
fn a_small_difference_is_no_sign_however_sure() {
    // 1.9 times its fellows' rate over a long life: far beyond chance, but no fault.
    let mut ever = [(1_000, 10_000_000); 6];
    ever[2] = (1_900, 10_000_000);
    is_no_sign(&Made::broke(ever, NONE));
    ever[2] = (2_000, 10_000_000);
    let hint = only(&Made::broke(ever, NONE));
    assert_eq!((hint.certainty, hint.span), (Certainty::Strong, Span::Lifetime));
}

#[test]
fn a_needle_that_was_put_right_is_not_accused_for_life() {
    let mut ever = [(10, 100_000); 6];
    ever[0] = (100, 100_000);
    assert_eq!(only(&Made::broke(ever, NONE)).finding, Finding::NeedleBreaks(needle(1)));
    is_no_sign(&Made::broke(ever, [(1, 10_000); 6]));
}

#[test]
fn breaks_that_are_up_on_all_needles_point_elsewhere() {
    let hint = only(&Made::broke([(20, 200_000); 6], [(5, 10_000); 6]));
    assert_eq!(hint.finding, Finding::BreaksEverywhere);
    assert_eq!((hint.certainty, hint.span, hint.seen), (Certainty::Strong, Span::Session, 30));
    assert_eq!(hint.against, 714, "150 breaks, 1 of 21 stitches");
    // Twice the breaks are as many as need be; a first session has nothing before it.
    is_no_sign(&Made::broke([(20, 200_000); 6], [(1, 10_000); 6]));
    is_no_sign(&Made::broke(NONE, [(5, 10_000); 6]));
}

#[test]
fn one_bad_needle_is_not_a_bad_hook() {
    let mut today = [(1, 10_000); 6];
    today[2] = (30, 10_000);
    let hints = look(&Made::broke([(20, 200_000); 6], today).machine());
    assert_eq!(hints.len(), 1, "{hints:?}");
    assert_eq!(hints[0].finding, Finding::NeedleBreaks(needle(3)));
    // The only needle sewn today: no telling needle from hook.
    let mut today = NONE;
    today[2] = (9, 10_000);
    is_no_sign(&Made::broke([(20, 200_000); 6], today));
}

#[test]
fn breaks_are_watched_without_a_needle_signal_too() {
    let mut made = Made::new();
    made.ledger.settings.needle_source = NeedleSource::NotWired;
    made.session.unattributed_stitches = 60_000;
    made.session.unattributed_breaks = 30;
    made.lifetime.unattributed_stitches = 1_260_000;
    made.lifetime.unattributed_breaks = 150;
    assert_eq!(only(&made).finding, Finding::BreaksEverywhere);
}

#[test]
fn cleaning_comes_before_the_knife() {
    let figures = |trims, cleaned: u64, knife: u64| {
        let mut made = Made::new();
        made.lifetime.trims = trims;
        made.component(ComponentKind::TRIMMER_CLEANING, Measure::Trims, 8_000, 10_000, cleaned);
        made.component(ComponentKind::FIXED_KNIFE, Measure::Trims, 90_000, 100_000, knife);
        made
    };
    is_no_sign(&figures(109_999, 100_000, 10_000));
    let hint = only(&figures(50_000, 40_000, 0));
    assert_eq!((hint.finding, hint.span), (Finding::TrimmerDirty, Span::Renewal));
    assert_eq!((hint.seen, hint.against, hint.place), (10_000, 10_000, Some(0)));
    assert_eq!(hint.certainty, Certainty::Possible);
    assert_eq!(only(&figures(60_000, 40_000, 0)).certainty, Certainty::Strong);
    // Knife due: cleaning first if that is past its notice, else the knife.
    assert_eq!(only(&figures(100_000, 92_000, 0)).finding, Finding::TrimmerDirty);
    let hint = only(&figures(100_000, 92_001, 0));
    assert_eq!((hint.finding, hint.place), (Finding::KnifeWorn, Some(1)));
    assert_eq!((hint.seen, hint.against), (100_000, 100_000));
}

#[test]
fn a_needle_signal_that_never_changes_points_at_the_wiring() {
    let one = |stitches| {
        let mut made = Made::new();
        made.lifetime.needle_stitches[0] = stitches;
        made
    };
    is_no_sign(&one(49_999));
    let hint = only(&one(50_000));
    assert_eq!((hint.finding, hint.certainty), (Finding::NoNeedleChange, Certainty::Possible));
    assert_eq!((hint.span, hint.seen, hint.against), (Span::Lifetime, 50_000, 50_000));
    assert_eq!(only(&one(500_000)).certainty, Certainty::Strong);
    let mut single = one(500_000);
    single.ledger.settings.needles = 1;
    is_no_sign(&single);
    single.ledger.settings = shaftbook_core::settings::Settings {
        needles: 6,
        needle_source: NeedleSource::NotWired,
        ..single.ledger.settings
    };
    is_no_sign(&single);
    let mut unknown = Made::broke([(0, 100_000); 6], [(0, 1_000); 6]);
    unknown.session.unattributed_stitches = 300;
    is_no_sign(&unknown);
    unknown.session.unattributed_stitches = 400;
    assert_eq!(only(&unknown).certainty, Certainty::Possible);
    unknown.session.unattributed_stitches = 6_000;
    let hint = only(&unknown);
    assert_eq!((hint.certainty, hint.seen, hint.against), (Certainty::Strong, 6_000, 12_000));
}

/// The figures of a sound machine whose shaft sensor bounces (scenario
/// `six-needle-shop`): 264,672 glitches in 168,845 stitches.
fn bouncing(days: u64, glitches_today: u32) -> Made {
    let each = 168_845 * days / 6;
    let mut made = Made::broke([(0, each); 6], [(0, 28_141); 6]);
    made.session.glitches = glitches_today;
    made.lifetime.glitches = 264_672 * days as u32 + glitches_today;
    made
}

#[test]
fn bounce_that_was_always_there_is_no_sign() {
    is_no_sign(&bouncing(0, 264_672));
    is_no_sign(&bouncing(1, 264_672));
    is_no_sign(&bouncing(20, 264_672 * 14 / 10));
    let hint = only(&bouncing(20, 264_672 * 16 / 10));
    assert_eq!((hint.finding, hint.certainty), (Finding::ShaftGlitches, Certainty::Possible));
    assert_eq!((hint.span, hint.seen), (Span::Session, 423_475));
    assert_eq!(only(&bouncing(20, 264_672 * 4)).certainty, Certainty::Strong);
}

#[test]
fn missed_edges_are_a_storm_even_in_a_first_session() {
    let mut made = Made::broke(NONE, [(0, 2_000); 6]);
    made.session.missed_edges = 11;
    made.lifetime.missed_edges = 11;
    is_no_sign(&made);
    made.session.missed_edges = 12;
    made.lifetime.missed_edges = 12;
    assert_eq!(only(&made).finding, Finding::ShaftGlitches);
}

fn counters() -> impl Strategy<Value = Counters> {
    let figure = prop_oneof![Just(0), 0..100_u64, 0..1_000_000_u64, any::<u64>()];
    prop::collection::vec(figure, field::END).prop_map(|figures| {
        let mut counters = Counters::default();
        for (n, figure) in figures.into_iter().enumerate() {
            counters.set(n, figure);
        }
        counters
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever the counters, sound or not: no panic, the surest first, the same again.
    #[test]
    fn any_counters_give_a_sorted_list(session in counters(), lifetime in counters(), limit: u32) {
        let mut made = Made::new();
        (made.session, made.lifetime) = (session, lifetime);
        made.component(ComponentKind::PLATE_CLEANING, Measure::Powered, limit / 2, limit, 0);
        made.component(ComponentKind::MOVING_KNIFE, Measure::Trims, limit, limit, 9);
        let hints = look(&made.machine());
        prop_assert!(hints.len() <= HINTS_MAX);
        prop_assert!(hints.is_sorted_by(|a, b| a.certainty >= b.certainty));
        prop_assert_eq!(&hints, &look(&made.machine()));
    }
}
