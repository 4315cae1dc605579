//! Everything of the core and the drivers that a board's main loop calls, on a bus whose
//! answers the compiler does not know.
//!
//! Every function named `probe_…` is a root: the stack is counted from there down.

#![no_std]
#![no_main]

use core::hint::black_box;
use shaftbook_core::authority::EightDigits;
use shaftbook_core::board::{Board, Command, Polled};
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::service::{Authorised, Refusal};
use shaftbook_core::settings::Settings;
use shaftbook_core::time::{Instant, TickClock};
use shaftbook_drivers::capture::{Capture, EdgeConsumer, EdgeProducer};
use shaftbook_drivers::memory::{Eeprom, WiredPart};
use size_probe::Unknown;

// Counting, storing, answering a power-fail warning, commands: no panic may be left.
size_probe::panic_does_not_link!();

#[inline(never)]
fn probe_board_new() -> Board {
    Board::new(BoardId(black_box(1)), black_box(Settings::default()))
}

#[inline(never)]
fn probe_interrupt(producer: &mut EdgeProducer<'_>) {
    producer.push(black_box(0), black_box(Input::Shaft(Level::Active)));
}

#[inline(never)]
fn probe_drain(consumer: &mut EdgeConsumer<'_>, clock: &mut TickClock<32>, board: &mut Board) {
    while let Some((tick_us, input)) = consumer.pop() {
        board.input(clock.extend(tick_us), input);
    }
    board.missed_edges(consumer.take_missed());
}

#[inline(never)]
fn probe_board_poll(board: &mut Board, part: &mut Eeprom<Unknown>) -> Polled {
    board.poll(black_box(Instant::ZERO), part)
}

#[inline(never)]
fn probe_board_request(board: &mut Board, command: Command) -> Result<(), Refusal> {
    board.request(black_box(Instant::ZERO), command)
}

#[inline(never)]
fn probe_board_challenge(board: &mut Board) -> Result<EightDigits, Refusal> {
    board.challenge(black_box(Instant::ZERO), black_box(Authorised::Service))
}

/// What a screen asks for.
#[inline(never)]
fn probe_board_show(board: &Board) {
    let now = black_box(Instant::ZERO);
    black_box(board.session(now));
    black_box((board.id(), board.faults(), board.is_ready(), board.settings()));
    let Some(lifetime) = board.lifetime(now) else { return };
    let ledger = board.ledger();
    for (place, fitted) in ledger.components.iter().enumerate() {
        let wear = ledger.wear(place, &lifetime, None);
        black_box(wear.map(|wear| fitted.component.standing(wear)));
    }
    black_box((ledger.interval_ms(&lifetime), &ledger.history));
}

/// The entry point.
#[unsafe(no_mangle)]
pub extern "C" fn _start() -> ! {
    let mut capture = Capture::<64>::new();
    let (mut producer, mut consumer) = capture.split();
    let mut clock = TickClock::<32>::new();
    let mut board = black_box(probe_board_new());
    let mut part = Eeprom::new(Unknown, black_box(WiredPart::REFERENCE));
    board.set_day(black_box(None));
    board.raise(black_box(Fault::NotFitted));
    loop {
        probe_interrupt(&mut producer);
        probe_drain(&mut consumer, &mut clock, &mut board);
        black_box(probe_board_poll(&mut board, &mut part));
        let _ =
            black_box(probe_board_request(&mut board, black_box(Command::Service { reply: None })));
        let _ = black_box(probe_board_challenge(&mut board));
        probe_board_show(&board);
    }
}
