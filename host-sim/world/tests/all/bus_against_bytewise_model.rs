//! The bus moves bytes in blocks; this compares it with an independent model that
//! takes each byte by itself, over random transactions, cuts and waits.

use embedded_hal::i2c::{I2c, Operation};
use proptest::prelude::*;
use shaftbook_core::medium::Geometry;
use shaftbook_world::bus::{Bus, BusError, Part, Tear, Timing};

const PART: u8 = 0x50;

/// A 24-series EEPROM, one byte at a time, with every cycle as long as the longest.
struct Bytewise {
    cells: Vec<u8>,
    page_bytes: usize,
    counter: usize,
    /// Bytes since the start of this write.
    received: usize,
    high: usize,
    /// Open write: (address, byte) in the order received.
    open: Vec<(usize, u8)>,
    /// Under way: what is being programmed, and until when.
    cycle: Option<(Vec<(usize, u8)>, u64)>,
    now_ns: u64,
}

impl Bytewise {
    fn settle(&mut self) {
        if self.cycle.as_ref().is_some_and(|(_, end_ns)| *end_ns <= self.now_ns) {
            for (address, byte) in self.cycle.take().unwrap().0 {
                self.cells[address] = byte;
            }
        }
    }

    fn start(&mut self) -> bool {
        self.now_ns += 2_500 + 22_500;
        self.settle();
        self.received = 0;
        if self.cycle.is_some() {
            self.now_ns += 5_000;
            return false;
        }
        self.open.clear();
        true
    }

    fn take(&mut self, byte: u8) {
        self.now_ns += 22_500;
        match self.received {
            0 => self.high = usize::from(byte) << 8,
            1 => self.counter = (self.high | usize::from(byte)) % self.cells.len(),
            _ => {
                self.open.push((self.counter, byte));
                let page = self.counter / self.page_bytes;
                self.counter = page * self.page_bytes + (self.counter + 1) % self.page_bytes;
            }
        }
        self.received += 1;
    }

    fn give(&mut self) -> u8 {
        self.now_ns += 22_500;
        let byte = self.cells[self.counter];
        self.counter = (self.counter + 1) % self.cells.len();
        byte
    }

    fn stop(&mut self) {
        self.now_ns += 5_000;
        if !self.open.is_empty() {
            self.cycle = Some((std::mem::take(&mut self.open), self.now_ns + 5_000_000));
        }
    }

    fn transaction(&mut self, steps: &[Step]) -> (bool, Vec<u8>) {
        let mut read = Vec::new();
        let mut last = None;
        for step in steps {
            let direction = matches!(step, Step::Write(_));
            if last != Some(direction) {
                if !self.start() {
                    return (false, Vec::new());
                }
                last = Some(direction);
            }
            match step {
                Step::Write(bytes) => bytes.iter().for_each(|byte| self.take(*byte)),
                Step::Read(count) => read.extend((0..*count).map(|_| self.give())),
            }
        }
        self.stop();
        (true, read)
    }
}

#[derive(Clone, Debug)]
enum Step {
    Write(Vec<u8>),
    Read(usize),
}

#[derive(Clone, Debug)]
enum Action {
    Transaction(Vec<Step>),
    Wait(u64),
}

fn action() -> impl Strategy<Value = Action> {
    // Addresses near page borders and the end of the part, and any others.
    let address = prop_oneof![
        any::<u16>(),
        (0..8_u16, 0..6_u16).prop_map(|(page, back)| (page * 64).wrapping_sub(back)),
    ];
    let addressed = (address, prop::collection::vec(any::<u8>(), 0..150)).prop_map(|(at, data)| {
        let mut bytes = at.to_be_bytes().to_vec();
        bytes.extend(data);
        Step::Write(bytes)
    });
    let step = prop_oneof![
        6 => addressed,
        2 => (1..200_usize).prop_map(Step::Read),
        1 => prop::collection::vec(any::<u8>(), 1..4).prop_map(Step::Write),
    ];
    prop_oneof![
        3 => prop::collection::vec(step, 1..4).prop_map(Action::Transaction),
        2 => (0..6_000_000_u64).prop_map(Action::Wait),
    ]
}

fn run(bus: &mut Bus, steps: &[Step]) -> (Result<(), BusError>, Vec<u8>) {
    let mut buffers: Vec<Vec<u8>> = steps
        .iter()
        .map(|step| match step {
            Step::Read(count) => vec![0; *count],
            Step::Write(_) => Vec::new(),
        })
        .collect();
    let mut operations: Vec<Operation<'_>> = steps
        .iter()
        .zip(&mut buffers)
        .map(|(step, buffer)| match step {
            Step::Write(bytes) => Operation::Write(bytes),
            Step::Read(_) => Operation::Read(buffer),
        })
        .collect();
    let outcome = bus.transaction(PART, &mut operations);
    (outcome, buffers.concat())
}

proptest! {
    #![proptest_config(crate::common::fixed_cases())]

    #[test]
    fn blocks_and_bytes_agree(
        page_bytes in prop::sample::select(vec![16_u16, 32, 64, 128, 256]),
        actions in prop::collection::vec(action(), 1..40),
    ) {
        let geometry = Geometry { size_bytes: 8_192, page_bytes };
        let image: Vec<u8> = (0..8_192_u32).map(|address| (address % 253) as u8).collect();
        let timing = Timing { program_min_ns: 5_000_000, ..Timing::FAST_MODE };
        let part = Part::from_image(image.clone(), geometry).unwrap();
        let mut bus = Bus::new(part, timing, 0);
        let mut model = Bytewise {
            cells: image,
            page_bytes: usize::from(page_bytes),
            counter: 0,
            received: 0,
            high: 0,
            open: Vec::new(),
            cycle: None,
            now_ns: 0,
        };
        for action in &actions {
            match action {
                Action::Wait(ns) => {
                    bus.advance_to(bus.now_ns() + ns);
                    model.now_ns += ns;
                    model.settle();
                }
                Action::Transaction(steps) => {
                    let (answered, read) = model.transaction(steps);
                    let (outcome, found) = run(&mut bus, steps);
                    prop_assert_eq!(outcome.is_ok(), answered);
                    if answered {
                        prop_assert_eq!(found, read);
                    }
                }
            }
            prop_assert_eq!(bus.now_ns(), model.now_ns);
            // A cut now: old before the cycle ends, new after it.
            prop_assert!(bus.page_under_way().is_none() || bus.cut_image(Tear::Old) == model.cells);
            model.settle();
            if model.cycle.is_none() {
                prop_assert!(bus.cut_image(Tear::Erased) == model.cells);
            }
        }
    }
}
