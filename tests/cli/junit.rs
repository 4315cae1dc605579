//! `shaftbook prove --junit`, as a person runs it. The XML is read back by another reader than
//! the one that wrote it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use roxmltree::{Document, Node};
use shaftbook_evidence::junit::{Case, Ending, Suite};
use shaftbook_evidence::prove::junit::suite;
use shaftbook_evidence::prove::sabotage::Sabotage;
use shaftbook_evidence::prove::{Proof, SearchPlan};

fn prove(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_shaftbook"))
        .arg("prove")
        .args(args)
        .output()
        .expect("it starts")
}

/// An empty directory for one test.
fn directory(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&path);
    fs::create_dir_all(&path).expect("a directory");
    path
}

fn written(suite: &Suite) -> String {
    let mut bytes = Vec::new();
    suite.write(&mut bytes).expect("memory can be written to");
    String::from_utf8(bytes).expect("UTF-8")
}

/// The only node of that name.
fn only<'a>(document: &'a Document<'_>, name: &str) -> Node<'a, 'a> {
    let mut nodes = document.descendants().filter(|node| node.has_tag_name(name));
    let node = nodes.next().expect(name);
    assert!(nodes.next().is_none(), "one {name}");
    node
}

fn cases<'a>(document: &'a Document<'_>) -> Vec<Node<'a, 'a>> {
    document.descendants().filter(|node| node.has_tag_name("testcase")).collect()
}

/// Tests, failures, errors and skipped ones as root and suite state them, which must be
/// the same, and as the cases are.
fn counts(document: &Document<'_>) -> [usize; 3] {
    let root = document.root_element();
    assert!(root.has_tag_name("testsuites"), "{root:?}");
    let suite = only(document, "testsuite");
    let stated = |node: &Node<'_, '_>, name| {
        node.attribute(name).map(|value| value.parse::<usize>().expect("a number"))
    };
    let with = |name: &str| {
        let all = cases(document);
        all.iter().filter(|case| case.children().any(|child| child.has_tag_name(name))).count()
    };
    let counted = [cases(document).len(), with("failure"), with("skipped")];
    for (name, count) in ["tests", "failures"].into_iter().zip(counted) {
        assert_eq!(stated(&root, name), Some(count), "{name}");
        assert_eq!(stated(&suite, name), Some(count), "{name}");
    }
    assert_eq!(stated(&suite, "errors"), Some(0));
    assert_eq!(stated(&suite, "skipped"), Some(counted[2]));
    counted
}

#[test]
fn proofs_that_hold_are_cases_without_failure_and_the_same_bytes_every_time() {
    let directory = directory("junit_held");
    let run = |name: &str, threads: &str| {
        let path = directory.join(name);
        let output = Command::new(env!("CARGO_BIN_EXE_shaftbook"))
            .args(["prove", "--only", "roll-over", "--only", "needles-add-up"])
            .args(["--seed", "3", "--junit"])
            .arg(&path)
            .env("RAYON_NUM_THREADS", threads)
            .output()
            .expect("it starts");
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        fs::read_to_string(path).expect("a file")
    };
    let text = run("one.xml", "1");
    assert_eq!(text, run("two.xml", "2"));
    let left = fs::read_dir(&directory).expect("a folder").count();
    assert_eq!(left, 2, "no unfinished file");
    let document = Document::parse(&text).expect("XML");
    assert_eq!(counts(&document), [2, 0, 0]);
    let names: Vec<_> = cases(&document).iter().filter_map(|c| c.attribute("name")).collect();
    assert_eq!(names, ["needles-add-up", "roll-over"]);
    assert!(cases(&document).iter().all(|c| c.attribute("classname") == Some("shaftbook.prove")));
    let seed = document.descendants().find(|node| node.attribute("name") == Some("seed"));
    assert_eq!(seed.expect("a property").attribute("value"), Some("3"));
    for word in ["time=", "timestamp=", "hostname="] {
        assert!(!text.contains(word), "{word} differs from run to run: {text}");
    }
}

#[test]
fn a_proof_that_fails_is_a_failure_with_the_command_that_replays_it() {
    let plan = SearchPlan::new(1, true);
    let board: &'static Sabotage = "lap-compared-plainly".parse().expect("a broken board");
    let broken = board.run(Proof::RollOver, &plan, &|_, _| {});
    let mut sound = broken.clone();
    sound.proof = Proof::NeedlesAddUp;
    sound.failure = None;
    let outcomes = [broken, sound];
    let id = outcomes[0].failure.as_ref().expect("it is caught").id;
    let text = written(&suite(&plan, &outcomes, Some(board.name)));
    let document = Document::parse(&text).expect("XML");
    assert_eq!(counts(&document), [2, 1, 0]);
    let failure = only(&document, "failure");
    assert_eq!(failure.parent().and_then(|case| case.attribute("name")), Some("roll-over"));
    let replay = format!("shaftbook prove --board {} --replay {id}", board.name);
    assert!(failure.attribute("message").expect("one").contains(&replay), "{text}");
    let body = failure.text().expect("a body");
    assert!(body.contains(&format!("replay: {replay}\n")), "{body}");
    assert!(body.contains(Proof::RollOver.claim()), "{body}");
}

#[test]
fn anything_can_stand_in_a_message() {
    let case = |name: &str, ending| Case {
        name: name.into(),
        class: "a.b".into(),
        ending,
        properties: vec![("p\"<".into(), "1 & 2".into())],
        output: String::new(),
    };
    let text = "a < b && \"c\" > 'd' ]]> \u{1b}[31mred\u{1b}[0m \u{0}\nsecond line é\n";
    let message = "<&\">'".to_owned();
    let suite = Suite {
        name: "all & any".into(),
        properties: Vec::new(),
        cases: vec![
            case("held", Ending::Held),
            case("failed", Ending::Failed { message: message.clone(), text: text.into() }),
            case("skipped", Ending::Skipped { message: message.clone() }),
        ],
    };
    let text = written(&suite);
    let document = Document::parse(&text).expect("XML");
    assert_eq!(counts(&document), [3, 1, 1]);
    let failure = only(&document, "failure");
    assert_eq!(failure.attribute("message"), Some(&*message));
    let body = failure.text().expect("a body");
    assert!(body.starts_with("a < b && \"c\" > 'd' ]]> red"), "{body:?}");
    assert!(body.contains("\nsecond line é"), "{body:?}");
    assert_eq!(only(&document, "skipped").attribute("message"), Some(&*message));
}

#[test]
fn a_file_that_cannot_be_written_is_said_before_a_proof_is_run() {
    let output = prove(&["--junit", "/no/such/folder/x.xml"]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(output.stdout.is_empty(), "{output:?}");
    let said = String::from_utf8(output.stderr).expect("text");
    assert!(said.lines().count() == 1 && said.contains("/no/such/folder/x.xml"), "{said}");
}

#[test]
fn a_case_that_is_not_there_leaves_no_file() {
    let directory = directory("junit_none");
    let path = directory.join("x.xml").display().to_string();
    let output = prove(&["--replay", "roll-over:1:0:999999", "--junit", &path]);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert_eq!(fs::read_dir(&directory).expect("a folder").count(), 0);
}
