//! When a main loop has time for the panel.

use crate::support::{Bench, Plain};
use shaftbook_core::board::{Effect, Polled};
use shaftbook_core::input::{Input, Level};
use shaftbook_core::medium::Geometry;
use shaftbook_core::time::Instant;
use shaftbook_core::turn::{ANSWER_TIME_US, Next, next};

fn polled(effect: Option<Effect>, deadline: Instant) -> Polled {
    Polled { effect, deadline }
}

#[test]
fn the_board_comes_first_then_the_panel_then_sleep() {
    let bench = Bench::fitted();
    let now = bench.now;
    let later = now.plus_us(500);
    for panel_waits in [false, true] {
        let answer = |it| next(&bench.board, now, it, panel_waits);
        assert_eq!(answer(polled(Some(Effect::Ready), later)), Next::Poll, "something happened");
        assert_eq!(answer(polled(None, now)), Next::Poll, "due now");
        assert_eq!(answer(polled(None, Instant::ZERO)), Next::Poll, "overdue");
        let expected = if panel_waits { Next::Step } else { Next::Sleep(later) };
        assert_eq!(answer(polled(None, later)), expected);
    }
}

#[test]
fn the_panel_stands_still_from_a_warning_to_its_answer() {
    let mut bench = Bench::fitted();
    bench.sew(4, 20, 66_667);
    let idle =
        |bench: &Bench, now: Instant| next(&bench.board, now, polled(None, Instant::NEVER), true);
    assert_eq!(idle(&bench, bench.now), Next::Step);
    bench.board.input(bench.now, Input::PowerFail(Level::Active));
    let wakes = bench.now.plus_us(ANSWER_TIME_US);
    assert_eq!(idle(&bench, bench.now), Next::Sleep(wakes), "looks again when it may go on");
    bench.settle();
    assert_eq!(idle(&bench, bench.now), Next::Step, "answered");
}

/// A warning that cannot be answered does not freeze the panel for good.
#[test]
fn an_unanswered_warning_holds_the_panel_for_100_ms_only() {
    let mut bench = Bench::fitted();
    bench.sew(4, 20, 66_667);
    let now = bench.now;
    bench.board.input(now, Input::PowerFail(Level::Active));
    let at = |us| next(&bench.board, now.plus_us(us), polled(None, Instant::NEVER), true);
    assert!(matches!(at(100_000), Next::Sleep(_)));
    assert_eq!(at(100_001), Next::Step);
}

#[test]
fn a_board_that_was_never_fitted_has_time_for_its_panel() {
    let bench = Bench::power_up(Plain::new(Geometry::REFERENCE));
    let mut board = bench.board.clone();
    board.input(bench.now, Input::PowerFail(Level::Active));
    assert_eq!(next(&board, bench.now, polled(None, Instant::NEVER), true), Next::Step);
}
