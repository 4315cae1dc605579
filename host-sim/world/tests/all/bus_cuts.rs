//! Cuts: before and after every bus byte, inside the program time, and one within another's
//! recovery. Rules: `docs/FAULT_MODEL.md`, "Power cuts".

use embedded_hal::i2c::I2c;
use shaftbook_core::medium::Geometry;
use shaftbook_world::bus::{Bus, BusError, Part, Tear, Timing};

const PART: u8 = 0x50;
const CUT: Result<(), BusError> = Err(BusError::Cut);
/// Device and address bytes of a write, then four data bytes.
const WRITE: [u8; 6] = [0x00, 0x42, 0xA0, 0xA1, 0xA2, 0xA3];
const WRITE_BYTES: u64 = 7;
const PAGE: std::ops::Range<usize> = 0x40..0x80;

fn zeros() -> Vec<u8> {
    vec![0; 32_768]
}

fn bus_with(image: Vec<u8>) -> Bus {
    Bus::new(Part::from_image(image, Geometry::REFERENCE).unwrap(), Timing::FAST_MODE, 3)
}

/// The image after the first `count` data bytes of [`WRITE`].
fn written(count: usize) -> Vec<u8> {
    let mut image = zeros();
    image[0x42..0x42 + count].copy_from_slice(&WRITE[2..2 + count]);
    image
}

/// Runs [`WRITE`] with a cut after 0, 1, 2, … bytes until a run completes uncut, and
/// hands each cut bus to `check` with the number of bytes that passed.
fn sweep_write(prepare: impl Fn() -> Bus, mut check: impl FnMut(u64, &Bus)) {
    for passed in 0.. {
        let mut bus = prepare();
        bus.cut_after_bytes(passed);
        let outcome = bus.write(PART, &WRITE);
        assert_eq!(bus.is_cut(), outcome == CUT);
        if !bus.is_cut() {
            assert_eq!(passed, WRITE_BYTES + 1, "a cut after the last byte comes before Stop");
            return;
        }
        assert_eq!(bus.tally().bytes, passed);
        check(passed, &bus);
    }
}

#[test]
fn a_cut_before_stop_leaves_the_old_bytes_whatever_the_tear() {
    let mut cuts = 0;
    sweep_write(
        || bus_with(zeros()),
        |_, bus| {
            for tear in Tear::every(64, 2, 5) {
                assert!(bus.cut_image(tear) == zeros(), "{tear}");
            }
            assert_eq!(bus.page_under_way(), None);
            cuts += 1;
        },
    );
    assert_eq!(cuts, 8);
}

#[test]
fn the_pessimistic_option_tears_with_the_bytes_received_so_far() {
    let prepare = || {
        let mut bus = bus_with(zeros());
        bus.set_tears_before_stop(true);
        bus
    };
    sweep_write(prepare, |passed, bus| {
        let data_bytes = passed.saturating_sub(3) as usize;
        assert!(bus.cut_image(Tear::New) == written(data_bytes));
        assert!(bus.cut_image(Tear::Old) == zeros());
        let erased = bus.cut_image(Tear::Erased);
        assert_eq!(erased[PAGE].iter().all(|byte| *byte == 0xFF), data_bytes > 0);
        assert_eq!(bus.page_under_way(), (data_bytes > 0).then_some(1));
    });
}

/// The latch of a finished cycle must not come back at a cut.
#[test]
fn the_pessimistic_option_does_not_tear_when_no_write_is_open() {
    for passed in 0..5 {
        let mut bus = bus_with(zeros());
        bus.set_tears_before_stop(true);
        bus.write(PART, &WRITE).unwrap();
        bus.advance_to(10_000_000);
        bus.cut_after_bytes(passed);
        assert_eq!(bus.write_read(PART, &[0, 0], &mut [0; 4]), CUT);
        assert!(bus.cut_image(Tear::Garbage(1)) == written(4), "{passed}");
        assert_eq!(bus.tally().cycles, 1);
    }
    // Neither the latch of a write that was protected, nor of one before a power
    // cycle, nor of a cycle that is under way already.
    let mut bus = bus_with(zeros());
    bus.set_tears_before_stop(true);
    bus.part_mut().set_write_protected(true);
    bus.write(PART, &WRITE).unwrap();
    bus.part_mut().set_write_protected(false);
    bus.cut_after_bytes(0);
    assert_eq!(bus.read(PART, &mut [0]), CUT);
    assert!(bus.cut_image(Tear::Erased) == zeros());

    let mut bus = bus_with(zeros());
    bus.cut_after_bytes(5);
    assert_eq!(bus.write(PART, &WRITE), CUT);
    bus.power_cycle(Tear::Old);
    bus.set_tears_before_stop(true);
    bus.cut_after_bytes(0);
    assert_eq!(bus.read(PART, &mut [0]), CUT);
    assert!(bus.cut_image(Tear::Erased) == zeros());

    let mut bus = bus_with(zeros());
    bus.set_tears_before_stop(true);
    bus.write(PART, &WRITE).unwrap();
    bus.cut_after_bytes(0);
    assert_eq!(bus.read(PART, &mut [0]), CUT);
    assert_eq!((bus.tally().cycles, bus.part().wear().cycles()), (1, 1));
}

#[test]
fn a_cut_in_the_past_comes_now_and_options_outlive_a_power_cycle() {
    let mut bus = bus_with(zeros());
    bus.set_tears_before_stop(true);
    bus.advance_to(1_000);
    bus.cut_at_ns(10);
    bus.advance_to(2_000);
    assert_eq!((bus.is_cut(), bus.now_ns()), (true, 1_000));
    bus.power_cycle(Tear::Old);
    bus.cut_after_bytes(WRITE_BYTES);
    assert_eq!(bus.write(PART, &WRITE), CUT);
    assert_eq!(bus.cut_image(Tear::Erased)[0x40], 0xFF);
}

#[test]
fn fram_keeps_the_bytes_received_before_the_cut() {
    let prepare = || {
        let part = Part::from_image(zeros(), Geometry::REFERENCE).unwrap().as_fram();
        Bus::new(part, Timing::FAST_MODE, 3)
    };
    sweep_write(prepare, |passed, bus| {
        let data_bytes = passed.saturating_sub(3) as usize;
        for tear in [Tear::Old, Tear::New, Tear::Erased, Tear::Garbage(4)] {
            assert!(bus.cut_image(tear) == written(data_bytes));
        }
    });
}

#[test]
fn a_cut_read_changes_nothing() {
    for passed in 0..=8 {
        let mut bus = bus_with(written(4));
        bus.cut_after_bytes(passed);
        // Device, two address bytes, device, four data bytes.
        assert_eq!(bus.write_read(PART, &[0, 0x42], &mut [0; 4]), CUT);
        assert!(bus.cut_image(Tear::Garbage(9)) == written(4));
    }
}

#[test]
fn inside_the_program_time_the_whole_page_is_what_the_tear_says_and_no_other_changes() {
    let mut bus = bus_with(zeros());
    bus.write(PART, &WRITE).unwrap();
    assert_eq!(bus.page_under_way(), Some(1));
    for tear in Tear::every(64, 20, 11) {
        let image = bus.cut_image(tear);
        let (mut page, mut new) = ([0; 64], [0; 64]);
        new.copy_from_slice(&written(4)[PAGE]);
        tear.apply(&mut page, &new);
        assert!(image[PAGE] == page, "{tear}");
        assert!(image[..0x40].iter().chain(&image[0x80..]).all(|byte| *byte == 0), "{tear}");
    }
    assert!(bus.cut_image(Tear::Prefix(4))[PAGE][..6] == [0, 0, 0xA0, 0xA1, 0, 0]);
}

#[test]
fn a_cut_after_the_program_time_leaves_the_new_bytes_whatever_the_tear() {
    let mut bus = bus_with(zeros());
    bus.write(PART, &WRITE).unwrap();
    let stop_ns = bus.now_ns();
    // Along the longest cycle; this seed's own end lies somewhere in it.
    let mut ended_at = None;
    for step in 0..=500_u64 {
        let mut fork = bus.clone();
        fork.cut_at_ns(stop_ns + step * 10_000);
        fork.advance_to(u64::MAX);
        assert!(fork.is_cut());
        assert_eq!(fork.now_ns(), stop_ns + step * 10_000);
        let image = fork.cut_image(Tear::Erased);
        if fork.page_under_way().is_some() {
            assert_eq!(ended_at, None, "a cycle does not begin again");
            assert_eq!(image[0x43], 0xFF);
        } else {
            ended_at.get_or_insert(step);
            assert!(image == written(4));
        }
    }
    assert!((300..=500).contains(&ended_at.unwrap()), "{ended_at:?}");
}

#[test]
fn a_cut_falls_at_its_moment_inside_a_transaction() {
    let byte_ns = Timing::FAST_MODE.byte_ns;
    for (at_ns, passed) in [
        (0, 0),
        (1_000, 0),
        (2_500 + byte_ns - 1, 0),
        (2_500 + byte_ns, 1),
        (2_500 + 3 * byte_ns + 7, 3),
        (2_500 + 7 * byte_ns, 7),
        (2_500 + 7 * byte_ns + 4_999, 7),
    ] {
        let mut bus = bus_with(zeros());
        bus.cut_at_ns(at_ns);
        assert_eq!(bus.write(PART, &WRITE), CUT, "{at_ns}");
        assert_eq!((bus.tally().bytes, bus.now_ns()), (passed, at_ns));
        assert!(bus.cut_image(Tear::New) == zeros(), "{at_ns}: Stop was not sent");
    }
    // Stop itself ended at that time: the cycle has begun.
    let mut bus = bus_with(zeros());
    bus.cut_at_ns(2_500 + 7 * byte_ns + 5_000);
    assert_eq!(bus.write(PART, &WRITE), Ok(()));
    assert!(bus.is_cut());
    assert!(bus.cut_image(Tear::New) == written(4));
    assert!(bus.cut_image(Tear::Old) == zeros());
}

#[test]
fn a_cut_within_a_poll_still_tears_the_cycle_that_is_polled() {
    let mut bus = bus_with(zeros());
    bus.write(PART, &WRITE).unwrap();
    for offset_ns in [1, 2_499, 2_501, 20_000, 25_001, 29_999] {
        let mut fork = bus.clone();
        let at_ns = fork.now_ns() + offset_ns;
        fork.cut_at_ns(at_ns);
        assert!(fork.read(PART, &mut [0]).is_err());
        assert!(fork.is_cut(), "{offset_ns}");
        assert_eq!(fork.now_ns(), at_ns);
        assert_eq!(fork.cut_image(Tear::Erased)[0x40], 0xFF, "{offset_ns}");
    }
}

#[test]
fn after_the_cut_nothing_answers_and_nothing_moves() {
    let mut bus = bus_with(zeros());
    bus.write(PART, &WRITE).unwrap();
    let at_ns = bus.now_ns() + 1_000_000;
    bus.cut_at_ns(at_ns);
    bus.advance_to(at_ns + 1);
    assert!(bus.is_cut());
    let tally = bus.tally();
    assert_eq!(bus.read(PART, &mut [0]), CUT);
    assert_eq!(bus.write(PART, &WRITE), CUT);
    bus.advance_to(at_ns + 60_000_000);
    assert_eq!((bus.now_ns(), bus.tally()), (at_ns, tally));
    assert!(bus.cut_image(Tear::Old) == zeros(), "the cycle did not go on");
}

#[test]
fn a_nested_cut_falls_into_the_recovery_from_the_first() {
    let mut bus = bus_with(zeros());
    bus.write(PART, &WRITE).unwrap();
    let mut recovery = bus_with(bus.cut_image(Tear::Erased));
    let mut byte = [0];
    recovery.write_read(PART, &[0, 0x42], &mut byte).unwrap();
    assert_eq!(byte, [0xFF], "recovery sees the torn bytes");
    recovery.write(PART, &[0x00, 0x80, 1]).unwrap();
    recovery.cut_after_bytes(0);
    assert_eq!(recovery.read(PART, &mut byte), CUT);
    let image = recovery.cut_image(Tear::New);
    assert!(image[PAGE].iter().all(|byte| *byte == 0xFF));
    assert_eq!(image[0x80], 1);
    assert!(bus_with(image).part().damaged_pages().is_empty(), "from bytes alone");
}

#[test]
fn a_power_cycle_keeps_wear_and_leaves_what_the_tear_says() {
    for tear in Tear::every(64, 3, 8) {
        let mut bus = bus_with(zeros());
        bus.write(PART, &WRITE).unwrap();
        let image = bus.cut_image(tear);
        bus.cut_after_bytes(0);
        assert_eq!(bus.read(PART, &mut [0]), CUT);
        bus.power_cycle(tear);
        assert!(!bus.is_cut());
        assert!(bus.part().cells() == image, "{tear}");
        assert!(bus.part().damaged_pages().is_empty(), "a cut makes no truth");
        assert_eq!(bus.part().wear().cycles(), 1);
        // Ready at once, the address counter lost, and armed cuts are gone.
        let mut byte = [9];
        assert_eq!(bus.read(PART, &mut byte), Ok(()));
        assert_eq!(byte, [0]);
        bus.write(PART, &[0, 0x42]).unwrap();
        bus.power_cycle(tear);
        bus.read(PART, &mut byte).unwrap();
        assert_eq!(byte, [0], "address 0, not 0x42 ({tear})");
        assert_eq!(bus.write(PART, &WRITE), Ok(()));
        bus.advance_to(bus.now_ns() + 5_000_000);
        assert_eq!(bus.part().cells()[0x42], 0xA0);
    }
}
