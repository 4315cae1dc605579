//! The board's display driver on the modelled display, beside the memory part.

use embedded_hal::i2c::I2c;
use proptest::prelude::*;
use shaftbook_core::medium::{Geometry, Medium, MediumError};
use shaftbook_drivers::display::{
    COLUMNS, Display, DisplayError, PICTURE_BYTES, STEP_BUS_US_MAX, STEP_TRANSACTIONS_MAX,
    STEP_WIRE_BYTES_MAX, TILE_BYTES_MAX, WakeStep,
};
use shaftbook_drivers::memory::{Eeprom, WiredPart};
use shaftbook_world::bus::{Bus, BusError, BusEvent, DisplayFailure, Part, Tear, Timing};

fn bus() -> Bus {
    let part = Part::blank(Geometry::REFERENCE).unwrap();
    Bus::new(part, Timing::FAST_MODE, 7).with_display(1)
}

fn wake(bus: &mut Bus) -> Result<(), DisplayError> {
    let mut step = Some(WakeStep::default());
    while let Some(now) = step {
        step = Display::new(&mut *bus).wake(now)?;
    }
    Ok(())
}

/// Sends `picture` in tiles of `width` columns (the last of a page may be shorter).
fn show(bus: &mut Bus, picture: &[u8], width: usize) -> Result<(), DisplayError> {
    for (page, row) in picture.chunks(usize::from(COLUMNS)).enumerate() {
        for (tile, bytes) in row.chunks(width).enumerate() {
            Display::new(&mut *bus).show_tile((tile * width) as u8, page as u8, bytes)?;
        }
    }
    Ok(())
}

/// A picture without symmetry: every orientation of it is another.
fn picture() -> Vec<u8> {
    (0..PICTURE_BYTES).map(|n| (n * 37 + n / 128 * 11) as u8).collect()
}

fn is_drawn(picture: &[u8], x: usize, y: usize) -> bool {
    picture[y / 8 * 128 + x] >> (y % 8) & 1 == 1
}

fn seen(bus: &Bus) -> Vec<bool> {
    let display = bus.display().unwrap();
    (0..64).flat_map(|y| (0..128).map(move |x| display.pixel(x, y))).collect()
}

fn drawn(picture: &[u8]) -> Vec<bool> {
    (0..64).flat_map(|y| (0..128).map(move |x| is_drawn(picture, x, y))).collect()
}

#[test]
fn a_picture_in_tiles_arrives_pixel_for_pixel() {
    for width in [1, 7, 16, 32] {
        let mut bus = bus();
        wake(&mut bus).unwrap();
        show(&mut bus, &picture(), width).unwrap();
        assert!(seen(&bus).iter().all(|lit| !lit), "dark until it is switched on");
        Display::new(&mut bus).switch_on().unwrap();
        assert_eq!(seen(&bus), drawn(&picture()), "tiles of {width}");
        let display = bus.display().unwrap();
        assert_eq!(display.ram()[..], picture());
        assert!(display.unknown_commands().is_empty());
        assert!(!display.pixel(128, 0) && !display.pixel(0, 64), "nothing beside the glass");
        Display::new(&mut bus).switch_off().unwrap();
        assert!(seen(&bus).iter().all(|lit| !lit));
    }
}

#[test]
fn before_it_is_woken_the_display_is_dark_and_its_memory_noise() {
    let mut bus = bus();
    assert_ne!(bus.display().unwrap().ram()[..], [0; PICTURE_BYTES]);
    show(&mut bus, &picture(), 32).unwrap();
    Display::new(&mut bus).switch_on().unwrap();
    assert!(bus.display().unwrap().is_on());
    assert!(seen(&bus).iter().all(|lit| !lit), "no charge pump, no light");
}

#[test]
fn noise_depends_on_the_seed_and_comes_anew_at_each_power_up() {
    let noise = |seed| {
        let part = Part::blank(Geometry::REFERENCE).unwrap();
        *Bus::new(part, Timing::FAST_MODE, 7).with_display(seed).display().unwrap().ram()
    };
    assert_eq!(noise(3), noise(3));
    assert_ne!(noise(3), noise(4));
    let mut bus = bus();
    wake(&mut bus).unwrap();
    show(&mut bus, &picture(), 32).unwrap();
    Display::new(&mut bus).switch_on().unwrap();
    bus.power_cycle(Tear::Old);
    assert_ne!(bus.display().unwrap().ram()[..], picture());
    assert!(!bus.display().unwrap().is_on());
}

/// What the driver says of its longest step is what the bus counts.
#[test]
fn every_step_is_as_short_as_the_driver_says() {
    type Step = fn(&mut Display<&mut Bus>) -> Result<(), DisplayError>;
    let steps: [Step; 6] = [
        |display| display.wake(WakeStep::Clock).map(|_| ()),
        |display| display.wake(WakeStep::Drive).map(|_| ()),
        |display| display.show_tile(96, 7, &[0xA5; TILE_BYTES_MAX]),
        |display| display.switch_on(),
        |display| display.switch_off(),
        |display| display.set_contrast(200),
    ];
    let mut bus = bus();
    let costs = steps.map(|step| {
        let before = bus.tally();
        step(&mut Display::new(&mut bus)).unwrap();
        let after = bus.tally();
        let bus_ns = after.bus_ns - before.bus_ns;
        (after.bytes - before.bytes, after.transactions - before.transactions, bus_ns)
    });
    println!("bytes, transactions, ns of each step: {costs:?}");
    assert_eq!(costs.iter().map(|cost| cost.0).max(), Some(STEP_WIRE_BYTES_MAX));
    assert_eq!(costs.iter().map(|cost| cost.1).max(), Some(STEP_TRANSACTIONS_MAX));
    assert_eq!(costs.iter().map(|cost| cost.2).max(), Some(997_500));
    const { assert!(997_500 <= STEP_BUS_US_MAX * 1_000) };
    assert_eq!(bus.display().unwrap().contrast(), 200);
}

#[test]
fn without_a_display_there_is_no_answer() {
    let part = Part::blank(Geometry::REFERENCE).unwrap();
    let mut bus = Bus::new(part, Timing::FAST_MODE, 7);
    assert_eq!(wake(&mut bus), Err(DisplayError::NoAnswer));
    assert!(bus.display().is_none());
}

/// A program cycle under way beside the display ends as if it were not there.
#[test]
fn a_tile_in_the_middle_of_a_program_cycle_leaves_the_memory_alone() {
    let record: Vec<u8> = (100..164).collect();
    let run = |tiles: usize| {
        let mut bus = bus();
        wake(&mut bus).unwrap();
        let begun_ns = 20_000_000;
        bus.advance_to(begun_ns);
        let mut part = Eeprom::new(&mut bus, WiredPart::REFERENCE);
        assert_eq!(part.begin_program(64, &record), Ok(64));
        show(&mut bus, &picture()[..32 * tiles], 32).unwrap();
        let mut ready_ns = None;
        while ready_ns.is_none() {
            let now_ns = bus.now_ns();
            if Eeprom::new(&mut bus, WiredPart::REFERENCE).is_ready().unwrap() {
                ready_ns = Some(now_ns);
            }
        }
        let mut read = [0; 64];
        Eeprom::new(&mut bus, WiredPart::REFERENCE).read(64, &mut read).unwrap();
        assert_eq!(read[..], record);
        (bus.part().wear().cycles(), ready_ns.unwrap() - begun_ns)
    };
    let (alone, beside) = (run(0), run(2));
    assert_eq!((alone.0, beside.0), (1, 1));
    assert!(alone.1.abs_diff(beside.1) < 60_000, "{alone:?} {beside:?}: one poll at most");
}

#[test]
fn a_display_that_dies_or_hangs_after_any_byte_is_an_error_and_the_memory_goes_on() {
    let page: Vec<u8> = (0..64).collect();
    for how in [DisplayFailure::Dies, DisplayFailure::HoldsBus] {
        for bytes in 0..STEP_WIRE_BYTES_MAX {
            let mut bus = bus();
            wake(&mut bus).unwrap();
            bus.display_mut().unwrap().fail_after(bytes, how);
            let answer = Display::new(&mut bus).show_tile(0, 0, &[0xFF; TILE_BYTES_MAX]);
            let mut part = Eeprom::new(&mut bus, WiredPart::REFERENCE);
            match how {
                DisplayFailure::Dies => {
                    assert_eq!(answer, Err(DisplayError::NoAnswer), "after {bytes}");
                    assert_eq!(part.begin_program(0, &page), Ok(64));
                    bus.advance_to(bus.now_ns() + 5_000_000);
                    assert_eq!(bus.part().cells()[..64], page);
                    bus.power_cycle(Tear::Old);
                    assert_eq!(wake(&mut bus), Err(DisplayError::NoAnswer), "for good");
                }
                DisplayFailure::HoldsBus => {
                    assert_eq!(answer, Err(DisplayError::Bus), "after {bytes}");
                    assert_eq!(part.begin_program(0, &page), Err(MediumError::Bus));
                    bus.power_cycle(Tear::Old);
                    assert_eq!(wake(&mut bus), Ok(()), "the supply ends it");
                    let mut part = Eeprom::new(&mut bus, WiredPart::REFERENCE);
                    assert_eq!(part.begin_program(0, &page), Ok(64));
                }
            }
        }
    }
}

#[test]
fn a_display_can_fail_at_a_moment() {
    let mut bus = bus();
    wake(&mut bus).unwrap();
    bus.schedule(bus.now_ns() + 1_000, BusEvent::DisplayFails(0, DisplayFailure::Dies));
    assert_eq!(Display::new(&mut bus).switch_on(), Ok(()));
    assert_eq!(Display::new(&mut bus).switch_off(), Err(DisplayError::NoAnswer));
}

/// A cut at any byte of a tile: what was sent before it is on the display, what is not
/// is not, and the memory part has not changed.
#[test]
fn a_cut_in_mid_tile_leaves_both_as_they_were_before_the_byte() {
    let tile = [0xA5; TILE_BYTES_MAX];
    for cut in 0..=STEP_WIRE_BYTES_MAX {
        let mut bus = bus();
        bus.set_tears_before_stop(true);
        wake(&mut bus).unwrap();
        show(&mut bus, &[0; PICTURE_BYTES], 32).unwrap();
        let (image, wear) = (bus.cut_image(Tear::Garbage(1)), bus.part().wear().cycles());
        bus.cut_after_bytes(cut);
        let answer = Display::new(&mut bus).show_tile(32, 3, &tile);
        // A cut after the last byte comes before the stop.
        assert_eq!(answer, Err(DisplayError::Bus), "cut after {cut}");
        assert!(bus.is_cut());
        // 3 bytes of the page, 4 of the column, then 2 and 16, twice.
        let arrived = (cut.saturating_sub(9).min(16) + cut.saturating_sub(27).min(16)) as usize;
        let mut expected = [0; PICTURE_BYTES];
        expected[3 * 128 + 32..][..arrived].fill(0xA5);
        assert_eq!(bus.display().unwrap().ram()[..], expected, "cut after {cut}");
        assert_eq!(bus.cut_image(Tear::Garbage(1)), image);
        assert_eq!(bus.page_under_way(), None);
        bus.power_cycle(Tear::Garbage(1));
        assert_eq!(bus.part().cells(), image);
        assert_eq!(bus.part().wear().cycles(), wear);
        wake(&mut bus).unwrap();
        show(&mut bus, &picture(), 32).unwrap();
        assert_eq!(bus.display().unwrap().ram()[..], picture(), "sound after the next wake");
    }
}

/// The rest of the command table that the driver does not use, from the datasheet (rev.
/// 1.1, sections 10.1.1 to 10.1.5, from memory).
#[test]
fn the_three_addressing_modes_wrap_as_the_datasheet_says() {
    let written = |mode: &[u8], count: u8| {
        let mut bus = bus();
        let clear = [&[0x40_u8][..], &[0; PICTURE_BYTES]].concat();
        bus.write(0x3C, &[0x00, 0x20, 0x00, 0x21, 0, 127, 0x22, 0, 7]).unwrap();
        bus.write(0x3C, &clear).unwrap();
        bus.write(0x3C, &[&[0x00], mode].concat()).unwrap();
        let data: Vec<u8> = std::iter::once(0x40).chain(1..=count).collect();
        bus.write(0x3C, &data).unwrap();
        let display = bus.display().unwrap();
        assert!(display.unknown_commands().is_empty());
        let cells = display.ram().iter().enumerate().filter(|(_, byte)| **byte != 0);
        cells.map(|(at, byte)| (at / 128, at % 128, *byte)).collect::<Vec<_>>()
    };
    // Page: round within the page.
    assert_eq!(
        written(&[0x20, 0x02, 0xB3, 0x0E, 0x17], 4),
        [(3, 0, 3), (3, 1, 4), (3, 126, 1), (3, 127, 2)]
    );
    // Horizontal: along the columns, then the next page, then from the first again.
    assert_eq!(
        written(&[0x20, 0x00, 0x21, 10, 11, 0x22, 6, 7], 5),
        [(6, 10, 5), (6, 11, 2), (7, 10, 3), (7, 11, 4)]
    );
    // Vertical: down the pages, then the next column.
    assert_eq!(
        written(&[0x20, 0x01, 0x21, 10, 11, 0x22, 6, 7], 3),
        [(6, 10, 1), (6, 11, 3), (7, 10, 2)]
    );
}

#[test]
fn commands_that_turn_or_invert_the_picture_do() {
    let mut bus = bus();
    wake(&mut bus).unwrap();
    show(&mut bus, &picture(), 32).unwrap();
    Display::new(&mut bus).switch_on().unwrap();
    let mut check = |commands: &[u8], place: fn(usize, usize) -> (usize, usize), flip: bool| {
        bus.write(0x3C, &[&[0x00], commands].concat()).unwrap();
        let display = bus.display().unwrap();
        for (x, y) in (0..128).flat_map(|x| (0..64).map(move |y| (x, y))) {
            let (from_x, from_y) = place(x, y);
            let expected = is_drawn(&picture(), from_x, from_y) != flip;
            assert_eq!(display.pixel(x, y), expected, "{commands:X?} at {x} {y}");
        }
    };
    check(&[0xA0], |x, y| (127 - x, y), false);
    check(&[0xA1, 0xC0], |x, y| (x, 63 - y), false);
    check(&[0xC8, 0x48], |x, y| (x, (y + 8) % 64), false);
    check(&[0x40, 0xD3, 5], |x, y| (x, (y + 5) % 64), false);
    check(&[0xD3, 0, 0xA7], |x, y| (x, y), true);
    check(&[0xA6], |x, y| (x, y), false);
    bus.write(0x3C, &[0x00, 0xA5]).unwrap();
    assert!(seen(&bus).iter().all(|lit| *lit));
    bus.write(0x3C, &[0x00, 0xA4, 0xA8, 31]).unwrap();
    assert!((32..64).all(|y| (0..128).all(|x| !bus.display().unwrap().pixel(x, y))));
}

#[test]
fn control_bytes_mix_commands_and_data_and_unknown_commands_are_noted() {
    let mut bus = bus();
    // Co set: one byte each. Page 2, column 5, one data byte, then data to the end.
    let stream = [0x80, 0xB2, 0x80, 0x05, 0x80, 0x10, 0xC0, 0x11, 0x40, 0x22, 0x33];
    bus.write(0x3C, &stream).unwrap();
    let display = bus.display().unwrap();
    assert_eq!(display.ram()[2 * 128 + 5..][..3], [0x11, 0x22, 0x33]);
    assert_eq!(display.data_bytes(), 3);
    bus.write(0x3C, &[0x00, 0xFF, 0x21, 3]).unwrap();
    bus.write(0x3C, &[0x00, 0xA8, 3, 0x20, 3]).unwrap();
    assert_eq!(bus.display().unwrap().unknown_commands(), [0xFF, 0x21, 0xA8, 0x20]);
    let mut status = [0; 2];
    bus.read(0x3C, &mut status).unwrap();
    assert_eq!(status, [0x40; 2], "off");
    assert_eq!(bus.write(0x3D, &[0]), Err(BusError::NotAcknowledged), "its own address only");
}

proptest! {
    #![proptest_config(crate::common::fixed_cases())]

    /// No stream of bytes does more to it than set it and fill its memory.
    #[test]
    fn any_stream_of_bytes_is_taken(
        writes in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..80), 0..20)
    ) {
        let mut bus = bus();
        let image = bus.part().cells().to_vec();
        for bytes in writes {
            prop_assert_eq!(bus.write(0x3C, &bytes), Ok(()));
        }
        let _ = seen(&bus);
        prop_assert_eq!(bus.part().cells(), image);
        // And whatever it was, waking sets it right.
        wake(&mut bus).unwrap();
        show(&mut bus, &picture(), 32).unwrap();
        Display::new(&mut bus).switch_on().unwrap();
        prop_assert_eq!(seen(&bus), drawn(&picture()));
    }
}
