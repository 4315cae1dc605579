//! The panel with its fonts, texts, care, hints and read-out code, painted step by step.
//!
//! Every function named `probe_…` is a root: the stack is counted from there down.

#![no_std]
#![no_main]

use core::hint::black_box;

use shaftbook_core::board::{Board, Effect};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::Level;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_panel::button::{Button, Buttons};
use shaftbook_panel::console::Console;
use shaftbook_panel::painter::{Painter, Work};

size_probe::panic_spins!();

#[inline(never)]
fn probe_buttons(buttons: &mut Buttons, console: &mut Console, board: &mut Board) {
    let now = black_box(Instant::ZERO);
    buttons.edge(now, black_box(Button::Act), black_box(Level::Active));
    if let Some(press) = buttons.poll(now) {
        console.press(board, now, press);
    }
    black_box((buttons.deadline(), console.panel().deadline()));
}

#[inline(never)]
fn probe_effect(console: &mut Console) {
    let now = black_box(Instant::ZERO);
    console.effect(now, &black_box(Effect::Ready));
    console.tick(now);
}

#[inline(never)]
fn probe_think(console: &mut Console, board: &Board) -> bool {
    console.think(board, black_box(Instant::ZERO))
}

#[inline(never)]
fn probe_offer(console: &Console, painter: &mut Painter, board: &Board) {
    painter.offer(console.view(board, black_box(Instant::ZERO)));
}

#[inline(never)]
fn probe_paint(painter: &mut Painter) -> Work {
    let work = painter.work();
    if let Work::Send(number, tile) = black_box(work) {
        black_box(tile);
        painter.sent(number);
    }
    work
}

/// The entry point.
#[unsafe(no_mangle)]
pub extern "C" fn _start() -> ! {
    // The board itself is weighed by another probe: here it is only looked at.
    let mut board = black_box(Board::new(BoardId(black_box(1)), black_box(Settings::default())));
    let mut console = Console::new(black_box("0"));
    let mut painter = Painter::new();
    let mut buttons = Buttons::new();
    loop {
        probe_buttons(&mut buttons, &mut console, &mut board);
        probe_effect(&mut console);
        black_box(probe_think(&mut console, &board));
        probe_offer(&console, &mut painter, &board);
        black_box(probe_paint(&mut painter));
    }
}
