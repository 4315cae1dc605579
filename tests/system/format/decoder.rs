//! Runs the Python decoder on images, and compares its answer with that of `inspect`.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use shaftbook_tools::inspect::compose::inspect;
use shaftbook_tools::inspect::image::Image;

const DECODER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/format/decode.py");

/// Keys that every answer has; the last five only where counters are recovered.
const ALWAYS: [&str; 4] = ["slots", "board", "fault", "lifetime"];
const RECOVERED: [&str; 7] =
    ["interval", "carried_in_stated", "components", "journal", "retired", "wear", "damage"];

/// Asserts that the firmware's recovery, the reading of every slot and the Python
/// decoder agree on each of `images`; gives `inspect`'s reports. `name` names the files.
pub fn assert_agree(name: &str, images: &[Image]) -> Vec<Value> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("format-{name}"));
    fs::create_dir_all(&folder).expect("a folder for the images");
    let mut paths = Vec::new();
    for (index, image) in images.iter().enumerate() {
        let path = folder.join(format!("{index}.bin"));
        fs::write(&path, image.bytes()).expect("an image is written");
        paths.push(path);
    }
    let page_bytes = images[0].geometry().page_bytes.to_string();
    let output = Command::new("python3")
        .arg(DECODER)
        .args(["--page-bytes", &page_bytes])
        .args(&paths)
        .output()
        .expect("python3 must be installed: the independent decoder is in Python");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let decoded: Vec<Value> = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(decoded.len(), images.len());
    let mut reports = Vec::new();
    for ((image, python), path) in images.iter().zip(&decoded).zip(&paths) {
        let report = serde_json::to_value(inspect(image, None)).expect("JSON");
        // `shaftbook inspect` and the decoder, on this file, show the case again.
        let place = path.display().to_string();
        assert_eq!(report["differences"], Value::Array(vec![]), "{place}");
        assert_within(&place, python, &report);
        for key in ALWAYS {
            assert!(python.get(key).is_some(), "{place}: {key}");
        }
        if !report["lifetime"].is_null() {
            for key in RECOVERED {
                assert!(!python[key].is_null(), "{place}: {key}");
            }
        }
        reports.push(report);
    }
    reports
}

/// Asserts that all that `python` says, `report` says, too.
fn assert_within(place: &str, python: &Value, report: &Value) {
    match (python, report) {
        (Value::Object(python), Value::Object(report)) => {
            for (key, value) in python {
                let place = format!("{place}: {key}");
                let other = report.get(key).unwrap_or_else(|| panic!("{place} is not in inspect"));
                assert_within(&place, value, other);
            }
        }
        (Value::Array(python), Value::Array(report)) => {
            assert_eq!(python.len(), report.len(), "{place}: {python:?} {report:?}");
            for (index, (a, b)) in python.iter().zip(report).enumerate() {
                assert_within(&format!("{place}[{index}]"), a, b);
            }
        }
        _ => assert_eq!(python, report, "{place}"),
    }
}
