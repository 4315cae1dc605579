//! The worked example of `docs/FORMAT.md`, made by the real board.

use std::fmt::Write;
use std::fs;

use shaftbook_core::medium::Geometry;
use shaftbook_core::settings::Settings;
use shaftbook_tools::inspect::image::Image;

use super::bench::{self, Bench, SHORT};
use super::decoder::assert_agree;

const DOCUMENT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/FORMAT.md");

fn example() -> Image {
    let geometry = Geometry { size_bytes: 8_192, page_bytes: 64 };
    // No checkpoint falls due by time: the example does not depend on when.
    let settings = Settings { checkpoint_powered_s: 60, ..SHORT };
    let mut bench = Bench::fitted_with(geometry, settings);
    bench.sew(1, 10);
    bench.thread_break(2, 1);
    bench.renew(0);
    bench.sew(1, 3);
    bench.trim(1);
    bench.power_fail();
    bench.image()
}

/// All slots that are not blank, as the document shows them.
fn hex(image: &Image) -> String {
    let mut text = String::new();
    for slot in 0..image.ring().slots() {
        let record = image.record(slot);
        if record.iter().all(|b| *b == 0xFF) {
            continue;
        }
        for (row, bytes) in record.chunks(32).enumerate() {
            let name = if row == 0 { format!("{slot:>2}") } else { String::from("  ") };
            let _ = writeln!(text, "{name} {}", bench::hex(bytes));
        }
    }
    text
}

#[test]
fn the_documents_example_is_what_a_board_writes() {
    let image = example();
    let document = fs::read_to_string(DOCUMENT).expect("docs/FORMAT.md");
    let hex = hex(&image);
    assert!(document.contains(&hex), "docs/FORMAT.md, section 10, should hold:\n{hex}");
    let reports = assert_agree("example", &[image]);
    assert_eq!(reports[0]["lifetime"]["powered_ms"], 1_666, "section 10 says so");
    assert_eq!(reports[0]["components"][0]["wear"], 3, "section 10 says so");
}
