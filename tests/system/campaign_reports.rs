//! What a campaign leaves: JSON that keeps to its published schema, a page that is whole
//! and safe, and a Parquet file with every run.

use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use parquet::file::reader::{FileReader as _, SerializedFileReader};
use parquet::record::Field;
use roxmltree::{Document, Node};
use serde_json::{Map, Value};
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::rules::Sound;
use shaftbook_evidence::campaign::draw::run_seed;
use shaftbook_evidence::campaign::execute::{Budget, execute};
use shaftbook_evidence::campaign::kind::{FaultKind, KindSet};
use shaftbook_evidence::campaign::least_most::LeastMost;
use shaftbook_evidence::campaign::part_shape::PartShape;
use shaftbook_evidence::campaign::plan::CampaignPlan;
use shaftbook_evidence::campaign::report::json::Report;
use shaftbook_evidence::campaign::report::schema::schema;
use shaftbook_evidence::campaign::report::{html, json, parquet as table};
use shaftbook_evidence::campaign::results::{FAILURES_KEPT, Results};
use shaftbook_evidence::campaign::row::RunRow;
use shaftbook_evidence::campaign::runner::{Ours, Runner as _};
use shaftbook_evidence::campaign::shop::Shop;
use shaftbook_evidence::campaign::state::{MetState, StateSet};
use shaftbook_evidence::campaign::stream::{CHUNK_RUNS, Chunk, Shard, StreamHeader, Writer};
use shaftbook_evidence::campaign::tally::{Cut, Named, Tally};

const EVIL: &str = "<b>&\"'</title>";

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn scratch(name: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("campaign-reports-{name}"))
}

fn shop(name: &str) -> Shop {
    Shop {
        name: name.into(),
        weight: 1,
        period_ms: 80,
        breaks_per_100k: 2.5,
        frame_change_s: 60,
        designs: Vec::new(),
    }
}

/// A plan that was never run: rows are made by hand.
fn plan(runs: u64) -> CampaignPlan {
    CampaignPlan {
        name: EVIL.into(),
        description: "by hand & <i>not</i> run".into(),
        seed: u64::MAX,
        runs,
        steps: LeastMost { least: 1, most: 2 },
        starts: 1,
        most_of_a_kind: 1,
        other_parts: 0.0,
        lives: None,
        faults: [(FaultKind::Cut, 1.0)].into(),
        required: vec![MetState::Commit.name().into(), MetState::Warned.name().into()],
        shops: vec![shop("one"), shop(EVIL)],
    }
}

/// Run `run`, with figures that differ from row to row and reach the ends of their types.
fn row(plan: &CampaignPlan, run: u64) -> RunRow {
    let mut kinds = KindSet::default();
    let mut states = StateSet::default();
    let mut faults = FaultSet::default();
    // Every seventh has no fault, state or name at all.
    for place in 0..run % 7 {
        kinds.add(FaultKind::ALL[((run + 5 * place) % 14) as usize]);
        states.add_if(true, MetState::ALL[((run + 3 * place) % 25) as usize]);
        faults.raise(Fault::ALL[((run + place) % 14) as usize]);
    }
    let small = run as u32;
    RunRow {
        run,
        seed: if run == 3 { u64::MAX } else { run_seed(plan, run) },
        shop: small % 2,
        kinds,
        states,
        named: Named::default().with(faults),
        steps: small + 1,
        faults: small + 2,
        cuts: small + 3,
        lost_running_ms: if run == 4 { u32::MAX } else { small + 4 },
        lost_trims: small + 5,
        lost_powered_ms: small + 6,
        warned_lost_stitches: small + 7,
        boot_us: small + 8,
        boot_bytes: small + 9,
        programs: small + 10,
        hottest_page: small + 11,
        seen: (run % 10 == 2).then(|| format!("over the bound: <lost> & \"{run}\" µs {EVIL}")),
    }
}

/// The stream `name` of `rows`, chunk by chunk, with a tally that has something in it.
fn stream_of(name: &str, plan: &CampaignPlan, row: impl Fn(u64) -> RunRow) -> PathBuf {
    let path = scratch(name);
    let header = StreamHeader::new(plan, "by-hand", Shard::WHOLE);
    let mut writer = Writer::begin(&path, &header).unwrap();
    for number in 0..header.chunks() {
        let mut tally = Tally::default();
        let mut states = StateSet::default();
        states.add_if(true, MetState::Commit);
        tally.hit(FaultKind::Cut, states);
        states.add_if(true, MetState::AtRest);
        (0..1_233).for_each(|_| tally.hit(FaultKind::Display, states));
        for (running_ms, ready_us) in [(0, Some(1_999)), (9_988, Some(23_456)), (300, None)] {
            tally.note_cut(&Cut {
                is_warned: false,
                is_sound: true,
                lost: Counters { running_ms, trims: 3, ..Counters::default() },
                ready_us,
                bytes_read: 100,
            });
        }
        tally.note_wear(&PartShape::REFERENCE, &[0, 0, 0], &[0, 5, 2]);
        let rows = header.runs(number).map(&row).collect();
        writer.chunk(rows, Chunk { number, tally }).unwrap();
    }
    path
}

/// Results of a campaign that failed and left states unvisited.
fn failing() -> Results {
    let plan = plan(600);
    // Each test its own file: they run side by side.
    let name = format!("failing-{:?}.jsonl", std::thread::current().id());
    Results::read(&stream_of(&name, &plan, |run| row(&plan, run))).unwrap()
}

/// Results of a campaign that was really run, on our board.
fn real() -> Results {
    let quick = root().join("host-sim/campaigns/quick.toml");
    let plan = CampaignPlan { runs: 64, starts: 2, ..CampaignPlan::load(&quick).unwrap() };
    let runner = Ours::<Sound>::new();
    let header = StreamHeader::new(&plan, &runner.subject(), Shard::WHOLE);
    let path = scratch(&format!("real-{:?}.jsonl", std::thread::current().id()));
    let mut writer = Writer::begin(&path, &header).unwrap();
    execute(&header, &runner, &mut writer, 0, Budget::default(), |_, _| {}).unwrap();
    Results::read(&path).unwrap()
}

/// The page as XML; its `meta` tags, the only ones without an end, are left out.
fn xml(page: &str) -> String {
    let page = page.strip_prefix("<!DOCTYPE html>").expect("it says what it is");
    let mut parts = page.split("<meta ");
    let mut text = parts.next().unwrap().to_owned();
    for part in parts {
        text.push_str(part.split_once('>').unwrap().1);
    }
    text
}

fn text(node: Node<'_, '_>) -> String {
    node.descendants().filter(Node::is_text).filter_map(|node| node.text()).collect()
}

fn elements<'a, 'b>(page: &'b Document<'a>, name: &'b str) -> impl Iterator<Item = Node<'b, 'a>> {
    page.descendants().filter(move |node| node.has_tag_name(name))
}

fn is_class(node: &Node<'_, '_>, class: &str) -> bool {
    node.attribute("class").is_some_and(|names| names.split(' ').any(|name| name == class))
}

#[test]
fn the_schema_is_the_one_that_is_published() {
    let published = fs::read_to_string(root().join("docs/schemas/campaign.schema.json")).unwrap();
    let now = schema();
    assert!(
        published == now,
        "the report's form has changed; if it is meant, and REPORT_FORMAT counts up where a \
         reader must change: cargo run -p shaftbook-evidence --example campaign_schema > \
         docs/schemas/campaign.schema.json"
    );
}

fn validator() -> jsonschema::Validator {
    let schema: Value = serde_json::from_str(&schema()).unwrap();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    jsonschema::meta::validate(&schema).expect("the schema is one");
    jsonschema::draft202012::new(&schema).unwrap()
}

#[test]
fn reports_keep_to_the_schema() {
    let validator = validator();
    for results in [failing(), real()] {
        let report = json::json(&results, "a.toml");
        let errors: Vec<_> = validator.iter_errors(&report).map(|e| e.to_string()).collect();
        assert!(errors.is_empty(), "{errors:?}");
    }
}

/// The value at `pointer`, to be broken.
fn at<'a>(report: &'a mut Value, pointer: &str) -> &'a mut Value {
    report.pointer_mut(pointer).unwrap_or_else(|| panic!("there is a {pointer}"))
}

#[test]
fn a_broken_report_does_not_keep_to_the_schema() {
    type Break = fn(&mut Value);
    let breaks: [(&str, Break); 9] = [
        ("a figure that is a word", |r| *at(r, "/verdict/cases") = "many".into()),
        ("a figure below 0", |r| *at(r, "/figures/boot_bytes") = (-1).into()),
        ("a part of a run", |r| *at(r, "/verdict/runs_done") = 0.5.into()),
        ("another form", |r| *at(r, "/format") = 2.into()),
        ("a state that there is not", |r| *at(r, "/coverage/unvisited/0") = "asleep".into()),
        ("a kind that there is not", |r| *at(r, "/fault_kinds/0/kind") = "moths".into()),
        ("no verdict", |r| drop(r.as_object_mut().unwrap().remove("verdict"))),
        ("no replay", |r| drop(at(r, "/failures/0").as_object_mut().unwrap().remove("replay"))),
        ("a member more", |r| {
            let campaign = at(r, "/campaign").as_object_mut().unwrap();
            campaign.insert("host".into(), "somewhere".into());
        }),
    ];
    let validator = validator();
    let sound = json::json(&failing(), "a.toml");
    assert!(validator.is_valid(&sound));
    for (what, break_it) in breaks {
        let mut report = sound.clone();
        break_it(&mut report);
        assert!(!validator.is_valid(&report), "{what} is taken");
    }
}

#[test]
fn the_report_says_what_the_runs_say() {
    let results = failing();
    let report = Report::of(&results, "a.toml");
    let plan = plan(600);
    let rows: Vec<_> = (0..600).map(|run| row(&plan, run)).collect();
    let failed = |of: &dyn Fn(&RunRow) -> bool| {
        rows.iter().filter(|row| of(row) && row.seen.is_some()).count() as u64
    };
    assert_eq!(serde_json::from_value::<Report>(json::json(&results, "a.toml")).unwrap(), report);
    assert!(report.verdict.complete && !report.verdict.held);
    assert_eq!((report.verdict.runs_planned, report.verdict.runs_done), (600, 600));
    assert_eq!(report.verdict.runs_failed, failed(&|_| true));
    assert_eq!(report.scenarios[1].failed, failed(&|row| row.shop == 1));
    for (kind, count) in FaultKind::ALL.into_iter().zip(&report.fault_kinds) {
        assert_eq!(count.failed, failed(&|row| row.kinds.contains(kind)), "{}", kind.name());
    }
    // What the hand-made tally holds, three times.
    assert_eq!(report.verdict.cases, 9);
    assert_eq!(report.figures.unwarned_cuts, 9);
    assert_eq!((report.figures.lost_running_ms.worst, report.figures.lost_trims.worst), (9_988, 3));
    assert_eq!(report.figures.lost_running_ms.bound, 10_000);
    assert_eq!(
        (report.figures.lost_trims.bound, report.figures.lost_powered_ms.bound),
        (64, 60_000)
    );
    assert_eq!(report.figures.boot_worst_us, 23_456);
    assert_eq!(report.figures.boot_median_from_us, Some(0));
    assert_eq!((report.wear.programs, report.wear.hottest_page_programs), (21, 15));
    assert_eq!(report.wear.hottest_over_mean, Some(365.714)); // 15 / (21 / 512)
    assert_eq!(report.coverage.missing, [MetState::Warned.name()]);
    assert_eq!(report.coverage.unvisited.len(), MetState::ALL.len() - 2);
    let commit = &report.coverage.states[MetState::Commit.index()];
    assert_eq!((commit.all, commit.cuts, commit.required), (3 * 1_234, 3, true));
    // Only so many failures are kept, with what replays them.
    assert_eq!(report.failures.len(), FAILURES_KEPT);
    assert_eq!(report.failures[1].run, 12);
    assert_eq!(
        report.failures[1].replay,
        "shaftbook campaign a.toml --seed 18446744073709551615 --run 12"
    );
    assert_eq!(report.failures[1].seen, rows[12].seen.clone().unwrap());
}

#[test]
fn the_page_is_well_formed_and_escapes_what_it_is_given() {
    let page = xml(&html::html(&failing(), "a.toml"));
    let page = Document::parse(&page).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(elements(&page, "b").count() + elements(&page, "i").count(), 0);
    assert_eq!(elements(&page, "title").next().map(text).unwrap(), format!("Campaign “{EVIL}”"));
    assert!(elements(&page, "th").any(|head| text(head) == EVIL), "the scenario's name");
    let seen = format!("Run 12: over the bound: <lost> & \"12\" µs {EVIL}");
    assert!(elements(&page, "h3").any(|head| text(head) == seen), "what was seen");
}

#[test]
fn the_page_needs_nothing_but_itself() {
    let text = xml(&html::html(&failing(), "a.toml"));
    let page = Document::parse(&text).unwrap();
    for name in ["script", "link", "img", "iframe", "object", "a"] {
        assert_eq!(elements(&page, name).count(), 0, "{name}");
    }
    for node in page.descendants() {
        for attribute in ["src", "href", "style", "onload", "onclick"] {
            assert_eq!(node.attribute(attribute), None, "{attribute}");
        }
    }
    let style: String = elements(&page, "style").filter_map(|node| node.text()).collect();
    for reference in ["url(", "@import", "http", "</"] {
        assert!(!style.contains(reference), "{reference}");
    }
    assert!(style.contains("prefers-color-scheme: dark") && style.contains("@media print"));
}

#[test]
fn the_page_can_be_read_without_seeing_it() {
    for results in [failing(), real()] {
        let text_of_page = xml(&html::html(&results, "a.toml"));
        let page = Document::parse(&text_of_page).unwrap();
        let ids: Vec<_> = page.descendants().filter_map(|node| node.attribute("id")).collect();
        assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len(), "ids are unique");
        for node in page.descendants() {
            for attribute in ["aria-labelledby", "aria-describedby"] {
                if let Some(id) = node.attribute(attribute) {
                    assert!(ids.contains(&id), "{id}");
                }
            }
        }
        assert_eq!(elements(&page, "svg").count(), 3);
        for plot in elements(&page, "svg") {
            assert_eq!(plot.attribute("role"), Some("img"));
            for name in ["title", "desc"] {
                let told = plot.children().find(|node| node.has_tag_name(name)).map(text);
                assert!(told.is_some_and(|told| !told.is_empty()), "{name}");
            }
        }
        for table in elements(&page, "table") {
            assert!(table.first_element_child().is_some_and(|node| node.has_tag_name("caption")));
        }
        for head in elements(&page, "th") {
            assert!(head.attribute("scope").is_some());
        }
    }
}

#[test]
fn the_page_names_every_state_and_kind_and_marks_what_was_never_met() {
    let results = failing();
    let text_of_page = xml(&html::html(&results, "a.toml"));
    let page = Document::parse(&text_of_page).unwrap();
    let heat = elements(&page, "table").find(|table| is_class(table, "heat")).unwrap();
    let heads: Vec<_> = heat.descendants().filter(|node| node.has_tag_name("th")).collect();
    for kind in FaultKind::ALL {
        assert!(heads.iter().any(|head| text(*head) == kind.name()), "{}", kind.name());
    }
    for state in MetState::ALL {
        let head = heads.iter().find(|head| {
            let name = head.first_element_child();
            name.is_some_and(|name| is_class(&name, "state") && text(name) == state.name())
        });
        let head = head.unwrap_or_else(|| panic!("{} is there", state.name()));
        let is_unvisited = results.unvisited().contains(&state);
        assert_eq!(text(*head).contains("✗ never met"), is_unvisited, "{}", state.name());
        assert!(text(*head).contains(state.meaning()), "{}", state.name());
    }
    let never = heat.descendants().filter(|node| {
        node.has_tag_name("td") && is_class(node, "never") && text(*node) == "–never"
    });
    let zeros = FaultKind::ALL.into_iter().flat_map(|kind| {
        MetState::ALL.into_iter().filter(move |state| failing_hits(kind, *state) == 0)
    });
    assert_eq!(never.count(), zeros.count());
    assert!(heat.descendants().any(|node| node.has_tag_name("td") && text(node) == "3,699"));
}

/// Hits of the hand-made tally.
fn failing_hits(kind: FaultKind, state: MetState) -> u64 {
    match (kind, state) {
        (FaultKind::Cut, MetState::Commit) => 3,
        (FaultKind::Display, MetState::Commit | MetState::AtRest) => 3 * 1_233,
        _ => 0,
    }
}

#[test]
fn the_page_says_the_verdict_and_how_to_play_failures_again() {
    let text_of_page = xml(&html::html(&failing(), "a.toml"));
    let page = Document::parse(&text_of_page).unwrap();
    let verdict = elements(&page, "section").find(|node| is_class(node, "verdict")).unwrap();
    let said = text(verdict);
    assert!(said.contains("✗ Did not hold") && is_class(&verdict, "bad"), "{said}");
    assert!(said.contains("60 runs failed of 600"), "{said}");
    assert!(said.contains("Required, but met by no cut or reset: warned."), "{said}");
    assert!(said.contains("No fault met: first-lap, "), "{said}");
    let commands: Vec<_> = elements(&page, "code").map(text).collect();
    assert_eq!(commands.len(), FAILURES_KEPT);
    assert!(
        commands
            .contains(&"shaftbook campaign a.toml --seed 18446744073709551615 --run 12".to_owned())
    );
    assert!(text(page.root_element()).contains("The first 50 of 60."));

    let results = real();
    let text_of_page = xml(&html::html(&results, "a.toml"));
    let page = Document::parse(&text_of_page).unwrap();
    let verdict = elements(&page, "section").find(|node| is_class(node, "verdict")).unwrap();
    let said = text(verdict);
    assert!(results.all.failed == 0 && said.contains("No run failed of 64"), "{said}");
    assert_eq!(said.contains("✓ Held"), results.held(), "{said}");
    assert_eq!(elements(&page, "code").count(), 0);
}

#[test]
fn a_campaign_that_was_interrupted_says_so() {
    let plan = plan(600);
    let path =
        stream_of("interrupted.jsonl", &plan, |run| RunRow { seen: None, ..row(&plan, run) });
    // The last chunk's own line is lost.
    let stream = fs::read_to_string(&path).unwrap();
    let kept = stream.trim_end().rsplit_once('\n').unwrap().0;
    fs::write(&path, format!("{kept}\n")).unwrap();
    let results = Results::read(&path).unwrap();
    let report = Report::of(&results, "a.toml");
    assert_eq!((report.verdict.runs_planned, report.verdict.runs_done), (600, 512));
    assert!(!report.verdict.complete && report.verdict.held);
    let page = html::html(&results, "a.toml");
    assert!(page.contains("✓ Held so far, not complete"));
    assert!(page.contains("600 runs are planned: 88 are missing."));
    assert!(page.contains("Required, and not yet met by a cut or reset: warned."));
}

#[test]
fn the_same_results_give_the_same_bytes() {
    let results = [real(), real()];
    let [a, b] = results.each_ref().map(|results| html::html(results, "a.toml"));
    assert!(a == b, "the page");
    let [a, b] = results.each_ref().map(|results| json::json(results, "a.toml").to_string());
    assert!(a == b, "the JSON");
    let plan = plan(600);
    let [a, b] = ["same-a.jsonl", "same-b.jsonl"].map(|name| {
        let path = stream_of(name, &plan, |run| row(&plan, run));
        let mut bytes = Vec::new();
        table::write(&path, &mut bytes).unwrap();
        bytes
    });
    assert!(a == b, "the table");
}

/// A cell of the table as a JSON value.
fn cell(field: &Field) -> Value {
    match field {
        Field::Null => Value::Null,
        Field::Bool(is) => (*is).into(),
        Field::UInt(figure) => (*figure).into(),
        Field::ULong(figure) => (*figure).into(),
        Field::Str(words) => words.clone().into(),
        Field::ListInternal(list) => list.elements().iter().map(cell).collect(),
        other => panic!("a type that no column has: {other:?}"),
    }
}

/// What the table must say of `row`.
fn told(plan: &CampaignPlan, row: &RunRow) -> Value {
    let faults = row.named.iter().map(|fault| format!("{fault:?}"));
    serde_json::json!({
        "run": row.run,
        "seed": row.seed,
        "scenario": plan.shops[row.shop as usize].name,
        "kinds": row.kinds.iter().map(FaultKind::name).collect::<Vec<_>>(),
        "states": row.states.iter().map(MetState::name).collect::<Vec<_>>(),
        "faults_named": faults.collect::<Vec<_>>(),
        "steps": row.steps,
        "faults": row.faults,
        "cuts": row.cuts,
        "lost_running_ms": row.lost_running_ms,
        "lost_trims": row.lost_trims,
        "lost_powered_ms": row.lost_powered_ms,
        "warned_lost_stitches": row.warned_lost_stitches,
        "boot_us": row.boot_us,
        "boot_bytes": row.boot_bytes,
        "programs": row.programs,
        "hottest_page_programs": row.hottest_page,
        "held": row.seen.is_none(),
        "seen": row.seen,
    })
}

/// `memory-no-answer` as `MemoryNoAnswer`: the name in the code.
fn in_code(name: &str) -> String {
    let word = |word: &str| word[..1].to_uppercase() + &word[1..];
    name.split('-').map(word).collect()
}

/// All rows of a Parquet file, by column.
fn read_back(path: &Path) -> Vec<Value> {
    let reader = SerializedFileReader::new(File::open(path).unwrap()).unwrap();
    let rows = reader.get_row_iter(None).unwrap();
    rows.map(|row| {
        let row = row.unwrap();
        let mut told: Map<String, Value> =
            row.get_column_iter().map(|(name, field)| (name.clone(), cell(field))).collect();
        let faults = told["faults_named"].as_array().unwrap();
        let faults = faults.iter().map(|name| Value::from(in_code(name.as_str().unwrap())));
        let faults: Value = faults.collect();
        told.insert("faults_named".into(), faults);
        Value::Object(told)
    })
    .collect()
}

#[test]
fn every_run_is_in_the_table() {
    let plan = plan(600);
    let path = stream_of("table.jsonl", &plan, |run| row(&plan, run));
    let expected: Vec<_> = (0..600).map(|run| told(&plan, &row(&plan, run))).collect();
    // Groups that end within a chunk, with it, and after all.
    for group_rows in [100, CHUNK_RUNS as usize, table::GROUP_ROWS] {
        let out = scratch("table.parquet");
        let file = File::create(&out).unwrap();
        assert_eq!(table::write_in_groups(&path, file, group_rows).unwrap(), 600);
        assert_eq!(read_back(&out), expected, "in groups of {group_rows}");
        let reader = SerializedFileReader::new(File::open(&out).unwrap()).unwrap();
        let groups = reader.metadata().row_groups();
        assert_eq!(groups.len(), 600_usize.div_ceil(group_rows));
        assert!(groups.iter().all(|group| group.num_rows() <= i64::try_from(group_rows).unwrap()));
    }
}

#[test]
fn the_table_says_what_it_is_of_and_nothing_of_time_or_host() {
    let plan = plan(1);
    let path = stream_of("about.jsonl", &plan, |run| row(&plan, run));
    let out = scratch("about.parquet");
    table::write(&path, File::create(&out).unwrap()).unwrap();
    let reader = SerializedFileReader::new(File::open(&out).unwrap()).unwrap();
    let about = reader.metadata().file_metadata();
    let version = env!("CARGO_PKG_VERSION");
    assert_eq!(about.created_by(), Some(format!("shaftbook version {version}").as_str()));
    let about = about.key_value_metadata().unwrap().iter();
    let about: Vec<_> = about.map(|entry| (entry.key.as_str(), entry.value.as_deref())).collect();
    let seed = u64::MAX.to_string();
    assert_eq!(
        about,
        [
            ("campaign", Some(EVIL)),
            ("subject", Some("by-hand")),
            ("version", Some(version)),
            ("seed", Some(seed.as_str())),
            ("part", Some("1/1")),
        ]
    );
}

#[test]
fn runs_of_a_chunk_that_is_not_complete_are_not_in_the_table() {
    let plan = plan(256);
    let path = stream_of("torn.jsonl", &plan, |run| row(&plan, run));
    let stream = fs::read_to_string(&path).unwrap();
    let run = stream.lines().nth(1).unwrap();
    let mut file = OpenOptions::new().append(true).open(&path).unwrap();
    write!(file, "{run}\n{run}\n{}", &run[..run.len() / 2]).unwrap();
    let mut bytes = Vec::new();
    assert_eq!(table::write(&path, &mut bytes).unwrap(), 256);
    let out = scratch("torn.parquet");
    fs::write(&out, bytes).unwrap();
    assert_eq!(read_back(&out).len(), 256);
}
