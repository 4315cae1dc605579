//! The exchange with the engineer, on a board whose memory part is a plain array.

use crate::support::{Bench, KEY, Plain, fitting};
use shaftbook_core::authority::{self, EightDigits, Key, Purpose};
use shaftbook_core::board::Command;
use shaftbook_core::exchange::{Exchange, Outcome, Request};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::medium::Geometry;
use shaftbook_core::service::{Authorised, CHALLENGE_LIFE_S, CHALLENGES_MAX, Refusal};

const KNIFE: Authorised = Authorised::Renew(ComponentSet::only(1));

fn begin(bench: &mut Bench, exchange: &mut Exchange, allows: Authorised) -> Request {
    let request = exchange.begin(&mut bench.board, bench.now, allows).unwrap();
    assert_eq!(exchange.open(), Some(&request));
    request
}

fn engineer(request: &Request) -> EightDigits {
    authority::reply(&Key::new(KEY), request.purpose(), request.services, request.challenge)
}

fn off_by_one(right: EightDigits) -> EightDigits {
    EightDigits::new((right.get() + 1) % EightDigits::END).unwrap()
}

/// Lets the board work; all that the exchange says of its effects but `Pending`.
fn outcomes(bench: &mut Bench, exchange: &mut Exchange) -> Vec<Outcome> {
    bench.effects.clear();
    bench.settle();
    let outcomes = bench.effects.iter().map(|effect| exchange.effect(effect));
    outcomes.filter(|outcome| *outcome != Outcome::Pending).collect()
}

#[test]
fn a_service_is_done_once_and_durable() {
    let (mut bench, mut exchange) = (Bench::fitted(), Exchange::new());
    let request = begin(&mut bench, &mut exchange, Authorised::Service);
    assert_eq!((request.services, request.purpose()), (0, Purpose::Service));
    let right = engineer(&request);
    exchange.reply(&mut bench.board, bench.now, right).unwrap();
    assert!(exchange.is_judging() && exchange.open().is_none());
    let again = exchange.reply(&mut bench.board, bench.now, right);
    assert_eq!(again, Err(Refusal::NoChallenge));
    let other = exchange.begin(&mut bench.board, bench.now, KNIFE);
    assert_eq!(other, Err(Refusal::Busy));
    assert_eq!(outcomes(&mut bench, &mut exchange), [Outcome::Done]);
    let bench = bench.cut();
    assert_eq!(bench.board.ledger().services, 1);
}

#[test]
fn a_wrong_reply_is_told_once_and_changes_nothing() {
    let (mut bench, mut exchange) = (Bench::fitted(), Exchange::new());
    let request = begin(&mut bench, &mut exchange, Authorised::Service);
    let wrong = off_by_one(engineer(&request));
    exchange.reply(&mut bench.board, bench.now, wrong).unwrap();
    assert_eq!(outcomes(&mut bench, &mut exchange), [Outcome::Wrong]);
    assert_eq!((bench.board.ledger().services, bench.board.ledger().tries), (0, 1));
    let late = exchange.reply(&mut bench.board, bench.now, engineer(&request));
    assert_eq!(late, Err(Refusal::NoChallenge));
}

#[test]
fn a_renewal_and_a_refit_are_done() {
    let (mut bench, mut exchange) = (Bench::fitted(), Exchange::new());
    let request = begin(&mut bench, &mut exchange, KNIFE);
    exchange.reply(&mut bench.board, bench.now, engineer(&request)).unwrap();
    assert_eq!(outcomes(&mut bench, &mut exchange), [Outcome::Done]);

    let request = begin(&mut bench, &mut exchange, Authorised::Refit);
    let reply = engineer(&request);
    let plain = exchange.reply(&mut bench.board, bench.now, reply);
    assert_eq!(plain, Err(Refusal::OtherPurpose));
    let mut fitting = fitting();
    fitting.settings.service_interval_h = 321;
    exchange.refit(&mut bench.board, bench.now, fitting, reply).unwrap();
    assert_eq!(outcomes(&mut bench, &mut exchange), [Outcome::Done]);
    assert_eq!(bench.cut().board.settings().service_interval_h, 321);
}

#[test]
fn a_reply_for_the_knife_makes_no_service() {
    let (mut bench, mut exchange) = (Bench::fitted(), Exchange::new());
    let knife = engineer(&begin(&mut bench, &mut exchange, KNIFE));
    begin(&mut bench, &mut exchange, Authorised::Service);
    exchange.reply(&mut bench.board, bench.now, knife).unwrap();
    assert_eq!(outcomes(&mut bench, &mut exchange), [Outcome::Wrong]);
    assert_eq!(bench.board.ledger().services, 0);
}

#[test]
fn a_wait_keeps_the_request_open_and_an_old_one_is_given_up() {
    let (mut bench, mut exchange) = (Bench::fitted(), Exchange::new());
    for _ in 0..3 {
        let request = begin(&mut bench, &mut exchange, Authorised::Service);
        let wrong = off_by_one(engineer(&request));
        exchange.reply(&mut bench.board, bench.now, wrong).unwrap();
        outcomes(&mut bench, &mut exchange);
    }
    let request = begin(&mut bench, &mut exchange, Authorised::Service);
    let early = exchange.reply(&mut bench.board, bench.now, engineer(&request));
    let wait_s = bench.board.reply_wait_s(bench.now);
    assert!((29..=30).contains(&wait_s), "{wait_s}");
    assert_eq!(early, Err(Refusal::Wait { seconds: wait_s }));
    assert_eq!(exchange.open(), Some(&request));
    bench.now = bench.now.plus_us((CHALLENGE_LIFE_S + 1) * 1_000_000);
    let late = exchange.reply(&mut bench.board, bench.now, engineer(&request));
    assert_eq!(late, Err(Refusal::NoChallenge));
    assert_eq!(exchange.open(), None);
}

#[test]
fn challenges_come_slowly_after_the_first_ones() {
    let (mut bench, mut exchange) = (Bench::fitted(), Exchange::new());
    for _ in 0..CHALLENGES_MAX {
        begin(&mut bench, &mut exchange, Authorised::Service);
    }
    let open = exchange.open().copied();
    let refused = exchange.begin(&mut bench.board, bench.now, Authorised::Service);
    assert_eq!(refused, Err(Refusal::Wait { seconds: 10 }));
    assert_eq!(exchange.open().copied(), open);
    bench.now = bench.now.plus_us(10_000_000);
    begin(&mut bench, &mut exchange, Authorised::Service);
    assert!(exchange.begin(&mut bench.board, bench.now, KNIFE).is_err());
}

#[test]
fn a_cut_ends_the_exchange_and_a_cancelled_one_is_forgotten() {
    let (mut bench, mut exchange) = (Bench::fitted(), Exchange::new());
    let request = begin(&mut bench, &mut exchange, Authorised::Service);
    exchange.cancel();
    let cancelled = exchange.reply(&mut bench.board, bench.now, engineer(&request));
    assert_eq!(cancelled, Err(Refusal::NoChallenge));
    let request = begin(&mut bench, &mut exchange, Authorised::Service);
    let mut bench = bench.cut();
    let over = exchange.reply(&mut bench.board, bench.now, engineer(&request));
    assert_eq!(over, Err(Refusal::NoChallenge));
    assert_eq!(exchange.open(), None);
}

#[test]
fn nothing_is_asked_of_a_board_that_is_not_ready_or_for_a_part_that_is_not_there() {
    let mut exchange = Exchange::new();
    let mut unfitted = Bench::unpowered();
    let now = shaftbook_core::time::Instant::ZERO;
    assert_eq!(exchange.begin(&mut unfitted, now, KNIFE), Err(Refusal::NotReady));
    let mut bench = Bench::fitted();
    for set in [0, 1 << 4] {
        let allows = Authorised::Renew(ComponentSet(set));
        let answer = exchange.begin(&mut bench.board, bench.now, allows);
        assert_eq!(answer, Err(Refusal::NoSuchComponent));
    }
}

#[test]
fn a_board_that_is_shown_for_debugging_shows_no_key_while_it_writes_and_reads_it() {
    let mut fitting = fitting();
    fitting.key = Key::new(std::array::from_fn(|n| 201 + n as u8));
    let shown = format!("{:?}", Command::Fit { fitting: fitting.clone(), reply: None });
    assert!(!shown.contains("203, 204, 205") && shown.contains("not shown"), "{shown}");
    let mut bench = Bench::power_up(Plain::new(Geometry::REFERENCE));
    bench.board.request(bench.now, Command::Fit { fitting, reply: None }).unwrap();
    for boot in 0..2 {
        for step in 0..400 {
            let polled = bench.board.poll(bench.now, &mut bench.part);
            bench.now = bench.now.max(polled.deadline);
            let shown = format!("{:?}", bench.board);
            assert!(!shown.contains("203, 204, 205"), "boot {boot}, step {step}: {shown}");
        }
        assert!(bench.part.bytes.windows(3).any(|bytes| bytes == [203, 204, 205]));
        bench.board = Bench::unpowered();
        bench.now = shaftbook_core::time::Instant::ZERO;
    }
}
