//! Campaigns: they leave the same bytes if they are split, interrupted or run on other cores;
//! what is broken is found, shrunk and replayed; what no fault has met is said.

use std::path::{Path, PathBuf};

use shaftbook_evidence::campaign::deed::Deed;
use shaftbook_evidence::campaign::draw::draw;
use shaftbook_evidence::campaign::execute::{Budget, execute};
use shaftbook_evidence::campaign::kind::FaultKind;
use shaftbook_evidence::campaign::merge::merge;
use shaftbook_evidence::campaign::part_shape::PartShape;
use shaftbook_evidence::campaign::plan::CampaignPlan;
use shaftbook_evidence::campaign::regression::Regression;
use shaftbook_evidence::campaign::results::Results;
use shaftbook_evidence::campaign::runner::{self, Runner};
use shaftbook_evidence::campaign::script::{Script, ScriptFault, Start};
use shaftbook_evidence::campaign::shrink::{shrink, way};
use shaftbook_evidence::campaign::stream::{CHUNK_RUNS, Shard, StreamHeader, Writer};
use shaftbook_world::bench::workload::Step;
use tempfile::TempDir;

fn plan(runs: u64) -> CampaignPlan {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/campaigns/quick.toml");
    CampaignPlan { runs, ..CampaignPlan::load(&path).expect("the quick campaign") }
}

fn sound() -> Box<dyn Runner> {
    runner::of(None)
}

fn broken(name: &str) -> Box<dyn Runner> {
    runner::named(name).expect("a broken board of that name")
}

/// Runs a part of a campaign into a file of `folder`; the file.
fn run(
    plan: &CampaignPlan,
    runner: &dyn Runner,
    shard: Shard,
    folder: &TempDir,
    name: &str,
    threads: usize,
) -> PathBuf {
    let path = folder.path().join(name);
    let header = StreamHeader::new(plan, &runner.subject(), shard);
    let (mut writer, has) = Writer::resume(&path, &header).expect("a stream");
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
    let done =
        pool.install(|| execute(&header, runner, &mut writer, has, Budget::default(), |_, _| {}));
    assert!(done.expect("it is written").is_complete);
    path
}

fn bytes(path: &Path) -> Vec<u8> {
    std::fs::read(path).expect("a file")
}

#[test]
fn a_sound_board_holds_and_meets_what_a_campaign_of_this_size_meets() {
    let folder = TempDir::new().expect("a folder");
    let path = run(&plan(512), sound().as_ref(), Shard::WHOLE, &folder, "runs", 2);
    let results = Results::read(&path).expect("results");
    assert_eq!(results.all.failed, 0, "{:?}", results.failures.first());
    assert_eq!(results.all.runs, 512);
    assert!(results.tally.cuts > 1_000, "{}", results.tally.cuts);
    assert!(results.tally.lost_running_ms > 5_000, "cuts fall late in the interval too");
    assert!(results.tally.lost_running_ms <= 10_000);
    assert!(results.tally.warned_cuts > 50 && results.tally.warned_lost_stitches == 0);
    for kind in FaultKind::ALL {
        assert!(results.kinds[kind.index()].runs > 0, "{}", kind.name());
    }
}

#[test]
fn any_number_of_threads_and_parts_gives_the_same_bytes() {
    let plan = plan(3 * CHUNK_RUNS - 50);
    // A broken board: rows of runs that failed are among them.
    let (folder, runner) = (TempDir::new().expect("a folder"), broken("not-read-back"));
    let whole = run(&plan, runner.as_ref(), Shard::WHOLE, &folder, "whole", 1);
    let again = run(&plan, runner.as_ref(), Shard::WHOLE, &folder, "again", 2);
    assert_eq!(bytes(&whole), bytes(&again), "one thread and two");
    let failed = Results::read(&whole).expect("results").all.failed;
    assert!(failed > 10, "{failed} runs failed");
    let part = |index| {
        let (shard, name) = (Shard { index, of: 2 }, format!("part-{index}"));
        run(&plan, runner.as_ref(), shard, &folder, &name, 2)
    };
    let parts = [part(2), part(1)];
    let merged = folder.path().join("merged");
    merge(&parts, &merged).expect("all parts are there");
    assert_eq!(bytes(&whole), bytes(&merged), "split and merged");

    let short = merge(&parts[..1], &merged).expect_err("a part is missing");
    assert!(short.to_string().contains("part 1/2 is missing"), "{short}");
    let twice = [parts[0].clone(), parts[1].clone(), parts[1].clone()];
    assert!(merge(&twice, &merged).is_err(), "a part is given twice");
    let other = CampaignPlan { seed: 2, ..plan.clone() };
    let stranger = run(&other, runner.as_ref(), Shard { index: 1, of: 2 }, &folder, "other", 2);
    let mixed = merge(&[parts[0].clone(), stranger], &merged).expect_err("two campaigns");
    assert!(mixed.to_string().contains("not a part of the same campaign"), "{mixed}");
}

#[test]
fn results_of_another_build_or_damaged_ones_are_not_gone_on_with() {
    let plan = plan(2 * CHUNK_RUNS);
    let (folder, runner) = (TempDir::new().expect("a folder"), sound());
    let path = run(&plan, runner.as_ref(), Shard::WHOLE, &folder, "runs", 2);
    let header = StreamHeader::new(&plan, &runner.subject(), Shard::WHOLE);
    let (_, has) = Writer::resume(&path, &header).expect("its own");
    assert_eq!(has, 2);
    let other = StreamHeader { sources: "0".into(), ..header.clone() };
    let refused = Writer::resume(&path, &other).expect_err("another build");
    assert!(refused.to_string().contains("another build"), "{refused}");

    let whole = String::from_utf8(bytes(&path)).expect("text");
    let damaged = whole.replacen("\"run\":300,", "\"run\":x00,", 1);
    assert_ne!(whole, damaged);
    std::fs::write(&path, damaged).expect("a file");
    let refused = Writer::resume(&path, &header).expect_err("a damaged line");
    assert!(refused.to_string().contains("damaged"), "{refused}");
    assert!(Results::read(&path).is_err());

    // Ended before the first line was there: begun anew.
    std::fs::write(&path, &whole.as_bytes()[..40]).expect("a file");
    let again = run(&plan, runner.as_ref(), Shard::WHOLE, &folder, "runs", 2);
    assert!(bytes(&again) == whole.as_bytes());
}

#[test]
fn a_plan_with_thirds_in_it_is_the_same_after_it_was_written() {
    let mut plan = plan(64);
    plan.shops[0].breaks_per_100k = (90.0 + 90.0 + 91.0 + 90.0 + 90.0 + 91.0) / 6.0;
    let folder = TempDir::new().expect("a folder");
    let path = run(&plan, sound().as_ref(), Shard::WHOLE, &folder, "runs", 1);
    assert_eq!(Results::read(&path).expect("results").header.plan, plan);
}

#[test]
fn a_file_changed_by_hand_is_refused_where_it_says_nothing() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("case.toml");
    let file = |tear: &str, steps: [u32; 2]| {
        let fault = |step: u32| {
            format!(
                "[[fault]]\nstep = {step}\nact = 0\nkind = \"cut\"\nafter_bytes = 3\ntear = \"{tear}\"\n"
            )
        };
        let head = "campaign = \"x\"\nrun = 1\nsubject = \"shaftbook\"\nseen = \"\"\n[start]\n\
                    fitted = true\nlap = 1\ncheckpoints = 0\nseed = 1\n[[step]]\ndo = \"service\"\n\
                    [[step]]\ndo = \"service\"\n";
        std::fs::write(&path, head.to_owned() + &fault(steps[0]) + &fault(steps[1]))
            .expect("a file");
        Regression::load(&path).map_err(|error| error.to_string())
    };
    assert!(file("old", [0, 1]).is_ok());
    for (tear, steps, what) in [
        ("garbage", [0, 1], "a tear is"),
        ("old", [1, 0], "in the order"),
        ("old", [0, 2], "only 2"),
    ] {
        let said = file(tear, steps).expect_err(what);
        assert!(said.contains(what) && said.contains("case.toml:"), "{said}");
    }
}

#[test]
fn wherever_it_is_interrupted_it_goes_on_to_the_same_bytes() {
    let plan = plan(3 * CHUNK_RUNS);
    let (folder, runner) = (TempDir::new().expect("a folder"), sound());
    let whole = bytes(&run(&plan, runner.as_ref(), Shard::WHOLE, &folder, "whole", 2));
    let chunk_ends: Vec<usize> = whole
        .split_inclusive(|byte| *byte == b'\n')
        .scan(0, |end, line| {
            *end += line.len();
            Some((*end, line.starts_with(b"{\"chunk\"")))
        })
        .filter_map(|(end, is_chunk)| is_chunk.then_some(end))
        .collect();
    assert_eq!(chunk_ends.len(), 3);
    // Right after a chunk, in the middle of a row, and before the last byte of all.
    for cut in [chunk_ends[0], chunk_ends[1] + 700, whole.len() - 1] {
        let path = folder.path().join("cut");
        std::fs::write(&path, &whole[..cut]).expect("a file");
        let done = run(&plan, runner.as_ref(), Shard::WHOLE, &folder, "cut", 2);
        assert!(bytes(&done) == whole, "cut after {cut} bytes");
    }
    let other =
        StreamHeader::new(&CampaignPlan { seed: 9, ..plan }, &runner.subject(), Shard::WHOLE);
    let refused = Writer::resume(&folder.path().join("cut"), &other).expect_err("another seed");
    assert!(refused.to_string().contains("another campaign"), "{refused}");
}

#[test]
fn broken_boards_are_found_shrunk_and_replayed_from_the_file() {
    let plan = plan(512);
    let folder = TempDir::new().expect("a folder");
    for name in ["not-read-back", "crc-ignored", "session-twice", "warning-ignored"] {
        let runner = broken(name);
        let (run, script, seen) = (0..plan.runs)
            .find_map(|run| {
                let (_, script) = draw(&plan, run);
                let seen = runner.play(&script).seen?;
                Some((run, script, seen))
            })
            .unwrap_or_else(|| panic!("{name} is not found in {} runs", plan.runs));
        let shrunk = shrink(runner.as_ref(), script.clone(), &seen);
        assert_eq!(way(&shrunk.seen), way(&seen), "it still fails in the same way");
        let (steps, faults) = (shrunk.script.steps.len(), shrunk.script.faults.len());
        assert!(steps <= 3 && faults <= 2, "{name}: {steps} steps, {faults} faults: {shrunk:?}");
        assert!(steps < script.steps.len(), "{name}");

        let file = Regression {
            campaign: plan.name.clone(),
            run,
            subject: name.into(),
            seen: shrunk.seen.clone(),
            script: shrunk.script,
        };
        let path = folder.path().join("case.toml");
        std::fs::write(&path, file.text().expect("TOML")).expect("a file");
        let read = Regression::load(&path).expect("what was written is read");
        assert_eq!(read, file);
        assert_eq!(runner.play(&read.script).seen, Some(shrunk.seen), "{name} replays");
        assert_eq!(sound().play(&read.script).seen, None, "{name}: the sound board holds");
    }
}

/// Runs that once failed though the board was right: the judge has to let them pass.
#[test]
fn a_sound_board_holds_in_every_run_that_is_kept() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/campaign");
    let mut kept = 0;
    for entry in std::fs::read_dir(folder).expect("the kept runs") {
        let path = entry.expect("an entry").path();
        let read = Regression::load(&path).expect("a run");
        let ran = sound().play(&read.script);
        assert_eq!(ran.seen, None, "shaftbook prove --replay {}", path.display());
        kept += 1;
    }
    assert!(kept > 0);
}

#[test]
fn every_deed_and_step_is_read_back_from_a_file() {
    let mut faults = Vec::new();
    let mut steps = Vec::new();
    let all = CampaignPlan { faults: FaultKind::ALL.map(|kind| (kind, 0.7)).into(), ..plan(400) };
    for run in 0..all.runs {
        let (_, script) = draw(&all, run);
        let text = toml::to_string(&script).expect("TOML");
        assert_eq!(toml::from_str::<Script>(&text).expect(&text), script);
        faults.extend(script.faults.iter().map(|fault| fault.deed.kind()));
        steps.extend(script.steps.iter().map(std::mem::discriminant));
    }
    assert!(FaultKind::ALL.iter().all(|kind| faults.contains(kind)));
    steps.sort_by_key(|step| format!("{step:?}"));
    steps.dedup();
    assert_eq!(steps.len(), 9, "every kind of step is drawn");
}

#[test]
fn a_state_that_no_cut_met_is_said_and_if_it_is_required_nothing_holds() {
    let folder = TempDir::new().expect("a folder");
    let only_cuts = [(FaultKind::Cut, 1.0)].into();
    let plan = CampaignPlan { faults: only_cuts, required: vec!["worn-out".into()], ..plan(64) };
    let path = run(&plan, sound().as_ref(), Shard::WHOLE, &folder, "runs", 2);
    let results = Results::read(&path).expect("results");
    assert_eq!(results.all.failed, 0);
    let unvisited: Vec<_> = results.unvisited().iter().map(|state| state.name()).collect();
    assert!(unvisited.contains(&"worn-out") && !unvisited.contains(&"checkpoint"));
    assert_eq!(results.missing().len(), 1);
    assert!(!results.held());
    let relaxed = CampaignPlan { required: Vec::new(), ..plan };
    let path = run(&relaxed, sound().as_ref(), Shard::WHOLE, &folder, "relaxed", 2);
    assert!(Results::read(&path).expect("results").held());
}

#[test]
fn a_run_is_judged_by_what_was_fed_in_not_by_what_the_board_says() {
    // A script by hand: 50 stitches of 0.1 s are below the first checkpoint, so a cut
    // without warning may lose them all, and one with a warning may not.
    let script = |deed| Script {
        firmware: false,
        start: Start { fitted: true, lap: 1, checkpoints: 3, seed: 1, part: PartShape::REFERENCE },
        steps: vec![Step::Sew { needle: 3, stitches: 50, period_ms: 100 }, Step::Trim { times: 1 }],
        faults: vec![ScriptFault { step: 1, act: 0, deed }],
        life: None,
    };
    let tear = || String::from("old");
    let ran = sound().play(&script(Deed::Cut { after_bytes: 0, tear: tear() }));
    assert_eq!(ran.seen, None);
    assert_eq!(ran.tally.lost_running_ms, 4_900, "49 gaps of 0.1 s");
    let ran = sound().play(&script(Deed::WarnedCut { hold_up_ms: 50, tear: tear() }));
    assert_eq!((ran.seen, ran.tally.warned_lost_stitches), (None, 0));
    let ran =
        broken("warning-ignored").play(&script(Deed::WarnedCut { hold_up_ms: 50, tear: tear() }));
    assert!(ran.seen.is_some_and(|seen| seen.contains("stitches 50")));
}
