//! The board's own memory driver on the simulated bus.

use proptest::prelude::*;
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_drivers::memory::{Eeprom, Fram, PartKind, WiredPart};
use shaftbook_world::bus::{Answers, Bus, Part, Tear, Timing};

fn geometry(size_bytes: u32, page_bytes: u16) -> Geometry {
    Geometry { size_bytes, page_bytes }
}

fn bus_of(geometry: Geometry, seed: u64) -> Bus {
    Bus::new(Part::blank(geometry).unwrap(), Timing::FAST_MODE, seed)
}

/// Programs all of `bytes`, polling after each cycle; the number of cycles.
fn program(bus: &mut Bus, wired: WiredPart, address: u32, bytes: &[u8]) -> u32 {
    let mut done = 0;
    let mut cycles = 0;
    while done < bytes.len() {
        let mut part = Eeprom::new(&mut *bus, wired);
        done += part.begin_program(address + done as u32, &bytes[done..]).unwrap();
        cycles += 1;
        while !part.is_ready().unwrap() {}
    }
    cycles
}

proptest! {
    #![proptest_config(crate::common::fixed_cases())]

    /// Whatever is programmed through the driver, in any shape of part, is read back,
    /// and nothing else changes.
    #[test]
    fn what_is_programmed_is_what_is_read(
        shape in prop::sample::select(vec![
            (8_192, 32), (16_384, 64), (32_768, 16), (32_768, 64), (65_536, 128),
            (65_536, 256),
        ]),
        writes in prop::collection::vec((any::<u32>(), prop::collection::vec(any::<u8>(), 1..300)), 1..8),
        seed in any::<u64>(),
    ) {
        let geometry = geometry(shape.0, shape.1);
        let wired = WiredPart::new(PartKind::Eeprom, 0x50, geometry).unwrap();
        let mut bus = bus_of(geometry, seed);
        let mut expected = vec![0xFF; shape.0 as usize];
        for (address, bytes) in &writes {
            let address = address % (shape.0 - bytes.len() as u32);
            program(&mut bus, wired, address, bytes);
            let at = address as usize;
            expected[at..at + bytes.len()].copy_from_slice(bytes);
        }
        let mut back = vec![0; shape.0 as usize];
        Eeprom::new(&mut bus, wired).read(0, &mut back).unwrap();
        prop_assert!(back == expected);
        prop_assert!(bus.part().truth() == expected);
    }
}

#[test]
fn cycles_and_bytes_of_a_write_over_two_borders_are_exact() {
    let mut bus = bus_of(Geometry::REFERENCE, 1);
    let cycles = program(&mut bus, WiredPart::REFERENCE, 0x3C, &[5; 72]);
    assert_eq!(cycles, 3, "4 + 64 + 4 bytes");
    assert_eq!(bus.part().wear().page_cycles()[..4], [1, 1, 1, 0]);
    assert_eq!(bus.tally().bytes_written, 72 + 3 * 2);
    assert_eq!(bus.tally().cycles, 3);
    assert_eq!(bus.tally().bytes_programmed, 72);
    // Each poll that is answered reads one byte.
    assert_eq!(bus.tally().bytes_read, 3);
}

#[test]
fn polling_ends_when_the_cycle_does() {
    let mut bus = bus_of(Geometry::REFERENCE, 1);
    let mut part = Eeprom::new(&mut bus, WiredPart::REFERENCE);
    part.begin_program(0, &[1]).unwrap();
    assert_eq!(part.read(0, &mut [0]), Err(MediumError::NoAnswer));
    assert_eq!(part.begin_program(0, &[2]), Err(MediumError::NoAnswer));
    assert_eq!(part.is_ready(), Ok(false));
    let bus = part.bus();
    bus.advance_to(bus.now_ns() + 5_000_000);
    assert_eq!(part.is_ready(), Ok(true));
    let mut byte = [0];
    part.read(0, &mut byte).unwrap();
    assert_eq!(byte, [1]);
}

#[test]
fn a_dead_part_a_held_bus_and_a_cut_are_told_apart_as_the_trait_says() {
    let mut bus = bus_of(Geometry::REFERENCE, 1);
    let mut part = Eeprom::new(&mut bus, WiredPart::REFERENCE);
    part.bus().set_answers(Answers::Nobody);
    assert_eq!(part.read(0, &mut [0]), Err(MediumError::NoAnswer));
    assert_eq!(part.is_ready(), Ok(false));
    part.bus().set_answers(Answers::BusHeld);
    assert_eq!(part.begin_program(0, &[0]), Err(MediumError::Bus));
    assert_eq!(part.is_ready(), Err(MediumError::Bus));
    part.bus().set_answers(Answers::Part);
    part.bus().cut_after_bytes(0);
    assert_eq!(part.is_ready(), Err(MediumError::Bus));
}

/// The lie that only read-back finds.
#[test]
fn a_protected_part_looks_programmed_until_it_is_read_back() {
    let mut bus = bus_of(Geometry::REFERENCE, 1);
    bus.part_mut().set_write_protected(true);
    let mut part = Eeprom::new(&mut bus, WiredPart::REFERENCE);
    assert_eq!(part.begin_program(0, &[1; 64]), Ok(64));
    assert_eq!(part.is_ready(), Ok(true));
    let mut bytes = [0; 64];
    part.read(0, &mut bytes).unwrap();
    assert_eq!(bytes, [0xFF; 64]);
}

/// A board that believes in 64-byte pages, on a part that has 32-byte ones.
#[test]
fn a_part_with_smaller_pages_wraps_and_read_back_finds_it() {
    let mut bus = bus_of(geometry(32_768, 32), 1);
    let bytes: Vec<u8> = (0..64).collect();
    program(&mut bus, WiredPart::REFERENCE, 0, &bytes);
    let mut back = [0; 64];
    Eeprom::new(&mut bus, WiredPart::REFERENCE).read(0, &mut back).unwrap();
    assert!(back[..32] == bytes[32..] && back[32..] == [0xFF; 32]);
}

#[test]
fn fram_is_written_over_borders_without_a_wait_and_is_cut_byte_by_byte() {
    let part = Part::blank(Geometry::REFERENCE).unwrap().as_fram();
    let mut bus = Bus::new(part, Timing::FAST_MODE, 1);
    let mut fram = Fram::new(&mut bus, WiredPart::REFERENCE);
    assert_eq!(fram.begin_program(60, &[1; 10]), Ok(10));
    let mut back = [0; 10];
    fram.read(60, &mut back).unwrap();
    assert_eq!(back, [1; 10]);
    // Device, two address bytes, four of ten data bytes.
    fram.bus().cut_after_bytes(7);
    assert_eq!(fram.begin_program(60, &[2; 10]), Err(MediumError::Bus));
    assert_eq!(bus.cut_image(Tear::Old)[60..70], [2, 2, 2, 2, 1, 1, 1, 1, 1, 1]);
}

/// The same seed, the same bytes, times and counts.
#[test]
fn a_run_repeats_with_its_seed() {
    let run = |seed| {
        let mut bus = bus_of(Geometry::REFERENCE, seed);
        bus.refuse_at_random(0.0);
        for page in 0..40 {
            program(&mut bus, WiredPart::REFERENCE, page * 64, &[page as u8; 64]);
        }
        (bus.now_ns(), bus.tally(), bus.part().cells().to_vec())
    };
    assert!(run(1) == run(1));
    assert!(run(1).0 != run(2).0);
}
