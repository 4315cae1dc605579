//! A board on a part that is a plain array, and what can be done to both.
//!
//! This is not the bench of `shaftbook_world`, because bytes are what is tested here, and no
//! model of a bus or a part may stand between them and the core.

use std::fmt::Write;

use heapless::Vec;
use shaftbook_core::authority::{self, EightDigits, Key, Purpose};
use shaftbook_core::board::{Board, Command, Fitting};
use shaftbook_core::codec::frame::{self, Header, RECORD_BYTES, Record};
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::Needle;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::ledger::CarriedIn;
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_core::rules::Sound;
use shaftbook_core::serial::Lap;
use shaftbook_core::service::Authorised;
use shaftbook_core::settings::Settings;
use shaftbook_core::time::Instant;
use shaftbook_tools::inspect::image::{Image, ImagePart};
use shaftbook_world::bench::first_lap::unfinished_fitting;

/// The board.
pub const ID: u64 = 0x5AFE_B00C_0000_0001;
/// Its key.
pub const KEY: [u8; 32] = [
    0xA1, 0xB2, 0xC3, 0xD4, 0xE5, 0xF6, 0x97, 0x88, 0x79, 0x6A, 0x5B, 0x4C, 0x3D, 0x2E, 0x1F, 0x90,
    0x81, 0x72, 0x63, 0x54, 0x45, 0x36, 0x27, 0x18, 0xA9, 0xBA, 0xCB, 0xDC, 0xED, 0xFE, 0x8F, 0x9E,
];
/// Settings with short checkpoint intervals, so that laps are quick.
pub const SHORT: Settings = Settings {
    pulses_per_revolution: 1,
    top_speed_rpm: 1_200,
    shaft_debounce_us: 50,
    contact_debounce_us: 6_000,
    run_gap_ms: 1_500,
    needles: 6,
    needle_source: shaftbook_core::settings::NeedleSource::Code,
    needle_debounce_ms: 20,
    needle_level_mv: [100; 16],
    needle_guard_mv: 61,
    needle_hysteresis_mv: 31,
    checkpoint_running_s: 5,
    checkpoint_trims: 40,
    checkpoint_powered_s: 1,
    service_measure: shaftbook_core::settings::ServiceMeasure::Running,
    service_interval_h: 400,
    language: 1,
};

/// A part some of whose slots take no new bytes.
#[derive(Clone)]
struct StickyPart {
    part: ImagePart,
    stuck: std::vec::Vec<u16>,
}

impl Medium for StickyPart {
    fn geometry(&self) -> Geometry {
        self.part.geometry()
    }

    fn read(&mut self, address: u32, bytes: &mut [u8]) -> Result<(), MediumError> {
        self.part.read(address, bytes)
    }

    fn begin_program(&mut self, address: u32, bytes: &[u8]) -> Result<usize, MediumError> {
        let slot_bytes = u32::from(self.geometry().page_bytes.max(64));
        if self.stuck.iter().any(|slot| u32::from(*slot) == address / slot_bytes) {
            return Ok(bytes.len().min(usize::from(self.geometry().page_bytes)));
        }
        self.part.begin_program(address, bytes)
    }

    fn is_ready(&mut self) -> Result<bool, MediumError> {
        Ok(true)
    }
}

/// A board, its part, and the time. Cloning it forks the world.
#[derive(Clone)]
pub struct Bench {
    id: u64,
    board: Board,
    part: StickyPart,
    now: Instant,
    programs_left: Option<u64>,
}

impl Bench {
    fn power_up(id: u64, part: StickyPart) -> Self {
        let board = Board::new(BoardId(id), SHORT);
        let mut bench = Self { id, board, part, now: Instant::ZERO, programs_left: None };
        bench.settle();
        bench
    }

    /// A fitted board on a blank part.
    pub fn fitted(geometry: Geometry) -> Self {
        Self::fitted_with(geometry, SHORT)
    }

    /// The same, with other settings.
    pub fn fitted_with(geometry: Geometry, settings: Settings) -> Self {
        let part = StickyPart { part: ImagePart::blank(geometry), stuck: vec![] };
        let mut bench = Self::power_up(ID, part);
        bench.fit(settings);
        bench
    }

    /// A fitted board whose ring begins in `lap`.
    pub fn fitted_in_lap(geometry: Geometry, lap: Lap) -> Self {
        let mut bytes = vec![0xFF; geometry.size_bytes as usize];
        bytes[..RECORD_BYTES].copy_from_slice(&unfinished_fitting::<Sound>(BoardId(ID), lap));
        let image = Image::new("bench", bytes, geometry.page_bytes).expect("a part's size");
        let part = StickyPart { part: ImagePart::new(&image), stuck: vec![] };
        let mut bench = Self::power_up(ID, part);
        bench.fit(SHORT);
        bench
    }

    /// The part as it is, in another board, which is fitted.
    pub fn moved_to(self, id: u64) -> Self {
        let mut bench = Self::power_up(id, self.part);
        bench.fit(SHORT);
        bench
    }

    fn fit(&mut self, settings: Settings) {
        let fit = Command::Fit { fitting: fitting(settings), reply: None };
        self.board.request(self.now, fit).expect("a fitting");
        self.settle();
        assert!(self.board.is_ready() && !self.board.store().is_busy());
    }

    /// Cuts the power and powers up again.
    pub fn cut(self) -> Self {
        Self::power_up(self.id, self.part)
    }

    /// The part's bytes now.
    pub fn image(&self) -> Image {
        let page_bytes = self.part.geometry().page_bytes;
        Image::new("bench", self.part.part.bytes().to_vec(), page_bytes).expect("a part's size")
    }

    /// The power goes after so many more program cycles.
    pub fn cut_after(&mut self, programs: u64) {
        self.programs_left = Some(self.part.part.programs() + programs);
    }

    /// Whether the power has gone.
    pub fn is_cut(&self) -> bool {
        self.programs_left.is_some_and(|limit| self.part.part.programs() >= limit)
    }

    /// `slot` takes no new bytes from now on.
    pub fn stick(&mut self, slot: u16) {
        self.part.stuck.push(slot);
    }

    /// Polls until there is nothing to do before the next checkpoint, or the power goes.
    fn settle(&mut self) {
        for _ in 0..100_000 {
            if self.is_cut() {
                return;
            }
            let polled = self.board.poll(self.now, &mut self.part);
            if polled.effect.is_none() {
                if polled.deadline.since_us(self.now) > 500_000 {
                    return;
                }
                self.now = polled.deadline.max(self.now.plus_us(1));
            }
        }
        panic!("the board does not settle: {:?}", self.board.faults());
    }

    fn step_us(&mut self, us: u64) {
        let end = self.now.plus_us(us);
        for _ in 0..100_000 {
            if self.is_cut() {
                return;
            }
            let polled = self.board.poll(self.now, &mut self.part);
            if polled.effect.is_none() {
                if polled.deadline >= end {
                    self.now = end;
                    return;
                }
                self.now = polled.deadline.max(self.now.plus_us(1));
            }
        }
        panic!("the board spins: {:?}", self.board.faults());
    }

    /// Lets time pass.
    pub fn pass_s(&mut self, s: u32) {
        for _ in 0..s {
            self.step_us(1_000_000);
        }
    }

    fn pulse(&mut self, make: fn(Level) -> Input, active_us: u64, rest_us: u64) {
        self.board.input(self.now, make(Level::Active));
        self.step_us(active_us);
        self.board.input(self.now, make(Level::Inactive));
        self.step_us(rest_us);
    }

    /// Sews on one needle, at 900 stitches a minute.
    pub fn sew(&mut self, needle: u8, stitches: u64) {
        self.board.input(self.now, Input::NeedleCode(needle - 1));
        self.step_us(100_000);
        for _ in 0..stitches {
            self.pulse(Input::Shaft, 33_000, 33_667);
        }
    }

    /// Trims.
    pub fn trim(&mut self, times: u32) {
        for _ in 0..times {
            self.pulse(Input::Trim, 50_000, 200_000);
        }
    }

    /// Thread breaks on one needle.
    pub fn thread_break(&mut self, needle: u8, times: u32) {
        self.board.input(self.now, Input::NeedleCode(needle - 1));
        self.step_us(100_000);
        for _ in 0..times {
            self.pulse(Input::ThreadBreak, 50_000, 200_000);
        }
    }

    /// Revolutions with the needle bar disengaged.
    pub fn jumps(&mut self, times: u32) {
        self.board.input(self.now, Input::Jump(Level::Active));
        self.step_us(50_000);
        for _ in 0..times {
            self.pulse(Input::Shaft, 33_000, 33_667);
        }
        self.board.input(self.now, Input::Jump(Level::Inactive));
        self.step_us(50_000);
    }

    /// A power-fail warning that passes.
    pub fn power_fail(&mut self) {
        self.board.input(self.now, Input::PowerFail(Level::Active));
        self.settle();
        self.board.input(self.now, Input::PowerFail(Level::Inactive));
        self.settle();
    }

    /// Renews the component at `place`, which must be the operator's.
    pub fn renew(&mut self, place: usize) {
        let components = ComponentSet::only(place);
        self.request(Command::Renew { components, reply: None });
    }

    /// A service with the right reply.
    pub fn service(&mut self) {
        let Ok(challenge) = self.board.challenge(self.now, Authorised::Service) else { return };
        let services = self.board.ledger().services;
        let reply = authority::reply(&Key::new(KEY), Purpose::Service, services, challenge);
        self.request(Command::Service { reply: Some(reply) });
    }

    /// A service with a wrong reply.
    pub fn wrong_reply(&mut self) {
        let Ok(challenge) = self.board.challenge(self.now, Authorised::Service) else { return };
        let services = self.board.ledger().services;
        let right = authority::reply(&Key::new(KEY), Purpose::Service, services, challenge);
        let wrong = EightDigits::new((right.get() + 1) % EightDigits::END);
        self.request(Command::Service { reply: wrong });
    }

    fn request(&mut self, command: Command) {
        if !self.is_cut() {
            self.board.request(self.now, command).expect("a command that is allowed");
            self.settle();
        }
    }
}

/// An invented fitting that uses every kind of field.
fn fitting(settings: Settings) -> Fitting {
    let needle_1 = Needle::new(1).expect("a needle");
    let component = |kind, measure, renewed_by, with_service, due| Component {
        kind,
        measure,
        renewed_by,
        with_service,
        notice: due - due / 10,
        due,
    };
    let mut components = Vec::new();
    for c in [
        component(
            ComponentKind::needle(needle_1),
            Measure::NeedleStitches(needle_1),
            Role::Operator,
            false,
            20,
        ),
        component(ComponentKind::HOOK_OIL, Measure::Running, Role::Operator, false, 14_400),
        component(ComponentKind::FIXED_KNIFE, Measure::Trims, Role::Engineer, false, 1_000_000),
        component(ComponentKind::BELT, Measure::Stitches, Role::Engineer, true, 250),
        component(ComponentKind::PLATE_CLEANING, Measure::PowerUps, Role::Operator, true, 30),
        component(ComponentKind::TENSION_CLEANING, Measure::Powered, Role::Operator, true, 700_000),
        component(ComponentKind(41), Measure::Days, Role::Operator, false, 365),
    ] {
        components.push(c).expect("room");
    }
    let carried_in = CarriedIn { hours: 1_234, stitches: 56_000_000, trims: 700_000 };
    Fitting { settings, components, carried_in, key: Key::new(KEY) }
}

/// Bytes as hexadecimal digits.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The kind field of a slot, whatever its CRC.
pub fn kind(image: &Image, slot: u16) -> u8 {
    image.record(slot)[0] & 7
}

fn altered(image: &Image, slot: u16, mut with: impl FnMut() -> u8) -> Image {
    let mut bytes = image.bytes().to_vec();
    let at = image.ring().address(slot) as usize;
    bytes[at..at + 64].iter_mut().for_each(|b| *b = with());
    Image::new("altered", bytes, image.geometry().page_bytes).expect("the same size")
}

/// The image with `bytes` in one slot; as a record of this board that passes its CRC, if
/// a kind and a lap are given.
pub fn with_record(image: &Image, slot: u16, sealed: Option<(u8, u32)>, bytes: &[u8]) -> Image {
    let mut record: Record = *bytes.first_chunk().expect("64 bytes");
    if let Some((kind, lap)) = sealed {
        let kind = match kind {
            1 => frame::RecordKind::Checkpoint,
            2 => frame::RecordKind::Entry,
            _ => frame::RecordKind::Snapshot,
        };
        let header = Header { kind, lap: Lap::new(lap) };
        frame::seal::<Sound>(&mut record, header, BoardId(ID), slot);
    }
    let mut from = record.into_iter();
    altered(image, slot, || from.next().unwrap_or_default())
}

/// The image with noise in one slot.
pub fn with_noise(image: &Image, slot: u16, seed: u32) -> Image {
    // Knuth's multiplicative step is noise enough here; a fixed seed replays it.
    let mut state = seed.wrapping_mul(0x9E37_79B9) ^ u32::from(slot) << 8 | 1;
    altered(image, slot, || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    })
}

/// The image with one slot erased.
pub fn erased(image: &Image, slot: u16) -> Image {
    altered(image, slot, || 0xFF)
}
