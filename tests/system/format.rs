//! The bytes on the part, read by three readers: the firmware's own recovery, the slot-by-slot
//! reading of `inspect`, and a Python decoder written from `docs/FORMAT.md`. They must agree on
//! whatever a board leaves on its part.

mod answers;
mod bench;
mod decoder;
mod example;

use bench::{Bench, ID};
use decoder::assert_agree;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use shaftbook_core::identity::BoardId;
use shaftbook_core::medium::Geometry;
use shaftbook_core::serial::Lap;
use shaftbook_tools::inspect::compose::inspect;
use shaftbook_tools::inspect::image::Image;
use shaftbook_tools::inspect::text::render;

const SMALL: Geometry = Geometry { size_bytes: 8_192, page_bytes: 64 };

/// A fitted board that has sewn a little of everything.
fn used(geometry: Geometry) -> Bench {
    let mut bench = Bench::fitted(geometry);
    for needle in 1..=6 {
        bench.sew(needle, 40 + u64::from(needle));
    }
    bench.trim(3);
    bench.thread_break(2, 4);
    bench.jumps(7);
    bench.renew(0);
    bench.sew(1, 25);
    bench.power_fail();
    bench
}

/// A longer life: renewals, a service, wrong replies, cuts, laps of the ring.
fn old(geometry: Geometry) -> Bench {
    let mut bench = used(geometry).cut();
    bench.wrong_reply();
    bench.service();
    for round in 0..5_u8 {
        bench.sew(round + 1, 60);
        bench.renew(0);
        bench.pass_s(geometry.size_bytes / 160);
        bench = bench.cut();
        bench.trim(5);
    }
    bench.power_fail();
    bench
}

#[test]
fn all_shapes_of_parts() {
    for page_bytes in [16, 32, 64, 128, 256] {
        for size_bytes in [8_192, 12_416, 16_640, 32_768, 65_536] {
            let geometry = Geometry { size_bytes, page_bytes };
            if !geometry.is_supported() {
                assert_eq!(page_bytes, 256);
                continue;
            }
            assert_agree(&format!("shape-{size_bytes}-{page_bytes}"), &[old(geometry).image()]);
        }
    }
}

#[test]
fn laps_that_wrap() {
    let mut bench = Bench::fitted_in_lap(SMALL, Lap::new((1 << 21) - 2));
    let mut images = Vec::new();
    for _ in 0..8 {
        bench.pass_s(50);
        bench.renew(0);
        images.push(bench.image());
    }
    let reports = assert_agree("wrap", &images);
    let laps: Vec<u64> =
        reports.iter().map(|r| r["wear"]["newest_lap"].as_u64().unwrap()).collect();
    assert!(laps.contains(&2_097_151) && laps.contains(&1), "{laps:?}");
}

/// Cuts after each single program cycle of a passage with entries, a snapshot that
/// falls due and its commit. With short pages a record is torn, too.
#[test]
fn a_cut_after_any_program_cycle() {
    for page_bytes in [16, 64] {
        let geometry = Geometry { page_bytes, ..SMALL };
        let start = used(geometry).cut();
        let mut images = Vec::new();
        for programs in 0.. {
            let mut bench = start.clone();
            bench.cut_after(programs);
            bench.wrong_reply();
            bench.service();
            for _ in 0..12 {
                bench.sew(3, 2);
                bench.renew(0);
            }
            images.push(bench.image());
            if !bench.is_cut() {
                break;
            }
        }
        assert!(images.len() > 40, "{} images", images.len());
        let reports = assert_agree(&format!("cut-{page_bytes}"), &images);
        let some = |seen: &dyn Fn(&serde_json::Value) -> bool| reports.iter().any(seen);
        assert!(some(&|r| r["damage"]["single_copies"].as_array().is_some_and(|a| !a.is_empty())));
        assert!(some(&|r| r["damage"]["unfinished_snapshot"]
            .as_array()
            .is_some_and(|a| !a.is_empty())));
        assert_eq!(reports.last().unwrap()["interval"]["services"], 1);
        // The live snapshot's parity is lost while a younger snapshot is half written.
        let mut without_parity = Vec::new();
        for (image, report) in images.iter().zip(&reports) {
            let unfinished = report["damage"]["unfinished_snapshot"].as_array().unwrap();
            let first = report["rests_on"]["snapshot_slot"].as_u64().unwrap() as u16;
            let parity = (first..image.ring().slots()).find(|slot| {
                let record = image.record(*slot);
                record[0] & 7 == 3 && record[3] & 31 == record[4] & 31
            });
            if !unfinished.is_empty() {
                without_parity.push(bench::with_noise(image, parity.unwrap(), 3));
            }
        }
        assert!(without_parity.len() > 4, "{}", without_parity.len());
        let reports = assert_agree(&format!("cut-parity-{page_bytes}"), &without_parity);
        assert!(reports.iter().all(|r| !r["damage"]["snapshot"]["missing"].is_null()));
    }
}

/// One slot full of noise, or erased, wherever it is.
#[test]
fn any_one_slot_lost() {
    for (name, whole) in [("used", used(SMALL).image()), ("old", old(SMALL).image())] {
        let mut images = vec![whole.clone()];
        for slot in 0..whole.ring().slots() {
            images.push(bench::with_noise(&whole, slot, 1));
            images.push(bench::erased(&whole, slot));
        }
        let reports = assert_agree(&format!("lost-{name}"), &images);
        for report in &reports {
            // At most the newest record's delta is lost.
            let (left, all) =
                (&report["lifetime"]["stitches"], &reports[0]["lifetime"]["stitches"]);
            let lost = all.as_u64().zip(left.as_u64()).map(|(all, left)| all - left);
            assert!(lost.is_some_and(|lost| lost <= 75), "{left} of {all}");
        }
        let made_good = reports.iter().filter(|r| !r["damage"]["snapshot"].is_null()).count();
        assert!(made_good >= 14, "each of 7 members, twice: {made_good}");
    }
}

/// The commit checkpoints of a snapshot are lost, but an entry after them names it.
#[test]
fn an_entry_stands_in_for_a_lost_commit() {
    let mut bench = used(SMALL);
    for _ in 0..12 {
        bench.renew(0);
    }
    bench.pass_s(2);
    // The snapshot is committed; one more entry right after the commits.
    let before = bench.image();
    bench.renew(1);
    let after = bench.image();
    let mut image = after.clone();
    let commits: Vec<u16> =
        (0..before.ring().slots()).filter(|slot| bench::kind(&before, *slot) == 1).collect();
    // Whatever checkpoints there are behind the newest snapshot's last member.
    let last_member = (0..before.ring().slots()).rfind(|s| bench::kind(&before, *s) == 3).unwrap();
    for slot in commits.into_iter().filter(|slot| *slot > last_member) {
        image = bench::with_noise(&image, slot, 1);
    }
    let reports = assert_agree("stands-in", &[after, image]);
    assert_eq!(reports[0]["components"], reports[1]["components"]);
    assert_eq!(
        reports[0]["lifetime"]["needle_stitches"],
        reports[1]["lifetime"]["needle_stitches"]
    );
}

#[test]
fn stuck_slots_are_retired_and_skipped() {
    let mut bench = Bench::fitted(SMALL);
    let mut images = Vec::new();
    for (round, slot) in [20_u16, 45, 46, 90, 127, 3].into_iter().enumerate() {
        bench.stick(slot);
        bench.sew(1 + round as u8, 30);
        bench.pass_s(140);
        images.push(bench.image());
        bench = bench.cut();
    }
    let reports = assert_agree("stuck", &images);
    let retired = reports.last().unwrap()["retired"].as_array().unwrap().len();
    assert!(retired >= 5, "{retired}");
}

/// A part moved from one board to another: the other's records do not count.
#[test]
fn a_part_of_two_boards() {
    let mut bench = old(SMALL);
    // The other board can be named while a first member of it is left.
    let has_first_member = |bench: &Bench| {
        let image = bench.image();
        let index = |slot| image.record(slot)[3] & 31;
        (40..120).any(|slot| bench::kind(&image, slot) == 3 && index(slot) == 0)
    };
    for _ in 0..300 {
        if !has_first_member(&bench) {
            bench.pass_s(1);
        }
    }
    assert!(has_first_member(&bench));
    let mut bench = bench.moved_to(ID + 1);
    bench.sew(2, 30);
    bench.power_fail();
    let reports = assert_agree("moved", &[bench.image()]);
    assert_eq!(reports[0]["board"]["id"], format!("{:016X}", ID + 1));
    assert_eq!(reports[0]["other_boards"][0]["id"], format!("{ID:016X}"));
    assert_eq!(reports[0]["lifetime"]["needle_stitches"][1], 30);
}

#[test]
fn nothing_there_is_named() {
    let image = |bytes| Image::new("test", bytes, 64).unwrap();
    let blank = image(vec![0xFF; 8_192]);
    let cleared = image(vec![0; 8_192]);
    let mut noise = image(vec![0xFF; 8_192]);
    for slot in 0..noise.ring().slots() {
        noise = bench::with_noise(&noise, slot, 7);
    }
    let reports = assert_agree("nothing", &[blank, cleared, noise]);
    let faults: Vec<u64> = reports.iter().map(|r| r["fault"]["number"].as_u64().unwrap()).collect();
    assert_eq!(faults, [4, 6, 6]);
}

/// No four bytes of the key, in hexadecimal or as a list of numbers.
#[test]
fn the_key_is_never_printed() {
    let image = old(SMALL).image();
    let report = inspect(&image, None);
    let text = render("x", &report);
    let json = serde_json::to_string(&report).unwrap();
    let debug = format!("{report:?}");
    for part in bench::KEY.chunks(4) {
        let hex = bench::hex(part);
        let list = part.iter().map(u8::to_string).collect::<Vec<_>>();
        for form in [hex.clone(), hex.to_uppercase(), list.join(","), list.join(", ")] {
            for output in [&text, &json, &debug] {
                assert!(!output.contains(&form), "{form}");
            }
        }
    }
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    assert!(text.contains("SERVICE INTERVAL") && text.contains("  needle 1 "));
}

/// Records that pass their CRC but say anything at all, in any slots, and noise: a
/// report comes out, in 100 columns.
#[test]
fn any_bytes_give_a_report() {
    let start = old(SMALL).image();
    let any_record = (0..128_u16, any::<bool>(), 1..=3_u8, 0..5_u32, vec(any::<u8>(), 64));
    let records = vec(any_record, 1..30);
    let mut runner = TestRunner::new_with_rng(
        Config { cases: 3_000, failure_persistence: None, ..Config::default() },
        TestRng::deterministic_rng(RngAlgorithm::ChaCha),
    );
    let outcome = runner.run(&records, |records| {
        let mut image = start.clone();
        for (slot, passes, kind, lap, bytes) in records {
            image = bench::with_record(&image, slot, passes.then_some((kind, lap)), &bytes);
        }
        for id in [None, Some(BoardId(ID)), Some(BoardId(7))] {
            let report = inspect(&image, id);
            let text = render("x", &report);
            prop_assert!(text.lines().all(|line| line.chars().count() <= 100), "{}", text);
            prop_assert_eq!(report.fault.is_none(), report.lifetime.is_some());
        }
        Ok(())
    });
    outcome.unwrap();
}
