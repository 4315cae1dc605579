//! The simulated part keeps the rules of the datasheets. Each test names its source;
//! "M" is from memory (see `docs/FAULT_MODEL.md`).

use embedded_hal::i2c::{I2c, Operation};
use shaftbook_core::medium::Geometry;
use shaftbook_drivers::memory::PartKind;
use shaftbook_world::bus::{Bus, BusError, Part, Timing};

const PART: u8 = 0x50;
const REFUSED: Result<(), BusError> = Err(BusError::NotAcknowledged);

/// A part whose byte at address `a` is `a` mod 251, on a bus.
fn bus() -> Bus {
    Bus::new(Part::from_image(numbered(32_768), Geometry::REFERENCE).unwrap(), Timing::FAST_MODE, 7)
}

fn numbered(size_bytes: u32) -> Vec<u8> {
    (0..size_bytes).map(|address| (address % 251) as u8).collect()
}

/// One write transaction, without waiting for its cycle.
fn write(bus: &mut Bus, address: u16, data: &[u8]) -> Result<(), BusError> {
    bus.transaction(PART, &mut [Operation::Write(&address.to_be_bytes()), Operation::Write(data)])
}

fn wait(bus: &mut Bus) {
    bus.advance_to(bus.now_ns() + 5_000_000);
}

fn read<const N: usize>(bus: &mut Bus, address: u16) -> [u8; N] {
    let mut bytes = [0; N];
    bus.write_read(PART, &address.to_be_bytes(), &mut bytes).unwrap();
    bytes
}

/// AT24C256C §7.1: the low six address bits wrap, earlier bytes of the page change.
#[test]
fn a_write_over_the_end_of_a_page_wraps_to_its_beginning() {
    let mut bus = bus();
    let before = bus.part().cells().to_vec();
    write(&mut bus, 0x7E, &[201, 202, 203, 204, 205]).unwrap();
    wait(&mut bus);
    let mut after = before.clone();
    after[0x7E..0x80].copy_from_slice(&[201, 202]);
    after[0x40..0x43].copy_from_slice(&[203, 204, 205]);
    assert!(bus.part().cells() == after);
}

/// AT24C256C §7.1: of more bytes than a page holds, the last ones stay.
#[test]
fn of_more_than_a_page_the_last_bytes_stay() {
    let mut bus = bus();
    let data: Vec<u8> = (100..170).collect();
    write(&mut bus, 0x45, &data).unwrap();
    wait(&mut bus);
    // 70 bytes from place 5: places 5 to 10 were written twice.
    let page: [u8; 64] = read(&mut bus, 0x40);
    assert_eq!(page[5..11], [164, 165, 166, 167, 168, 169]);
    assert_eq!(page[11], 106);
    assert_eq!(page[63], 158);
    assert_eq!(page[..5], [159, 160, 161, 162, 163]);
}

/// AT24C256C §7.1: the cycle begins at Stop and not before. M: a start within a write
/// abandons it.
#[test]
fn a_write_without_a_stop_of_its_own_programs_nothing() {
    let mut bus = bus();
    let mut byte = [0];
    bus.transaction(PART, &mut [Operation::Write(&[0, 9, 0xEE]), Operation::Read(&mut byte)])
        .unwrap();
    assert_eq!(read(&mut bus, 9), [9]);
    assert_eq!(bus.tally().cycles, 0);
}

/// M: an address without data begins no cycle, so the part answers at once.
#[test]
fn an_address_without_data_begins_no_cycle() {
    let mut bus = bus();
    bus.write(PART, &[0x01, 0x00]).unwrap();
    let mut bytes = [0; 2];
    bus.read(PART, &mut bytes).unwrap();
    assert_eq!(bytes, [256_u32 % 251, 257 % 251].map(|b| b as u8));
    assert_eq!(bus.part().wear().cycles(), 0);
}

/// AT24C256C §7.2: no answer until the cycle ends; 5 ms at most (M).
#[test]
fn the_part_answers_nothing_until_its_cycle_ends() {
    let mut shortest_ns = u64::MAX;
    let mut longest_ns = 0;
    for seed in 0..200 {
        let part = Part::blank(Geometry::REFERENCE).unwrap();
        let mut bus = Bus::new(part, Timing::FAST_MODE, seed);
        write(&mut bus, 0, &[1]).unwrap();
        let stop_ns = bus.now_ns();
        let mut refusals = 0;
        while bus.read(PART, &mut [0]) == REFUSED {
            assert_eq!(bus.part().cells()[0], 0xFF, "not programmed yet");
            refusals += 1;
        }
        let took_ns = bus.now_ns() - stop_ns;
        assert_eq!(bus.tally().refused, refusals);
        assert_eq!(bus.part().cells()[0], 1);
        (shortest_ns, longest_ns) = (shortest_ns.min(took_ns), longest_ns.max(took_ns));
    }
    // One poll more than the cycle at most: 22.5 + 2 × 2.5 + 5 µs, and the answer.
    assert!((3_000_000..3_100_000).contains(&shortest_ns), "{shortest_ns}");
    assert!((4_900_000..=5_060_000).contains(&longest_ns), "{longest_ns}");
}

#[test]
fn a_cycle_ends_exactly_when_its_time_is_over() {
    let timing = Timing { program_min_ns: 5_000_000, ..Timing::FAST_MODE };
    let mut bus = Bus::new(Part::blank(Geometry::REFERENCE).unwrap(), timing, 1);
    write(&mut bus, 0, &[1]).unwrap();
    let end_ns = bus.now_ns() + 5_000_000;
    bus.advance_to(end_ns - 1);
    assert_eq!((bus.part().cells()[0], bus.page_under_way()), (0xFF, Some(0)));
    bus.advance_to(end_ns);
    assert_eq!((bus.part().cells()[0], bus.page_under_way()), (1, None));
}

/// AT24C256C §7.2: inputs are disabled, so a write in the cycle changes nothing.
#[test]
fn a_write_to_a_busy_part_is_refused_and_harmless() {
    let mut bus = bus();
    write(&mut bus, 0, &[1, 2]).unwrap();
    assert_eq!(write(&mut bus, 0, &[8, 9]), REFUSED);
    wait(&mut bus);
    assert_eq!(read(&mut bus, 0), [1, 2]);
    assert_eq!(bus.part().wear().cycles(), 1);
}

/// M24256-D cycling with ECC, CAT24C256 notes: one byte cycles its group of four.
#[test]
fn one_byte_wears_its_group_of_four_and_its_page() {
    let mut bus = bus();
    for _ in 0..3 {
        write(&mut bus, 5, &[1]).unwrap();
        wait(&mut bus);
    }
    write(&mut bus, 3, &[1, 2]).unwrap();
    wait(&mut bus);
    let wear = bus.part().wear();
    assert_eq!(wear.group_cycles()[..3], [1, 4, 0]);
    assert_eq!(wear.page_cycles()[..2], [4, 0]);
    assert_eq!(wear.hottest_group_cycles(), 4);
    assert_eq!(wear.cycles(), 4);
}

/// The same, over a page border: the groups at both ends of the page, none beyond.
#[test]
fn a_wrapped_write_wears_both_ends_of_its_page() {
    let mut bus = bus();
    write(&mut bus, 0x7E, &[1, 2, 3]).unwrap();
    wait(&mut bus);
    let groups = bus.part().wear().group_cycles();
    let worn: Vec<usize> = (0..groups.len()).filter(|group| groups[*group] > 0).collect();
    assert_eq!(worn, [0x40 / 4, 0x7C / 4]);
    assert_eq!(bus.part().wear().page_cycles()[..3], [0, 1, 0]);
    // All the way round, from the middle of a group and with bytes to spare.
    for count in [64, 66] {
        let mut bus = self::bus();
        write(&mut bus, 0x45, &vec![9; count]).unwrap();
        let groups = bus.part().wear().group_cycles();
        assert_eq!(groups[15..33], [[0].as_slice(), &[1; 16], &[0]].concat(), "{count}");
    }
}

/// AT24C512C §7.5: sampled at Stop, acknowledged, nothing programmed.
#[test]
fn a_protected_write_is_acknowledged_and_programs_nothing() {
    let mut bus = bus();
    bus.part_mut().set_write_protected(true);
    assert_eq!(write(&mut bus, 0x40, &[200; 64]), Ok(()));
    // No cycle: the part answers at once.
    assert_eq!(read(&mut bus, 0x40), [64, 65, 66]);
    assert_eq!(bus.part().wear().cycles(), 0);
    assert_eq!(bus.part().damaged_pages(), [1], "a sound part would hold the bytes");
    // The pin counts at Stop only: raised during the cycle it changes nothing.
    bus.part_mut().set_write_protected(false);
    write(&mut bus, 0x80, &[200]).unwrap();
    bus.part_mut().set_write_protected(true);
    wait(&mut bus);
    assert_eq!(read(&mut bus, 0x80), [200]);
}

/// MB85RC256V: no pages, no write delay, no polling.
#[test]
fn fram_keeps_any_number_of_bytes_at_once() {
    let part = Part::blank(Geometry::REFERENCE).unwrap().as_fram();
    assert_eq!(part.kind(), PartKind::Fram);
    let mut bus = Bus::new(part, Timing::FAST_MODE, 7);
    let data: Vec<u8> = (0..200).collect();
    write(&mut bus, 0x7FA0, &data).unwrap();
    let back: [u8; 200] = read(&mut bus, 0x7FA0);
    assert!(back == data[..], "over page borders and the end of the part");
    assert_eq!(bus.part().cells()[0x67], 199, "rolled over to address 0");
    assert_eq!(bus.tally().refused, 0);
    assert_eq!(bus.part().wear().hottest_group_cycles(), 1);
    let pages = bus.part().wear().page_cycles();
    let worn: Vec<usize> = (0..pages.len()).filter(|page| pages[*page] > 0).collect();
    assert_eq!(worn, [0, 1, 510, 511]);
}

/// M: a read goes on over page borders and from the last byte to the first; the next
/// read without an address goes on from there.
#[test]
fn reads_roll_over_at_the_end_of_the_part() {
    let mut bus = bus();
    assert_eq!(read(&mut bus, 0x7FFE), [136, 137, 0, 1, 2]);
    let mut next = [0; 2];
    bus.read(PART, &mut next).unwrap();
    assert_eq!(next, [3, 4]);
    assert_eq!(read(&mut bus, 0x7FFE), [136, 137], "ends exactly at the end");
    bus.read(PART, &mut next).unwrap();
    assert_eq!(next, [0, 1]);
}

/// I²C-bus specification (M): only the addressed device answers.
#[test]
fn other_addresses_are_not_acknowledged() {
    let mut bus = bus();
    for address in (0..128).filter(|address| *address != PART) {
        assert_eq!(bus.read(address, &mut [0]), REFUSED);
        assert_eq!(bus.write(address, &[0, 0, 0xEE]), REFUSED);
    }
    assert_eq!(bus.tally().bytes_written, 0);
    let mut bus = bus.at_address(0x57);
    assert_eq!(bus.read(PART, &mut [0]), REFUSED);
    assert_eq!(bus.read(0x57, &mut [0]), Ok(()));
}

/// M: address bits above the size are ignored.
#[test]
fn a_smaller_part_answers_at_wrapped_addresses() {
    let geometry = Geometry { size_bytes: 8_192, page_bytes: 32 };
    let part = Part::from_image(numbered(8_192), geometry).unwrap();
    let mut bus = Bus::new(part, Timing::FAST_MODE, 7);
    assert_eq!(read::<2>(&mut bus, 0x2005), [5, 6]);
    write(&mut bus, 0xFFFF, &[99]).unwrap();
    wait(&mut bus);
    assert_eq!(bus.part().cells()[0x1FFF], 99);
}

/// 9 clock periods a byte; the start and stop of `Timing`.
#[test]
fn a_page_write_takes_67_bytes_of_bus_time() {
    let mut bus = bus();
    write(&mut bus, 0, &[0; 64]).unwrap();
    assert_eq!(bus.tally().bytes, 67);
    assert_eq!(bus.tally().bytes_written, 66);
    assert_eq!(bus.now_ns(), 2_500 + 67 * 22_500 + 5_000);
    wait(&mut bus);
    let before_ns = bus.now_ns();
    let _: [u8; 64] = read(&mut bus, 0);
    // Device, two address bytes, device again, 64 bytes; two starts.
    assert_eq!(bus.now_ns() - before_ns, 2 * 2_500 + 68 * 22_500 + 5_000);
    assert_eq!(bus.tally().bytes_read, 64);
    assert_eq!(bus.tally().bus_ns, (67 + 68) * 22_500 + 3 * 2_500 + 2 * 5_000);
}

#[test]
fn an_image_of_another_size_is_refused() {
    let error = Part::from_image(vec![0; 100], Geometry::REFERENCE).unwrap_err();
    assert_eq!(
        error.to_string(),
        "100 bytes are not the memory of a part of 32768 bytes in pages of 64"
    );
    for (size_bytes, page_bytes) in [(32_768, 0), (32_768, 48), (32_768, 512), (96, 64), (0, 64)] {
        assert!(Part::blank(Geometry { size_bytes, page_bytes }).is_err(), "{size_bytes}");
    }
}
