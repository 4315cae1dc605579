//! Faults of part and line. Rules: `docs/FAULT_MODEL.md`, "Faults at rest and in use".

use embedded_hal::i2c::{I2c, Operation};
use shaftbook_core::medium::Geometry;
use shaftbook_world::bus::{Answers, Bus, BusError, BusEvent, Part, Stuck, Tear, Timing};

const PART: u8 = 0x50;
const REFUSED: Result<(), BusError> = Err(BusError::NotAcknowledged);

fn part_of(byte: u8) -> Part {
    Part::from_image(vec![byte; 32_768], Geometry::REFERENCE).unwrap()
}

fn bus() -> Bus {
    Bus::new(part_of(0), Timing::FAST_MODE, 21)
}

/// Writes `data` to `page` and waits for the cycle.
fn program(bus: &mut Bus, page: u16, data: &[u8]) {
    let address = (page * 64).to_be_bytes();
    bus.transaction(PART, &mut [Operation::Write(&address), Operation::Write(data)]).unwrap();
    bus.advance_to(bus.now_ns() + 5_000_000);
}

fn read_byte(bus: &mut Bus, address: u16) -> u8 {
    let mut byte = [0];
    bus.write_read(PART, &address.to_be_bytes(), &mut byte).unwrap();
    byte[0]
}

#[test]
fn a_stuck_page_acknowledges_takes_its_time_and_keeps_its_bytes() {
    let mut bus = bus();
    program(&mut bus, 2, &[7; 64]);
    bus.part_mut().stick_page(2, Stuck::KeepsOld);
    assert!(bus.part().damaged_pages().is_empty(), "nothing is lost yet");
    bus.write(PART, &[0, 128, 9]).unwrap();
    assert_eq!(bus.read(PART, &mut [0]), REFUSED, "busy as ever");
    assert!(bus.cut_image(Tear::Erased)[128..192] == [7; 64], "a torn stuck page is stuck");
    bus.advance_to(bus.now_ns() + 5_000_000);
    assert_eq!(read_byte(&mut bus, 128), 7);
    assert_eq!(bus.part().truth()[128], 9);
    assert_eq!(bus.part().damaged_pages(), [2]);
    assert_eq!(bus.part().wear().page_cycles()[2], 2);
    program(&mut bus, 3, &[5]);
    assert_eq!(read_byte(&mut bus, 192), 5, "the next page is sound");
}

#[test]
fn a_page_stuck_at_a_value_reads_as_that_value() {
    let mut bus = bus();
    program(&mut bus, 2, &[7; 64]);
    bus.part_mut().stick_page(2, Stuck::Reads(0x55));
    assert_eq!(read_byte(&mut bus, 191), 0x55);
    assert_eq!((bus.part().truth()[128], bus.part().damaged_pages()), (7, vec![2]));
    program(&mut bus, 2, &[8; 64]);
    assert_eq!(read_byte(&mut bus, 128), 0x55);
    assert!(bus.part().truth()[128..192] == [8; 64]);
    bus.write(PART, &[0, 128, 9]).unwrap();
    bus.power_cycle(Tear::New);
    assert_eq!(read_byte(&mut bus, 128), 0x55);
    assert_eq!(bus.part().damaged_pages(), [2]);
}

#[test]
fn stuck_fram_bytes_stay_too() {
    let mut bus = Bus::new(part_of(0).as_fram(), Timing::FAST_MODE, 21);
    bus.part_mut().stick_page(1, Stuck::KeepsOld);
    program(&mut bus, 0, &[1; 130]);
    assert_eq!(bus.part().damaged_pages(), [1]);
    assert_eq!([63, 64, 127, 128, 129].map(|a| read_byte(&mut bus, a)), [1, 0, 0, 1, 1]);
    bus.part_mut().set_write_protected(true);
    program(&mut bus, 9, &[1]);
    assert_eq!(read_byte(&mut bus, 9 * 64), 0);
}

#[test]
fn flipped_bits_change_what_is_read_and_not_the_truth() {
    let mut bus = bus();
    bus.part_mut().flip_bits(0x105, 0b1000_0001);
    assert_eq!(read_byte(&mut bus, 0x105), 0x81);
    assert_eq!(bus.part().truth()[0x105], 0);
    assert_eq!(bus.part().damaged_pages(), [4]);
    // Programming the byte again heals it.
    program(&mut bus, 4, &[3; 64]);
    assert!(bus.part().damaged_pages().is_empty());
}

#[test]
fn random_flips_stay_on_their_page_and_repeat_with_their_seed() {
    let flipped = |seed| {
        let mut part = part_of(0);
        part.flip_bits_in_page(511, 5, seed);
        assert_eq!(part.damaged_pages(), [511]);
        part.cells().to_vec()
    };
    let bits: u32 = flipped(1).iter().map(|byte| byte.count_ones()).sum();
    assert!(matches!(bits, 1 | 3 | 5), "{bits}");
    assert!(flipped(1) == flipped(1));
    assert!(flipped(1) != flipped(2));
}

#[test]
fn any_bytes_can_be_damaged_over_the_end_of_the_part() {
    let mut part = part_of(0);
    part.damage(32_767, &[1, 2]);
    assert_eq!((part.cells()[32_767], part.cells()[0]), (1, 2));
    assert_eq!(part.damaged_pages(), [0, 511]);
}

#[test]
fn the_nth_cycle_lands_on_the_wrong_page_once() {
    let mut bus = bus();
    bus.part_mut().misdirect(1, 9);
    program(&mut bus, 1, &[1, 1]);
    program(&mut bus, 2, &[2, 2]);
    program(&mut bus, 3, &[3, 3]);
    assert_eq!([64, 128, 192, 9 * 64, 9 * 64 + 2].map(|a| read_byte(&mut bus, a)), [1, 0, 3, 2, 0]);
    assert_eq!(bus.part().damaged_pages(), [2, 9]);
    assert_eq!(bus.part().wear().page_cycles()[..4], [0, 1, 0, 1]);
    assert_eq!(bus.part().wear().page_cycles()[9], 1, "wear falls where the write falls");
}

#[test]
fn a_cut_misdirected_cycle_tears_the_wrong_page() {
    let mut bus = bus();
    bus.part_mut().misdirect(0, 9);
    bus.write(PART, &[0, 128, 1]).unwrap();
    assert_eq!(bus.page_under_way(), Some(9));
    let image = bus.cut_image(Tear::Erased);
    assert_eq!((image[128], image[9 * 64]), (0, 0xFF));
}

#[test]
fn a_dead_part_answers_nothing_and_can_come_back() {
    let mut bus = bus();
    program(&mut bus, 0, &[4]);
    bus.set_answers(Answers::Nobody);
    assert_eq!(bus.read(PART, &mut [0]), REFUSED);
    assert_eq!(bus.write(PART, &[0, 0, 9]), REFUSED);
    bus.set_answers(Answers::Part);
    assert_eq!(read_byte(&mut bus, 0), 4);
}

#[test]
fn a_held_bus_fails_every_call_and_costs_time() {
    let mut bus = bus();
    bus.set_answers(Answers::BusHeld);
    assert_eq!(bus.read(PART, &mut [0]), Err(BusError::Held));
    assert_eq!(bus.write(0x3C, &[0]), Err(BusError::Held), "for every device");
    assert_eq!(bus.now_ns(), 2_000_000);
    assert_eq!(bus.tally().bytes, 0);
    bus.cut_at_ns(2_500_000);
    assert_eq!(bus.read(PART, &mut [0]), Err(BusError::Cut), "the supply goes all the same");
}

#[test]
fn random_refusals_come_at_their_rate_and_repeat_with_the_seed() {
    let refusals = |seed, probability| {
        let mut bus = Bus::new(part_of(0), Timing::FAST_MODE, seed);
        bus.refuse_at_random(probability);
        (0..10_000).map(|_| bus.read(PART, &mut [0]).is_err()).collect::<Vec<_>>()
    };
    let count = |refusals: &[bool]| refusals.iter().filter(|refused| **refused).count();
    assert_eq!(count(&refusals(1, 0.0)), 0);
    assert_eq!(count(&refusals(1, 1.0)), 10_000);
    // 3,000 expected, standard deviation 46.
    assert!((2_770..3_230).contains(&count(&refusals(1, 0.3))));
    assert_eq!(refusals(1, 0.3), refusals(1, 0.3));
    assert_ne!(refusals(1, 0.3), refusals(2, 0.3));
}

#[test]
fn a_stranger_acknowledges_and_keeps_nothing() {
    let mut bus = bus();
    bus.set_answers(Answers::Stranger);
    assert_eq!(bus.write(PART, &[0, 0, 7, 7]), Ok(()));
    let mut bytes = [0; 16];
    bus.read(PART, &mut bytes).unwrap();
    assert_ne!(bytes, [0; 16]);
    assert!(bus.part().cells().iter().all(|byte| *byte == 0));
    assert!(bus.part().damaged_pages().is_empty());
}

#[test]
fn things_happen_at_their_moment_in_their_order() {
    let mut bus = bus();
    bus.schedule(3_000_000, BusEvent::Answers(Answers::Nobody));
    bus.schedule(1_000_000, BusEvent::Exchange(Box::new(part_of(0xFF))));
    bus.schedule(2_000_000, BusEvent::FlipBits { page: 0, count: 1, seed: 1 });
    bus.schedule(2_000_000, BusEvent::StickPage(1, Stuck::Reads(0x11)));
    assert_eq!(read_byte(&mut bus, 0), 0, "before all of it");
    bus.advance_to(999_999);
    assert_eq!(bus.part().cells()[100], 0);
    bus.advance_to(1_000_000);
    assert_eq!(read_byte(&mut bus, 100), 0xFF, "another part");
    bus.advance_to(2_000_000);
    assert_eq!(bus.part().damaged_pages(), [0, 1]);
    bus.advance_to(3_000_000);
    assert_eq!(bus.read(PART, &mut [0]), REFUSED);
}

#[test]
fn events_that_fall_due_during_traffic_happen_before_the_next_transaction() {
    let mut bus = bus();
    bus.schedule(1, BusEvent::WriteProtect(true));
    bus.schedule(1, BusEvent::RefuseAtRandom(1.0));
    program(&mut bus, 0, &[5]);
    assert_eq!(bus.part().cells()[0], 5, "began before both");
    assert_eq!(bus.read(PART, &mut [0]), REFUSED);
    bus.refuse_at_random(0.0);
    program(&mut bus, 0, &[6]);
    assert_eq!(read_byte(&mut bus, 0), 5, "protected");
}

#[test]
fn an_event_comes_before_the_transaction_that_begins_at_its_moment() {
    let mut bus = bus();
    bus.schedule(0, BusEvent::Answers(Answers::Nobody));
    assert_eq!(bus.read(PART, &mut [0]), REFUSED);
}

#[test]
fn a_cycle_that_ended_before_the_page_stuck_is_kept() {
    let mut bus = bus();
    bus.write(PART, &[0, 0, 9]).unwrap();
    bus.schedule(bus.now_ns() + 6_000_000, BusEvent::StickPage(0, Stuck::KeepsOld));
    bus.advance_to(20_000_000);
    assert_eq!(read_byte(&mut bus, 0), 9);
    bus.write(PART, &[0, 0, 10]).unwrap();
    bus.advance_to(40_000_000);
    assert_eq!(read_byte(&mut bus, 0), 9);
    // In one step: the cycle ends, the page sticks, the wait goes on.
    let mut bus = self::bus();
    bus.write(PART, &[0, 0, 9]).unwrap();
    bus.schedule(bus.now_ns() + 1, BusEvent::StickPage(0, Stuck::KeepsOld));
    bus.advance_to(20_000_000);
    assert_eq!(read_byte(&mut bus, 0), 0, "stuck within the cycle");
}

#[test]
fn an_exchange_in_mid_cycle_loses_the_cycle() {
    let mut bus = bus();
    bus.write(PART, &[0, 0, 9]).unwrap();
    bus.exchange(part_of(1));
    assert_eq!(read_byte(&mut bus, 0), 1);
    bus.advance_to(10_000_000);
    assert_eq!(read_byte(&mut bus, 0), 1);
}
