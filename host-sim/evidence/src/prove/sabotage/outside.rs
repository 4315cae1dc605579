//! Mistakes outside the core: in the memory driver, in what happens at a reset, between
//! interrupt and main loop, in the timer, on the wires.

use embedded_hal::i2c::{I2c, Operation};
use shaftbook_core::board::{Board, Polled};
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_core::time::Instant;
use shaftbook_drivers::capture::EdgeConsumer;
use shaftbook_drivers::memory::{Eeprom, WiredPart};

use super::switches::Sabotaged;
use shaftbook_world::bench::under_test::{ExtendedTimer, sound};
use shaftbook_world::bus::Bus;

type TheBoard = Board<Sabotaged>;

/// The mistake of a memory driver.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Slip {
    /// It does not ask whether the program cycle is over.
    NoAcknowledgePolling,
    /// It does not end a write at the end of the page.
    AcrossPages,
    /// It takes a write that was not acknowledged for one that was.
    ErrorsIgnored,
    /// A write goes to the page after the one that was meant.
    NextPage,
}

/// A memory driver with one mistake.
struct Slipping<'a> {
    right: Eeprom<&'a mut Bus>,
    part: WiredPart,
    slip: Slip,
}

impl Medium for Slipping<'_> {
    fn geometry(&self) -> Geometry {
        self.right.geometry()
    }

    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        self.right.read(address, bytes)
    }

    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        match self.slip {
            Slip::AcrossPages => {
                let start = (address as u16).to_be_bytes();
                let operations = &mut [Operation::Write(&start), Operation::Write(bytes)];
                self.right
                    .bus()
                    .transaction(self.part.device_address(), operations)
                    .map_err(|_| MediumError::NoAnswer)?;
                Ok(bytes.len())
            }
            Slip::ErrorsIgnored => Ok(self.right.begin_program(address, bytes).unwrap_or(64)),
            Slip::NextPage => {
                let geometry = self.geometry();
                let next = (address + u32::from(geometry.page_bytes)) % geometry.size_bytes;
                self.right.begin_program(next, bytes)
            }
            Slip::NoAcknowledgePolling => self.right.begin_program(address, bytes),
        }
    }

    fn is_ready(&mut self) -> Result<bool, MediumError> {
        if self.slip == Slip::NoAcknowledgePolling {
            return Ok(true);
        }
        self.right.is_ready()
    }
}

fn poll_with(
    slip: Slip,
    board: &mut TheBoard,
    now: Instant,
    bus: &mut Bus,
    part: WiredPart,
) -> Polled {
    board.poll(now, &mut Slipping { right: Eeprom::new(bus, part), part, slip })
}

/// The driver does not ask whether the program cycle is over.
pub fn no_acknowledge_polling(
    board: &mut TheBoard,
    now: Instant,
    bus: &mut Bus,
    part: WiredPart,
) -> Polled {
    poll_with(Slip::NoAcknowledgePolling, board, now, bus, part)
}

/// The driver sends a whole record, across the end of a page.
pub fn across_pages(board: &mut TheBoard, now: Instant, bus: &mut Bus, part: WiredPart) -> Polled {
    poll_with(Slip::AcrossPages, board, now, bus, part)
}

/// The driver takes a write that was not acknowledged for one that was.
pub fn errors_ignored(
    board: &mut TheBoard,
    now: Instant,
    bus: &mut Bus,
    part: WiredPart,
) -> Polled {
    poll_with(Slip::ErrorsIgnored, board, now, bus, part)
}

/// The driver writes to the page after the one that was meant.
pub fn next_page(board: &mut TheBoard, now: Instant, bus: &mut Bus, part: WiredPart) -> Polled {
    poll_with(Slip::NextPage, board, now, bus, part)
}

/// The timer's 32 bits of µs are taken for the time since reset.
fn wrapped(at: Instant) -> Instant {
    Instant::from_us(at.as_us() & u64::from(u32::MAX))
}

/// The poll by a time that wraps.
pub fn poll_by_32_bits(
    board: &mut TheBoard,
    now: Instant,
    bus: &mut Bus,
    part: WiredPart,
) -> Polled {
    sound::poll(board, wrapped(now), bus, part)
}

/// An input stamped by a time that wraps.
pub fn stamped_by_32_bits(board: &mut TheBoard, at: Instant, input: Input) {
    sound::input(board, wrapped(at), input);
}

/// Needle 1 of the code lines is taken for needle 2, and so on.
pub fn needle_one_further(board: &mut TheBoard, at: Instant, input: Input) {
    let shifted = match input {
        Input::NeedleCode(code) => Input::NeedleCode(code + 1),
        other => other,
    };
    sound::input(board, at, shifted);
}

/// The interrupt comes at the beginning of a warning only: its end is never seen.
pub fn end_of_warning_unseen(board: &mut TheBoard, at: Instant, input: Input) {
    if input != Input::PowerFail(Level::Inactive) {
        sound::input(board, at, input);
    }
}

/// Edges are thrown away until the board has read its memory.
pub fn early_edges_dropped(board: &mut TheBoard, at: Instant, input: Input) {
    if board.is_ready() {
        sound::input(board, at, input);
    }
}

/// RAM that nobody clears: the board goes on with what stands in it.
#[must_use]
pub fn ram_kept(_: BoardId, before: &TheBoard) -> TheBoard {
    before.clone()
}

/// A reading below the last one is taken for a wrap.
pub fn late_stamp_is_a_wrap(clock: &mut ExtendedTimer, bits: u32, tick: u32) -> Instant {
    let wraps = clock.newest_us >> bits;
    let at_us = wraps << bits | u64::from(tick);
    clock.newest_us = if at_us < clock.newest_us { at_us + (1 << bits) } else { at_us };
    Instant::from_us(clock.newest_us)
}

/// The count of missed edges is read, then cleared; what an interrupt adds in between is
/// gone.
pub fn missed_read_then_cleared(
    board: &mut TheBoard,
    edges: &mut EdgeConsumer<'_>,
    interrupt: &mut dyn FnMut(),
) {
    let missed = edges.take_missed();
    interrupt();
    let _ = edges.take_missed();
    board.missed_edges(missed);
}

/// Nobody asks how many edges found the queue full.
pub fn missed_not_asked(_: &mut TheBoard, _: &mut EdgeConsumer<'_>, interrupt: &mut dyn FnMut()) {
    interrupt();
}
