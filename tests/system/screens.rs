//! Every screen of the panel is as it was looked at and agreed on: in the pictures in text
//! under `tests/screens`, and in those of the documents. After a change that is meant, look at
//! the difference, then write the pictures anew:
//!
//! ```sh
//! cargo run -p host-sim --bin shaftbook -- screens --out tests/screens --form text
//! cargo run -p host-sim --bin shaftbook -- screens --out docs/screens
//! ```

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use shaftbook_panel::frame::{Frame, HEIGHT, WIDTH};
use shaftbook_panel::text::{COLUMNS, Language};
use shaftbook_panel::view::Body;
use shaftbook_tools::gallery::exhibits;
use shaftbook_tools::picture::{SCALE, frame_of, text_of};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

#[test]
fn every_screen_is_the_text_picture_that_was_agreed_on() {
    for language in Language::ALL {
        let path = root().join(format!("tests/screens/{}.txt", language.letters()));
        let agreed = fs::read_to_string(&path).expect("the golden file is there");
        let mut agreed = agreed.split("== ").skip(1);
        for exhibit in exhibits(language) {
            let now = format!(
                "{}: {}\n{}",
                exhibit.name,
                exhibit.caption,
                text_of(&frame_of(&exhibit.view))
            );
            let agreed = agreed.next().unwrap_or("nothing");
            assert!(agreed == now, "{language:?}: agreed on:\n{agreed}\nnow:\n{now}");
        }
        assert_eq!(agreed.next(), None, "a screen that is no longer there");
    }
}

/// The panel's pixels in a PNG of the documents.
fn pixels(path: &Path) -> Vec<bool> {
    let file = fs::File::open(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let mut decoder = png::Decoder::new(std::io::BufReader::new(file));
    decoder.set_transformations(png::Transformations::EXPAND);
    let mut reader = decoder.read_info().expect("a PNG");
    let mut image = vec![0; reader.output_buffer_size().expect("it fits memory")];
    let info = reader.next_frame(&mut image).expect("a whole picture");
    assert_eq!((info.width as usize, info.height as usize), (WIDTH * SCALE, HEIGHT * SCALE));
    (0..WIDTH * HEIGHT)
        .map(|n| image[(n / WIDTH * SCALE + 1) * WIDTH * SCALE + n % WIDTH * SCALE + 1] > 127)
        .collect()
}

fn pixels_of(frame: &Frame) -> Vec<bool> {
    (0..WIDTH * HEIGHT).map(|n| frame.is_lit(n % WIDTH, n / WIDTH)).collect()
}

#[test]
fn the_pictures_in_the_documents_have_not_drifted() {
    let folder = root().join("docs/screens");
    let mut names = BTreeSet::new();
    for language in Language::ALL {
        for exhibit in exhibits(language) {
            let name = format!("{}.{}.png", exhibit.name, language.letters());
            let same = pixels(&folder.join(&name)) == pixels_of(&frame_of(&exhibit.view));
            assert!(same, "docs/screens/{name} is not what the panel shows now");
            names.insert(name);
        }
    }
    let there = fs::read_dir(&folder).expect("the folder is there");
    let there = there.map(|entry| entry.unwrap().file_name().into_string().unwrap());
    assert_eq!(there.collect::<BTreeSet<_>>(), names, "each picture is of a screen");
    let page = fs::read_to_string(root().join("docs/PANEL.md")).expect("the page is there");
    for name in names {
        assert!(page.contains(&format!("(screens/{name})")), "{name} is not shown in PANEL.md");
    }
}

#[test]
fn no_line_runs_into_its_figure() {
    for language in Language::ALL {
        for exhibit in exhibits(language) {
            let Body::Rows(rows) = &exhibit.view.body else { continue };
            for row in rows {
                let gap = usize::from(!row.left.is_empty() && !row.right.is_empty());
                let columns = row.left.chars().count() + gap + row.right.chars().count();
                assert!(columns <= COLUMNS, "{}: {row:?}", exhibit.name);
            }
        }
    }
}
