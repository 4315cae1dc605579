//! A board that boots from arbitrary bytes.
//!
//! [`run`] reads any byte string as a memory part and a list of things that happen, and panics
//! when the board breaks one of these rules:
//!
//! - boot ends: with counters or with a named fault, in a bounded number of polls;
//! - the board never spins: polls between two moments are bounded;
//! - a lifetime figure never goes down while the board is powered;
//! - after all that, new stitches are counted, each once, even with a dead part.
//!
//! On request records get the right CRC, so that a fuzzer gets past that check. Their content
//! may then be forged, so no rule is about the figures themselves.
//!
//! Both a property test and the `cargo fuzz` target use it; the first needs no nightly
//! compiler.

use std::sync::OnceLock;

use shaftbook_core::authority::{EightDigits, Key, Purpose, reply};
use shaftbook_core::board::{Board, Command, Fitting};
use shaftbook_core::codec::frame::{Header, RECORD_BYTES, Record, RecordKind, seal};
use shaftbook_core::component::{Component, ComponentKind, Measure, Role};
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::FaultSet;
use shaftbook_core::identity::BoardId;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::ledger::CarriedIn;
use shaftbook_core::medium::Geometry;
use shaftbook_core::rules::Sound;
use shaftbook_core::serial::Lap;
use shaftbook_core::service::Authorised;
use shaftbook_core::settings::Settings;
use shaftbook_core::store::ring::Ring;
use shaftbook_drivers::memory::{PartKind, WiredPart};

use crate::bench::core::Core;
use crate::bench::{Bench, Meant};
use crate::bus::{Answers, Bus, Part, Tear, Timing};

const ID: BoardId = BoardId(0x5AFE_B00C);
const KEY: [u8; 32] = [7; 32];
/// Polls that may be needed within one [`Held::run_for`]: a full scan of the
/// largest part reads each of 1,024 slots a few times; the rest is far below.
const POLLS_MAX: u32 = 30_000;
/// Longest boot: full scan of 64 KiB at 400 kHz, and retries.
const BOOT_US: u64 = 6_000_000;
/// Things that happen in one run at most.
const STEPS_MAX: usize = 48;
/// Parts that are there. The last is too small for a board to be wired for: it sits behind
/// the reference part's driver.
const SHAPES: [Geometry; 6] = [
    Geometry::REFERENCE,
    Geometry { size_bytes: 8_192, page_bytes: 16 },
    Geometry { size_bytes: 8_192, page_bytes: 32 },
    Geometry { size_bytes: 65_536, page_bytes: 128 },
    Geometry { size_bytes: 16_384, page_bytes: 256 },
    Geometry { size_bytes: 4_096, page_bytes: 64 },
];

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ImageOutcome {
    /// The lifetime counters were known at the end.
    pub knows_lifetime: bool,
    /// The faults shown at the end.
    pub faults: FaultSet,
}

/// Takes a byte string apart; all zeros when it is used up.
struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn byte(&mut self) -> u8 {
        let Some((first, rest)) = self.0.split_first() else { return 0 };
        self.0 = rest;
        *first
    }

    fn word(&mut self) -> u16 {
        u16::from_le_bytes([self.byte(), self.byte()])
    }

    fn wide(&mut self) -> u32 {
        u32::from(self.word()) | u32::from(self.word()) << 16
    }
}

/// Runs the case that `bytes` describes.
///
/// # Panics
/// When the board breaks a rule of this module.
#[must_use]
pub fn run(bytes: &[u8]) -> ImageOutcome {
    let mut bytes = Bytes(bytes);
    let image = image(&mut bytes);
    let wiring = bytes.byte();
    let wired = match wiring {
        // Wired for another part than the one that is there.
        0xF0.. => SHAPES[usize::from(wiring) % SHAPES.len()],
        _ => image.geometry,
    };
    let part = Part::from_image(image.bytes, image.geometry).expect("a shape a part can have");
    let answers = match wiring {
        0xEE => Answers::Nobody,
        0xED => Answers::BusHeld,
        0xEC => Answers::Stranger,
        _ => Answers::Part,
    };
    let mut held = Held::power_up(part, wired, answers);
    for _ in 0..STEPS_MAX {
        if bytes.0.is_empty() {
            break;
        }
        held.step(&mut bytes);
    }
    held.finish()
}

struct Image {
    geometry: Geometry,
    bytes: Vec<u8>,
}

/// The bytes of a part: a base, and records laid over it.
fn image(from: &mut Bytes<'_>) -> Image {
    let geometry = SHAPES[usize::from(from.byte()) % SHAPES.len()];
    let size = geometry.size_bytes as usize;
    let bytes = match from.byte() % 4 {
        0 => used_image(geometry).to_vec(),
        1 => vec![0xFF; size],
        2 => vec![0; size],
        _ => garbage(size, from.wide()),
    };
    let mut image = Image { geometry, bytes };
    for _ in 0..from.byte() % 24 {
        lay_over(&mut image, from);
    }
    image
}

/// Changes one slot of the image: raw, or sealed with the right CRC.
fn lay_over(image: &mut Image, from: &mut Bytes<'_>) {
    let how = from.byte();
    let Some(ring) = Ring::new(image.geometry) else { return };
    let slot = from.word() % ring.slots();
    let at = ring.address(slot) as usize;
    let mut record: Record = [0; RECORD_BYTES];
    record.copy_from_slice(&image.bytes[at..at + RECORD_BYTES]);
    let mut header = Header::decode(&record);
    match how % 4 {
        // Any bytes, left as they are or sealed below.
        0 => record.fill_with(|| from.byte()),
        // Some bytes of what is there changed.
        1 => {
            for _ in 0..=from.byte() % 4 {
                record[usize::from(from.byte()) % RECORD_BYTES] = from.byte();
            }
        }
        // A record from elsewhere.
        2 => {
            let other = ring.address(from.word() % ring.slots()) as usize;
            record.copy_from_slice(&image.bytes[other..other + RECORD_BYTES]);
            header = Header::decode(&record);
        }
        // The same record in another lap.
        _ => {
            header = header.map(|h| Header { lap: h.lap.plus(u32::from(from.byte())), ..h });
        }
    }
    if how & 0x10 != 0 {
        let kind = [RecordKind::Checkpoint, RecordKind::Entry, RecordKind::Snapshot]
            [usize::from(how >> 5) % 3];
        header = Some(Header { kind, lap: Lap::new(from.wide()) });
    }
    if let (true, Some(header)) = (how & 0x08 == 0, header) {
        seal::<Sound>(&mut record, header, ID, slot);
    }
    image.bytes[at..at + RECORD_BYTES].copy_from_slice(&record);
}

/// xorshift32: the same seed, the same bytes.
fn garbage(size: usize, seed: u32) -> Vec<u8> {
    let mut state = seed | 1;
    std::iter::repeat_with(|| {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        (state >> 24) as u8
    })
    .take(size)
    .collect()
}

/// The part of a board that was fitted, used, serviced and switched off.
fn used_image(geometry: Geometry) -> &'static [u8] {
    static IMAGES: OnceLock<Vec<Vec<u8>>> = OnceLock::new();
    let images =
        IMAGES.get_or_init(|| SHAPES.iter().map(|shape| make_used_image(*shape)).collect());
    let place = SHAPES.iter().position(|shape| *shape == geometry).unwrap_or(0);
    &images[place]
}

fn make_used_image(geometry: Geometry) -> Vec<u8> {
    let part = Part::blank(geometry).expect("a shape a part can have");
    let mut held = Held::power_up(part, geometry, Answers::Part);
    held.ask(Command::Fit { fitting: fitting(), reply: None });
    held.run_for(500_000);
    for lap in 0..4 {
        held.pulses(40, 70_000);
        held.ask(Command::Renew { components: ComponentSet::only(0), reply: None });
        held.run_for(61_000_000);
        held.serve();
        held.run_for(500_000);
        if lap == 1 {
            held.cut();
        }
    }
    held.bench.bus.part().cells().to_vec()
}

/// A fitting with a component of each role.
fn fitting() -> Fitting {
    let component = |kind, measure, renewed_by| Component {
        kind,
        measure,
        renewed_by,
        with_service: renewed_by == Role::Engineer,
        notice: 900,
        due: 1_000,
    };
    let components = [
        component(ComponentKind::FIXED_KNIFE, Measure::Trims, Role::Operator),
        component(ComponentKind::BELT, Measure::Running, Role::Engineer),
    ];
    let carried_in = CarriedIn { hours: 1_234, stitches: 56_000_000, trims: 700_000 };
    Fitting {
        settings: Settings::default(),
        components: components.into_iter().collect(),
        carried_in,
        key: Key::new(KEY),
    }
}

/// The bare core on the bench, held to the rules of this module.
struct Held {
    bench: Bench<Core>,
    last: Option<Counters>,
}

impl Held {
    fn power_up(part: Part, wired: Geometry, answers: Answers) -> Self {
        let wired = WiredPart::new(PartKind::Eeprom, 0x50, wired).unwrap_or(WiredPart::REFERENCE);
        let mut bus = Bus::new(part, Timing::FAST_MODE, 1);
        bus.set_answers(answers);
        let bench = Bench::wired(bus, ID, wired, Settings::default());
        let mut held = Self { bench, last: None };
        held.boot();
        held
    }

    fn board(&self) -> &Board {
        self.bench.board()
    }

    /// Lets the board boot and checks that boot ends.
    fn boot(&mut self) {
        self.run_for(BOOT_US);
        assert!(
            self.board().lifetime(self.bench.now()).is_some() || !self.board().faults().is_empty(),
            "boot gave neither counters nor a fault"
        );
    }

    /// Polls as a main loop does, for `us` of simulated time.
    fn run_for(&mut self, us: u64) {
        let end_us = self.bench.now_us + us;
        for polls in 0.. {
            assert!(polls < POLLS_MAX, "the board spins: {:?}", self.board().faults());
            let polled = self.bench.poll_once(&mut |_| {});
            let now_us = self.bench.now_us;
            if now_us >= end_us {
                break;
            }
            if polled.effect.is_none() {
                self.bench.now_us = now_us.max(polled.deadline.as_us().min(end_us));
            }
        }
        self.bench.effects.clear();
        self.check_lifetime();
    }

    fn check_lifetime(&mut self) {
        let lifetime = self.board().lifetime(self.bench.now());
        if let (Some(before), Some(after)) = (&self.last, &lifetime) {
            assert!(before.at_most(after), "lifetime went down: {before:?} {after:?}");
        }
        assert!(self.last.is_none() || lifetime.is_some(), "lifetime was forgotten");
        self.last = lifetime;
    }

    fn input(&mut self, input: Input) {
        // What is fed in is noise as often as not: this module counts for itself.
        self.bench.feed(self.bench.now(), input, Meant::Nothing);
    }

    /// `count` shaft pulses, one every `period_us`.
    fn pulses(&mut self, count: u32, period_us: u64) {
        for _ in 0..count {
            self.input(Input::Shaft(Level::Active));
            self.run_for(period_us / 2);
            self.input(Input::Shaft(Level::Inactive));
            self.run_for(period_us - period_us / 2);
        }
    }

    /// Asks for something; a refusal is an answer too. The bench is not told: forged figures
    /// have no truth.
    fn ask(&mut self, command: Command) {
        let now = self.bench.now();
        let _ = self.bench.device.board_mut().request(now, command);
    }

    /// A service with the engineer's right reply.
    fn serve(&mut self) {
        if let Ok(challenge) = self.bench.challenge(Authorised::Service) {
            let ledger = self.board().ledger();
            let digits = reply(&ledger.key, Purpose::Service, ledger.services, challenge);
            self.ask(Command::Service { reply: Some(digits) });
        }
    }

    /// Power goes and comes back: all RAM is lost.
    fn cut(&mut self) {
        self.bench = self.bench.powered_again(Tear::Old);
        self.last = None;
        self.boot();
    }

    /// One thing that happens.
    fn step(&mut self, bytes: &mut Bytes<'_>) {
        match bytes.byte() % 12 {
            0 => self.pulses(u32::from(bytes.byte() % 16), 1_000 + u64::from(bytes.word())),
            1 => self.input(Input::Shaft(Level::from_bool(bytes.byte() & 1 == 1))),
            2 => self.input(Input::Trim(Level::from_bool(bytes.byte() & 1 == 1))),
            3 => self.input(Input::NeedleCode(bytes.byte())),
            4 => self.input(Input::NeedleLevel(bytes.word())),
            5 => self.input(Input::Jump(Level::from_bool(bytes.byte() & 1 == 1))),
            6 => self.input(Input::PowerFail(Level::from_bool(bytes.byte() & 1 == 1))),
            7 => self.cut(),
            8 => self.ask(Command::Fit { fitting: fitting(), reply: digits(bytes) }),
            9 => {
                let components = ComponentSet(u32::from(bytes.word()));
                self.ask(Command::Renew { components, reply: digits(bytes) });
            }
            10 => self.serve(),
            _ => self.bench.device.board_mut().missed_edges(u32::from(bytes.byte())),
        }
        self.run_for(u64::from(bytes.byte()) * 10_000);
    }

    /// New stitches are counted, each once, whatever came before.
    fn finish(mut self) -> ImageOutcome {
        self.input(Input::Jump(Level::Inactive));
        self.input(Input::PowerFail(Level::Inactive));
        self.input(Input::Shaft(Level::Inactive));
        self.run_for(1_000_000);
        let settings = *self.board().settings();
        let before = self.board().session(self.bench.now());
        let stitches = 3;
        let pulses = stitches * u32::from(settings.pulses_per_revolution);
        // Slow enough for the longest debounce and for the slowest top speed.
        let period_us = u64::from(settings.shortest_period_us()) * 2 + 200_000;
        self.pulses(pulses, period_us);
        self.run_for(1_000_000);
        let counted = self.board().session(self.bench.now()).since(&before).stitches();
        assert_eq!(counted, u64::from(stitches), "{settings:?} {:?}", self.board().faults());
        self.outcome()
    }

    fn outcome(&self) -> ImageOutcome {
        ImageOutcome {
            knows_lifetime: self.board().lifetime(self.bench.now()).is_some(),
            faults: self.board().faults(),
        }
    }
}

/// A reply that is right only by luck, or none.
fn digits(bytes: &mut Bytes<'_>) -> Option<EightDigits> {
    match bytes.byte() {
        0 => None,
        _ => EightDigits::new(bytes.wide() % 100_000_000),
    }
}
