//! Shared by these tests: a board on a memory part that is a plain array.

// Each test program uses its own part of it.
#![allow(dead_code)]

use heapless::Vec;
use shaftbook_core::authority::{self, Key};
use shaftbook_core::board::{Board, Command, Effect, Fitting};
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::{Counters, Needle};
use shaftbook_core::fault::Fault;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::ledger::CarriedIn;
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_core::service::Authorised;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;

pub const ID: BoardId = BoardId(0x5AFE_B00C);
pub const KEY: [u8; 32] = [7; 32];

/// An array that programs at once.
#[derive(Clone)]
pub struct Plain {
    pub bytes: std::vec::Vec<u8>,
    pub geometry: Geometry,
    pub reads: u64,
    pub bytes_read: u64,
    pub programs: std::vec::Vec<u32>,
    /// Slots of 64 bytes that keep what they hold.
    pub stuck: std::vec::Vec<u32>,
}

impl Plain {
    pub fn new(geometry: Geometry) -> Self {
        let bytes = vec![0xFF; geometry.size_bytes as usize];
        let programs = vec![0; (geometry.size_bytes / u32::from(geometry.page_bytes)) as usize];
        Self { bytes, geometry, reads: 0, bytes_read: 0, programs, stuck: vec![] }
    }
}

impl Medium for Plain {
    fn geometry(&self) -> Geometry {
        self.geometry
    }

    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        let at = address as usize;
        let from = self.bytes.get(at..at + bytes.len()).ok_or(MediumError::OutOfRange)?;
        bytes.copy_from_slice(from);
        self.reads += 1;
        self.bytes_read += bytes.len() as u64;
        Ok(())
    }

    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        let page = address / u32::from(self.geometry.page_bytes);
        let end = (page + 1) * u32::from(self.geometry.page_bytes);
        let count = bytes.len().min((end - address) as usize);
        self.programs[page as usize] += 1;
        if self.stuck.contains(&(address / 64)) {
            return Ok(count);
        }
        self.bytes[address as usize..address as usize + count].copy_from_slice(&bytes[..count]);
        Ok(count)
    }

    fn is_ready(&mut self) -> Result<bool, MediumError> {
        Ok(true)
    }
}

pub struct Bench {
    pub board: Board,
    pub part: Plain,
    pub now: Instant,
    pub effects: std::vec::Vec<Effect>,
}

impl Bench {
    pub fn power_up(part: Plain) -> Self {
        let board = Board::new(ID, Settings::default());
        let mut bench = Self { board, part, now: Instant::ZERO, effects: vec![] };
        bench.settle();
        bench
    }

    /// A board at reset that has not been polled.
    pub fn unpowered() -> Board {
        Board::new(ID, Settings::default())
    }

    pub fn fitted() -> Self {
        let mut bench = Self::power_up(Plain::new(Geometry::REFERENCE));
        assert!(bench.board.faults().contains(Fault::NotFitted));
        bench.board.request(bench.now, Command::Fit { fitting: fitting(), reply: None }).unwrap();
        bench.settle();
        assert!(bench.board.faults().is_empty(), "{:?}", bench.board.faults());
        bench
    }

    pub fn cut(self) -> Self {
        Self::power_up(self.part)
    }

    /// Polls until the board has nothing to do for a second.
    pub fn settle(&mut self) {
        for step in 0.. {
            assert!(
                step < 20_000,
                "spins at {:?} {:?} {:?}",
                self.now,
                self.board.faults(),
                self.board.store()
            );
            let polled = self.board.poll(self.now, &mut self.part);
            self.effects.extend(polled.effect);
            if polled.effect.is_none() {
                if polled.deadline.since_us(self.now) > 1_000_000 {
                    return;
                }
                self.now = polled.deadline;
            }
        }
    }

    pub fn sew(&mut self, needle: u8, stitches: u64, period_us: u64) {
        self.now = self.now.plus_us(100_000);
        self.board.input(self.now, Input::NeedleCode(needle - 1));
        self.now = self.now.plus_us(100_000);
        for _ in 0..stitches {
            self.board.input(self.now, Input::Shaft(Level::Active));
            self.poll();
            self.now = self.now.plus_us(period_us / 2);
            self.board.input(self.now, Input::Shaft(Level::Inactive));
            self.poll();
            self.now = self.now.plus_us(period_us - period_us / 2);
        }
    }

    pub fn poll(&mut self) {
        for step in 0.. {
            assert!(
                step < 20_000,
                "spins at {:?} {:?} {:?}",
                self.now,
                self.board.faults(),
                self.board.store()
            );
            let polled = self.board.poll(self.now, &mut self.part);
            self.effects.extend(polled.effect);
            if polled.effect.is_none() && polled.deadline > self.now {
                return;
            }
        }
    }

    pub fn lifetime(&self) -> Counters {
        self.board.lifetime(self.now).unwrap()
    }

    /// The right reply to a new challenge for `allows`.
    pub fn reply(&mut self, allows: Authorised) -> authority::EightDigits {
        let challenge = self.board.challenge(self.now, allows).unwrap();
        let services = self.board.ledger().services;
        authority::reply(&Key::new(KEY), allows.purpose(), services, challenge)
    }
}

pub fn fitting() -> Fitting {
    let component = |kind, measure, renewed_by, with_service| Component {
        kind,
        measure,
        renewed_by,
        with_service,
        notice: 900,
        due: 1_000,
    };
    let needle_1 = Needle::new(1).unwrap();
    let mut components = Vec::new();
    for c in [
        component(
            ComponentKind::needle(needle_1),
            Measure::NeedleStitches(needle_1),
            Role::Operator,
            false,
        ),
        component(ComponentKind::FIXED_KNIFE, Measure::Trims, Role::Engineer, false),
        component(ComponentKind::BELT, Measure::Running, Role::Engineer, true),
        component(ComponentKind::PLATE_CLEANING, Measure::Powered, Role::Operator, true),
    ] {
        components.push(c).unwrap();
    }
    let carried_in = CarriedIn { hours: 1_234, stitches: 56_000_000, trims: 700_000 };
    Fitting { settings: Settings::default(), components, carried_in, key: Key::new(KEY) }
}
