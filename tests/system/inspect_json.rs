//! The JSON of `shaftbook inspect` keeps to its published schema, whatever is on the part, and
//! text, JSON and `complete` say the same.

use std::fs;
use std::path::Path;

use serde_json::Value;
use shaftbook_core::counters::Needle;
use shaftbook_core::rules::Sound;
use shaftbook_core::serial::Lap;
use shaftbook_tools::inspect::compose::{inspect, inspect_by};
use shaftbook_tools::inspect::image::Image;
use shaftbook_tools::inspect::report::NamedReport;
use shaftbook_tools::inspect::schema::schema;
use shaftbook_tools::inspect::text::render;
use shaftbook_world::bench::Bench;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bus::Tear;

const RECORD_BYTES: usize = 64;

/// The part of a board that has been round its ring, and the slot of its newest record.
fn round() -> (Vec<u8>, usize) {
    let mut bench: Bench<Core<Sound>> = Bench::fitted(1, Lap::new(1));
    let needle = Needle::new(3).unwrap();
    bench.sew(needle, 2_700, 1_990_000, &mut |_| {});
    bench.warn();
    bench.rest(&mut |_| {});
    let mut bytes = Vec::new();
    bench.cut_image(Tear::New, &mut bytes);
    let report = inspect(&image(&bytes), None);
    assert!(report.complete, "{:?}", report.missing);
    let wear = report.wear.unwrap();
    assert_eq!(wear.newest_lap, 2, "it has been round once");
    (bytes, usize::from(wear.newest_slot))
}

fn image(bytes: &[u8]) -> Image {
    Image::new("test", bytes.to_vec(), 64).unwrap()
}

/// `bytes` with the newest `count` slots, up to `newest`, changed.
fn newest_changed(
    bytes: &[u8],
    newest: usize,
    count: usize,
    change: impl Fn(&mut [u8]),
) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for slot in newest + 1 - count..=newest {
        change(&mut bytes[slot * RECORD_BYTES..][..RECORD_BYTES]);
    }
    bytes
}

/// Images of each kind, by name, and whether the newest figures are still on them.
fn images() -> Vec<(&'static str, Vec<u8>, bool)> {
    let (whole, newest) = round();
    assert!((150..300).contains(&newest), "{newest}");
    let half = whole.len() / 2;
    let mut torn = whole.clone();
    torn[(newest + 1) * RECORD_BYTES + 9] ^= 1;
    let mut older = whole.clone();
    older[300 * RECORD_BYTES + 9] ^= 1;
    let mut put_back = whole.clone();
    let first = whole[400 * RECORD_BYTES..][..RECORD_BYTES].to_vec();
    put_back[7 * RECORD_BYTES..][..RECORD_BYTES].copy_from_slice(&first);
    vec![
        ("one record of the lap before is damaged", older, newest < 298),
        ("the next slot is torn", torn, false),
        ("ten newest flipped", newest_changed(&whole, newest, 10, |slot| slot[20] ^= 1), false),
        ("newest blank", newest_changed(&whole, newest, 100, |slot| slot.fill(0xFF)), false),
        // The snapshot is in the other half.
        ("an address line is stuck", whole[..half].repeat(2), false),
        ("a copy of another slot", put_back, true),
        ("blank", vec![0xFF; 32_768], false),
        ("zeros", vec![0; 8_192], false),
        ("whole", whole, true),
    ]
}

#[test]
fn the_schema_is_the_one_that_is_published() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
    let published = fs::read_to_string(root.join("docs/schemas/inspect.schema.json")).unwrap();
    assert!(
        published == schema(),
        "the form of inspect's JSON has changed; if it is meant, and INSPECT_FORMAT counts up \
         where a reader must change: cargo run -p shaftbook-tools --example inspect_schema > \
         docs/schemas/inspect.schema.json"
    );
}

fn validator() -> jsonschema::Validator {
    let schema: Value = serde_json::from_str(&schema()).unwrap();
    jsonschema::meta::validate(&schema).expect("the schema is one");
    jsonschema::draft202012::new(&schema).unwrap()
}

fn json(bytes: &[u8]) -> Value {
    let report = inspect(&image(bytes), None);
    serde_json::to_value(NamedReport::new("part.bin".into(), report)).unwrap()
}

#[test]
fn reports_keep_to_the_schema_and_their_texts_say_the_same() {
    let validator = validator();
    for (what, bytes, is_complete) in images() {
        let value = json(&bytes);
        let errors: Vec<_> = validator.iter_errors(&value).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "{what}: {errors:?}");
        assert_eq!(value["complete"], is_complete, "{what}: {}", value["missing"]);
        let text = render("part.bin", &inspect(&image(&bytes), None));
        assert_eq!(text.contains("\nMISSING"), !value["missing"].is_null(), "{what}: {text}");
        assert!(text.lines().all(|line| line.chars().count() <= 100), "{what}: {text}");
    }
}

#[test]
fn a_broken_report_does_not_keep_to_the_schema() {
    let (whole, newest) = round();
    let sound = json(&newest_changed(&whole, newest, 3, |slot| slot.fill(0)));
    let validator = validator();
    assert!(validator.is_valid(&sound));
    let breaks: [(&str, &str, Value); 6] = [
        ("a figure that is a word", "/lifetime/stitches", "many".into()),
        ("a figure below 0", "/missing/records_at_most", (-1).into()),
        ("another form", "/format", 2.into()),
        ("a cause that there is not", "/missing/because/0/kind", "moths".into()),
        ("complete by a number", "/complete", 1.into()),
        ("a slot that is a list", "/missing/since/slot", Value::Array(vec![])),
    ];
    for (what, pointer, value) in breaks {
        let mut report = sound.clone();
        *report.pointer_mut(pointer).unwrap_or_else(|| panic!("there is a {pointer}")) = value;
        assert!(!validator.is_valid(&report), "{what} is taken");
    }
    for (object, member) in [("", "host"), ("/missing", "why"), ("/lifetime", "needles")] {
        let mut report = sound.clone();
        let object = report.pointer_mut(object).and_then(Value::as_object_mut).unwrap();
        object.insert(member.into(), 1.into());
        assert!(!validator.is_valid(&report), "a member {member} is taken");
    }
}

/// The cases that were reported: each says what is missing, and the bound covers it.
#[test]
fn what_is_missing_is_named_by_its_slots_and_bounded() {
    let (whole, newest) = round();
    let stitches = |bytes: &[u8]| inspect(&image(bytes), None).lifetime.map_or(0, |f| f.stitches);
    for (count, change) in [(10, 0_u8), (100, 0xFF)] {
        let bytes = newest_changed(&whole, newest, count, |slot| slot.fill(change));
        let missing = inspect(&image(&bytes), None).missing.expect("it is said");
        assert_eq!(missing.records_at_most, Some(count as u64));
        assert_eq!(usize::from(missing.since.slot), newest - count);
        let lost = stitches(&whole) - stitches(&bytes);
        assert!(lost > 0 && lost <= missing.at_most.unwrap().stitches, "{lost}");
    }
    // Cut short: the image is full to its end, and nothing else shows it.
    let cut = &whole[..128 * RECORD_BYTES];
    let by_default = inspect(&image(cut), None);
    assert!(!by_default.complete);
    if let Some(missing) = by_default.missing {
        assert!(missing.records_at_most >= Some((newest - 127) as u64));
    }
    // What is known of the size is not guessed.
    let known = inspect_by::<Sound>(&image(&whole), None, true);
    assert!(known.complete);
    // The map shows a damaged slot where the next record goes.
    let mut torn = whole.clone();
    torn[(newest + 1) * RECORD_BYTES..][..RECORD_BYTES].fill(0);
    let text = render("x", &inspect(&image(&torn), None));
    let is_map = |line: &&str| line.split(' ').next_back().is_some_and(|map| map.len() == 64);
    let map: String = text.lines().filter(is_map).collect();
    assert!(map.contains('!') && !map.contains('>'), "{text}");
}
