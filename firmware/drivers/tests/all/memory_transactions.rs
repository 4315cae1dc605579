//! Pins the exact bus transactions of the memory drivers.

use embedded_hal::i2c::{Error, ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_drivers::memory::{Eeprom, Fram, PartKind, WiredPart};

const ABSENT: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);

/// What the bus must see for a write of `data` at `address`: one start, one stop.
fn write_at(device: u8, address: [u8; 2], data: &[u8]) -> Vec<Transaction> {
    vec![
        Transaction::transaction_start(device),
        Transaction::write(device, address.to_vec()),
        Transaction::write(device, data.to_vec()),
        Transaction::transaction_end(device),
    ]
}

/// Runs `steps` on an EEPROM whose bus must see exactly `expected`.
fn eeprom(part: WiredPart, expected: &[Transaction], steps: impl FnOnce(&mut Eeprom<&mut Mock>)) {
    let mut bus = Mock::new(expected);
    steps(&mut Eeprom::new(&mut bus, part));
    bus.done();
}

fn part_of(size_bytes: u32, page_bytes: u16) -> WiredPart {
    WiredPart::new(PartKind::Eeprom, 0x50, Geometry { size_bytes, page_bytes }).unwrap()
}

#[test]
fn a_read_is_the_address_high_byte_first_then_a_repeated_start() {
    let expected = [Transaction::write_read(0x50, vec![0x12, 0x34], vec![7, 8, 9])];
    eeprom(WiredPart::REFERENCE, &expected, |part| {
        let mut bytes = [0; 3];
        part.read(0x1234, &mut bytes).unwrap();
        assert_eq!(bytes, [7, 8, 9]);
    });
}

#[test]
fn a_program_within_a_page_is_one_transaction() {
    eeprom(WiredPart::REFERENCE, &write_at(0x50, [0x00, 0x41], &[1, 2, 3]), |part| {
        assert_eq!(part.begin_program(0x41, &[1, 2, 3]), Ok(3));
    });
}

#[test]
fn a_program_over_a_page_border_is_split_at_the_border() {
    for page_bytes in [16_u16, 32, 64, 128, 256] {
        // Five bytes, the first two on the page before.
        let border = 3 * page_bytes;
        let mut expected = write_at(0x50, (border - 2).to_be_bytes(), &[1, 2]);
        expected.extend(write_at(0x50, border.to_be_bytes(), &[3, 4, 5]));
        eeprom(part_of(32_768, page_bytes), &expected, |part| {
            let data = [1, 2, 3, 4, 5];
            let first = u32::from(border) - 2;
            assert_eq!(part.begin_program(first, &data), Ok(2));
            assert_eq!(part.begin_program(first + 2, &data[2..]), Ok(3));
        });
    }
}

#[test]
fn a_whole_page_goes_in_one_program_and_no_more() {
    for page_bytes in [16_usize, 32, 64, 128, 256] {
        let data: Vec<u8> = (0..=page_bytes).map(|byte| byte as u8).collect();
        let expected = write_at(0x50, [0, 0], &data[..page_bytes]);
        eeprom(part_of(32_768, page_bytes as u16), &expected, |part| {
            assert_eq!(part.begin_program(0, &data), Ok(page_bytes));
        });
    }
}

#[test]
fn the_last_byte_of_each_size_is_reached() {
    for size_bytes in [8_192_u32, 32_768, 65_536] {
        let last = ((size_bytes - 1) as u16).to_be_bytes();
        let mut expected = write_at(0x50, last, &[0xA5]);
        expected.push(Transaction::write_read(0x50, last.to_vec(), vec![0xA5]));
        eeprom(part_of(size_bytes, 32), &expected, |part| {
            assert_eq!(part.begin_program(size_bytes - 1, &[0xA5]), Ok(1));
            let mut byte = [0];
            part.read(size_bytes - 1, &mut byte).unwrap();
            assert_eq!(byte, [0xA5]);
        });
    }
}

#[test]
fn out_of_range_is_refused_without_bus_traffic() {
    let refused = Err(MediumError::OutOfRange);
    eeprom(WiredPart::REFERENCE, &[], |part| {
        for address in [32_767, 32_768, 0x1_0000, u32::MAX] {
            assert_eq!(part.read(address, &mut [0; 2]), refused);
            assert_eq!(part.begin_program(address, &[0; 2]), Err(MediumError::OutOfRange));
        }
        assert_eq!(part.begin_program(0, &vec![0; 32_769]), Err(MediumError::OutOfRange));
    });
    let mut bus = Mock::new(&[]);
    let mut fram = Fram::new(&mut bus, WiredPart::REFERENCE);
    assert_eq!(fram.read(32_768, &mut [0]), refused);
    assert_eq!(fram.begin_program(32_767, &[0; 2]), Err(MediumError::OutOfRange));
    bus.done();
}

#[test]
fn nothing_to_move_is_no_bus_traffic() {
    eeprom(WiredPart::REFERENCE, &[], |part| {
        assert_eq!(part.read(5, &mut []), Ok(()));
        assert_eq!(part.begin_program(5, &[]), Ok(0));
    });
    let mut bus = Mock::new(&[]);
    assert_eq!(Fram::new(&mut bus, WiredPart::REFERENCE).begin_program(5, &[]), Ok(0));
    bus.done();
}

#[test]
fn polling_reads_one_byte_until_the_part_acknowledges() {
    let expected = [
        Transaction::read(0x50, vec![0]).with_error(ABSENT),
        Transaction::read(0x50, vec![0]).with_error(ABSENT),
        Transaction::read(0x50, vec![0x5A]),
    ];
    eeprom(WiredPart::REFERENCE, &expected, |part| {
        assert_eq!(part.is_ready(), Ok(false));
        assert_eq!(part.is_ready(), Ok(false));
        assert_eq!(part.is_ready(), Ok(true));
    });
}

#[test]
fn the_address_pins_are_honoured() {
    let part = WiredPart::new(PartKind::Eeprom, 0x57, Geometry::REFERENCE).unwrap();
    let mut expected = write_at(0x57, [0, 0], &[1]);
    expected.push(Transaction::read(0x57, vec![0]));
    expected.push(Transaction::write_read(0x57, vec![0, 0], vec![1]));
    eeprom(part, &expected, |part| {
        assert_eq!(part.begin_program(0, &[1]), Ok(1));
        assert_eq!(part.is_ready(), Ok(true));
        part.read(0, &mut [0]).unwrap();
    });
}

#[test]
fn fram_writes_over_any_border_at_once_and_is_never_polled() {
    let data: Vec<u8> = (0..200).collect();
    let mut expected = write_at(0x50, [0x00, 0x3F], &data);
    expected.push(Transaction::write_read(0x50, vec![0x00, 0x3F], vec![0, 1]));
    let mut bus = Mock::new(&expected);
    let mut fram = Fram::new(&mut bus, WiredPart::REFERENCE);
    assert_eq!(fram.begin_program(0x3F, &data), Ok(200));
    assert_eq!(fram.is_ready(), Ok(true));
    let mut bytes = [9; 2];
    fram.read(0x3F, &mut bytes).unwrap();
    assert_eq!(bytes, [0, 1]);
    bus.done();
}

/// A bus on which everything fails in one way (the mock cannot fail inside a
/// transaction).
struct Broken(ErrorKind);

#[derive(Debug)]
struct Kind(ErrorKind);

impl Error for Kind {
    fn kind(&self) -> ErrorKind {
        self.0
    }
}

impl ErrorType for Broken {
    type Error = Kind;
}

impl I2c for Broken {
    fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), Kind> {
        Err(Kind(self.0))
    }
}

#[test]
fn every_error_kind_is_mapped() {
    let kinds = [
        (ABSENT, MediumError::NoAnswer),
        (ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data), MediumError::NoAnswer),
        (ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown), MediumError::NoAnswer),
        (ErrorKind::Bus, MediumError::Bus),
        (ErrorKind::ArbitrationLoss, MediumError::Bus),
        (ErrorKind::Overrun, MediumError::Bus),
        (ErrorKind::Other, MediumError::Bus),
    ];
    for (kind, expected) in kinds {
        let mut part = Eeprom::new(Broken(kind), WiredPart::REFERENCE);
        assert_eq!(part.read(0, &mut [0]), Err(expected));
        assert_eq!(part.begin_program(0, &[0]), Err(expected));
        let ready = if expected == MediumError::NoAnswer { Ok(false) } else { Err(expected) };
        assert_eq!(part.is_ready(), ready);
        let mut part = Fram::new(Broken(kind), WiredPart::REFERENCE);
        assert_eq!(part.read(0, &mut [0]), Err(expected));
        assert_eq!(part.begin_program(0, &[0]), Err(expected));
    }
}

#[test]
fn the_bus_is_lent_and_given_back() {
    let expected = [Transaction::write(0x3C, vec![0]), Transaction::write(0x3C, vec![1])];
    let mut part = Eeprom::new(Mock::new(&expected), WiredPart::REFERENCE);
    part.bus().write(0x3C, &[0]).unwrap();
    let mut part = Fram::new(part.release(), WiredPart::REFERENCE);
    part.bus().write(0x3C, &[1]).unwrap();
    part.release().done();
}
