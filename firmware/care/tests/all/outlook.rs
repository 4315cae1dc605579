//! Days left at the recent rate of use, care that is due by calendar days, and the day that a
//! clock is believed to say.

use crate::support::{Made, needle};
use proptest::prelude::*;
use shaftbook_care::calendar::judge;
use shaftbook_care::item::{item, most_pressing};
use shaftbook_care::outlook::{DaysLeft, days_left};
use shaftbook_core::component::{ComponentKind, Measure, Standing};
use shaftbook_core::fault::Fault;

const H: u32 = 3_600;

/// The points of the published line (slope 5.728571 h a day), the last of them now.
fn published() -> Made {
    let mut made = Made::new();
    for (day, tenths) in [(3_000, 12_000), (3_007, 12_415), (3_014, 12_790), (3_021, 13_225)] {
        made.line(tenths * H / 10, Some(day));
    }
    made.day = Some(3_028);
    made.lifetime.powered_ms = 1_360 * 3_600_000;
    made.lifetime.power_ups = 200;
    made
}

fn left(made: &Made) -> Option<DaysLeft> {
    days_left(&made.machine(), &item(&made.machine(), 0).unwrap())
}

#[test]
fn with_a_clock_the_line_through_the_journal_tells() {
    let mut made = published();
    // 100 h left at 5.728571 h a day: 17.46 days.
    made.component(ComponentKind::BELT, Measure::Powered, 0, 1_460 * H, 0);
    assert_eq!(left(&made), Some(DaysLeft::Calendar(17)));
    // By a measure of another kind: 2 stitches a powered second over the lifetime.
    made.ledger.components.clear();
    made.lifetime.needle_stitches[1] = 2 * 1_360 * 3_600;
    let baseline = made.lifetime.needle_stitches[1];
    made.component(
        ComponentKind::needle(needle(2)),
        Measure::NeedleStitches(needle(2)),
        1,
        720_000,
        baseline,
    );
    assert_eq!(left(&made), Some(DaysLeft::Calendar(17)));
    // A needle that never sews is never due.
    made.ledger.components.clear();
    made.component(
        ComponentKind::needle(needle(3)),
        Measure::NeedleStitches(needle(3)),
        1,
        720_000,
        0,
    );
    assert_eq!(left(&made), None);
}

#[test]
fn what_is_long_ago_does_not_count_while_enough_is_recent() {
    let mut made = published();
    made.component(ComponentKind::BELT, Measure::Powered, 0, 1_460 * H, 0);
    made.ledger.history.insert(0, made.ledger.history[0]).unwrap();
    made.ledger.history[0].day = Some(1_000);
    made.ledger.history[0].powered_s = 0;
    assert_eq!(left(&made), Some(DaysLeft::Calendar(17)));
}

#[test]
fn with_two_points_the_mean_tells() {
    let mut made = Made::new();
    made.component(ComponentKind::BELT, Measure::Powered, 0, 100 * H, 0);
    made.line(10 * H, Some(2_500));
    made.lifetime.powered_ms = 50 * 3_600_000;
    made.day = Some(2_505);
    assert_eq!(left(&made), Some(DaysLeft::Calendar(6)), "8 h a day, 50 h left");
}

#[test]
fn without_a_clock_a_power_up_is_a_day_of_use() {
    let mut made = published();
    made.component(ComponentKind::BELT, Measure::Powered, 0, 1_460 * H, 0);
    made.day = None;
    assert_eq!(left(&made), Some(DaysLeft::OfUse(14)), "6.8 h a power-up");
    made.lifetime.power_ups = 2;
    assert_eq!(left(&made), None, "too few to go by");
    // A clock that is at fault is as good as none.
    made.lifetime.power_ups = 200;
    made.day = Some(3_028);
    made.faults.raise(Fault::ClockWrong);
    assert_eq!(left(&made), Some(DaysLeft::OfUse(14)));
}

#[test]
fn what_is_due_has_no_days_left() {
    let mut made = published();
    made.component(ComponentKind::BELT, Measure::Powered, 0, 1_360 * H, 0);
    assert_eq!(left(&made), Some(DaysLeft::Calendar(0)));
    made.day = None;
    assert_eq!(left(&made), Some(DaysLeft::OfUse(0)));
}

#[test]
fn days_pass_by_themselves_and_only_a_clock_counts_them() {
    let mut made = published();
    made.component(ComponentKind::PLATE_CLEANING, Measure::Days, 27, 30, 3_010);
    assert_eq!(left(&made), Some(DaysLeft::Calendar(12)));
    made.faults.raise(Fault::ClockNoAnswer);
    assert_eq!(left(&made), None);
}

#[test]
fn in_days_but_never_renewed_with_a_clock_is_due_and_pressing() {
    let mut made = published();
    made.component(ComponentKind::BELT, Measure::Powered, 0, 1_460 * H, 0);
    made.component(ComponentKind::PLATE_CLEANING, Measure::Days, 27, 30, 0);
    let pressing = most_pressing(&made.machine()).unwrap();
    assert_eq!((pressing.place, pressing.standing), (1, Standing::Due));
    made.day = None;
    assert_eq!(item(&made.machine(), 1).unwrap().standing, Standing::Fine);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any journal and any figures: no panic, and never days left of what is due.
    #[test]
    fn any_journal_gives_an_outlook(
        lines in prop::collection::vec((any::<u32>(), prop::option::of(any::<u16>())), 0..16),
        powered_ms: u64, power_ups: u32, day in prop::option::of(any::<u16>()), due in 1..u32::MAX,
        baseline: u64, code in 0..32_u8,
    ) {
        let mut made = Made::new();
        for (powered_s, day) in lines {
            made.line(powered_s, day);
        }
        (made.lifetime.powered_ms, made.lifetime.power_ups, made.day) = (powered_ms, power_ups, day);
        let measure = Measure::from_code(code).unwrap_or(Measure::Powered);
        made.component(ComponentKind::BELT, measure, due / 2, due, baseline);
        let standing = item(&made.machine(), 0).unwrap().standing;
        let none = [Some(DaysLeft::Calendar(0)), Some(DaysLeft::OfUse(0))];
        if standing == Standing::Due {
            prop_assert!(none.contains(&left(&made)));
        } else {
            let _ = left(&made);
        }
    }

    /// Whatever a clock says, the day to go by never runs backwards and never leaps.
    #[test]
    fn no_clock_turns_the_day_back(readings in prop::collection::vec(
        prop::option::of(prop_oneof![any::<u16>(), 2_193..3_000_u16]), 1..60,
    )) {
        let mut known = None;
        for reading in readings {
            let judged = judge(known, reading);
            prop_assert!(judged.day >= known);
            if let (Some(before), Some(after)) = (known, judged.day) {
                prop_assert!(after - before <= 400);
            }
            prop_assert_eq!(judged.state.fault().is_none(), judged.day == reading && reading.is_some());
            known = judged.day;
        }
    }
}
