//! Pins the exact bytes that the display driver sends.
//!
//! Source of the command bytes: SSD1306 datasheet rev. 1.1, table 9-1 and section 8.1.5.2
//! (control byte: 00 before commands, 40 before data), both from memory.

use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use shaftbook_drivers::display::{
    Display, DisplayError, STEP_BUS_US_MAX, STEP_TRANSACTIONS_MAX, STEP_WIRE_BYTES_MAX,
    TILE_BYTES_MAX, WakeStep,
};

/// The display's bus address, pin SA0 low.
const DEVICE: u8 = 0x3C;

/// One transaction for each command.
fn commands(all: &[&[u8]]) -> Vec<Transaction> {
    all.iter().map(|bytes| Transaction::write(DEVICE, [&[0x00], *bytes].concat())).collect()
}

fn data(bytes: &[u8]) -> Transaction {
    Transaction::write(DEVICE, [&[0x40], bytes].concat())
}

fn sends(expected: &[Transaction], steps: impl FnOnce(&mut Display<&mut Mock>)) {
    let mut bus = Mock::new(expected);
    steps(&mut Display::new(&mut bus));
    bus.done();
}

#[test]
fn waking_is_two_steps_that_leave_the_display_dark_and_in_page_mode() {
    let clock = commands(&[
        &[0xAE],       // display off
        &[0xD5, 0x80], // clock: divide by 1, frequency 8 (reset value)
        &[0xA8, 63],   // 64 rows
        &[0xD3, 0],    // no offset
        &[0x40],       // start line 0
        &[0x8D, 0x14], // charge pump on
        &[0x20, 0x02], // page addressing mode
    ]);
    sends(&clock, |display| {
        assert_eq!(display.wake(WakeStep::default()), Ok(Some(WakeStep::Drive)));
    });
    let drive = commands(&[
        &[0xDA, 0x12], // rows wired in turn (128 x 64 glass)
        &[0xA1],       // column 127 is segment 0
        &[0xC8],       // rows scanned from the last
        &[0xD9, 0x22], // pre-charge 2 and 2 (reset value)
        &[0x81, 0x7F], // contrast (reset value)
        &[0xDB, 0x20], // deselect level 0.77 Vcc (reset value)
        &[0xA4],       // show the memory
        &[0xA6],       // 1 is lit
        &[0x2E],       // no scrolling
    ]);
    sends(&drive, |display| assert_eq!(display.wake(WakeStep::Drive), Ok(None)));
}

#[test]
fn a_tile_is_its_page_its_column_and_data_in_sixteens() {
    let tile: Vec<u8> = (1..=32).collect();
    let mut expected = commands(&[&[0xB5], &[0x00, 0x16]]); // page 5, column 0x60
    expected.extend([data(&tile[..16]), data(&tile[16..])]);
    sends(&expected, |display| assert_eq!(display.show_tile(96, 5, &tile), Ok(())));

    let mut expected = commands(&[&[0xB0], &[0x0F, 0x17]]);
    expected.push(data(&[0xA5]));
    sends(&expected, |display| assert_eq!(display.show_tile(127, 0, &[0xA5]), Ok(())));
}

#[test]
fn the_light_goes_on_and_off_and_has_a_level() {
    let expected = commands(&[&[0xAF], &[0xAE], &[0x81, 0x10]]);
    sends(&expected, |display| {
        assert_eq!(display.switch_on(), Ok(()));
        assert_eq!(display.switch_off(), Ok(()));
        assert_eq!(display.set_contrast(0x10), Ok(()));
    });
}

#[test]
fn a_tile_that_is_not_wholly_on_the_screen_is_refused_without_bus_traffic() {
    let tile = [0; TILE_BYTES_MAX + 1];
    let cases: [(u8, u8, &[u8]); 8] = [
        (0, 8, &tile[..1]),
        (0, 255, &tile[..1]),
        (128, 0, &tile[..1]),
        (255, 0, &tile[..1]),
        (255, 0, &[]),
        (97, 0, &tile[..32]),
        (0, 0, &tile),
        (0, 0, &[]),
    ];
    sends(&[], |display| {
        for (column, page, bytes) in cases {
            let answer = display.show_tile(column, page, bytes);
            assert_eq!(answer, Err(DisplayError::OutOfRange), "{column} {page} {}", bytes.len());
        }
    });
}

/// A bus that counts, and fails from a transaction on.
#[derive(Default)]
struct Counting {
    transactions: u64,
    wire_bytes: u64,
    fails: Option<(u64, ErrorKind)>,
}

#[derive(Debug)]
struct Kind(ErrorKind);

impl Error for Kind {
    fn kind(&self) -> ErrorKind {
        self.0
    }
}

impl ErrorType for Counting {
    type Error = Kind;
}

impl I2c for Counting {
    fn transaction(&mut self, _: u8, operations: &mut [Operation<'_>]) -> Result<(), Kind> {
        if let Some((at, kind)) = self.fails
            && self.transactions >= at
        {
            return Err(Kind(kind));
        }
        self.transactions += 1;
        self.wire_bytes += 1; // the address
        for operation in operations {
            self.wire_bytes += match operation {
                Operation::Read(bytes) => bytes.len() as u64,
                Operation::Write(bytes) => bytes.len() as u64,
            };
        }
        Ok(())
    }
}

type Step = fn(&mut Display<&mut Counting>) -> Result<(), DisplayError>;

const STEPS: [Step; 6] = [
    |display| display.wake(WakeStep::Clock).map(|_| ()),
    |display| display.wake(WakeStep::Drive).map(|_| ()),
    |display| display.show_tile(0, 0, &[0; TILE_BYTES_MAX]),
    |display| display.switch_on(),
    |display| display.switch_off(),
    |display| display.set_contrast(1),
];

/// The constants that the documents and the proofs lean on are what is sent.
#[test]
fn the_longest_step_is_as_long_as_it_says() {
    let costs = STEPS.map(|step| {
        let mut bus = Counting::default();
        step(&mut Display::new(&mut bus)).unwrap();
        // 9 clock periods of 2.5 us a byte, 3 for each start and stop.
        let bus_us = (bus.wire_bytes * 9 + bus.transactions * 3) as f64 * 2.5;
        (bus.wire_bytes, bus.transactions, bus_us)
    });
    println!("bytes on the wire, transactions, us at 400 kHz: {costs:?}");
    assert_eq!(costs.iter().map(|cost| cost.0).max(), Some(STEP_WIRE_BYTES_MAX));
    assert_eq!(costs.iter().map(|cost| cost.1).max(), Some(STEP_TRANSACTIONS_MAX));
    let longest_us = costs.iter().map(|cost| cost.2).fold(0.0, f64::max);
    assert!((longest_us - 997.5).abs() < 1e-9 && longest_us <= STEP_BUS_US_MAX as f64);
}

#[test]
fn an_error_at_any_transaction_of_any_step_ends_it_and_is_named() {
    let kinds = [
        (ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address), DisplayError::NoAnswer),
        (ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data), DisplayError::NoAnswer),
        (ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown), DisplayError::NoAnswer),
        (ErrorKind::Bus, DisplayError::Bus),
        (ErrorKind::ArbitrationLoss, DisplayError::Bus),
        (ErrorKind::Overrun, DisplayError::Bus),
        (ErrorKind::Other, DisplayError::Bus),
    ];
    for step in STEPS {
        let mut sound = Counting::default();
        step(&mut Display::new(&mut sound)).unwrap();
        for at in 0..sound.transactions {
            for (kind, expected) in kinds {
                let mut bus = Counting { fails: Some((at, kind)), ..Counting::default() };
                assert_eq!(step(&mut Display::new(&mut bus)), Err(expected));
                assert_eq!(bus.transactions, at, "nothing is sent after the error");
            }
        }
    }
}

#[test]
fn the_bus_is_given_back() {
    let expected = commands(&[&[0xAF]]);
    let mut display = Display::new(Mock::new(&expected));
    display.switch_on().unwrap();
    display.release().done();
}
