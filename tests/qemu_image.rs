//! The image for QEMU's machine `mps2-an385`, as built for release: the same scenario as
//! the host simulator's, SIGKILL at random instants, a panic and a hard fault, its log and
//! its stack.
//!
//! The memory part is QEMU's own model in a file: it does not tear and is never busy.
//! Tears and busy times are the simulator's (`shaftbook prove`) and the other image's.
//!
//! Run: `.ci/run images`.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::{fs, thread};

use host_sim::fitting::fit;
use host_sim::scenario::Scenario;
use host_sim::sew::run::{plain_fitting, run};
use host_sim::sewing::random::Random;
use host_sim::sewing::truth::Truth;
use shaftbook_core::counters::Counters;
use shaftbook_core::fault::Fault;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::settings::Settings;
use system_tests::images::part::{
    Found, ID, Session, differences, printed_differences, read, state_differences,
};
use system_tests::images::probe;
use system_tests::images::qemu::{Board, Ended, QEMU, REMEDY};
use system_tests::images::script::{Script, What};
use system_tests::images::tools::{decoded, image, need, repository, shaftbook, unexpected};

const IMAGE: &str = "shaftbook-mps2";
const VERSION: &str = env!("CARGO_PKG_VERSION");
const SCENARIO: &str = "host-sim/scenarios/ten-minute-head.toml";
/// RAM of the image: `firmware/boards/mps2/memory.x`.
const RAM: u32 = 0x2000_0000;
const RAM_BYTES: u32 = 64 * 1_024;

/// A folder that is gone when the test is over.
struct Folder(PathBuf);

impl Folder {
    /// Short, for sockets in it: their paths are limited to some 100 bytes.
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("shaftbook-{}-{name}", std::process::id()));
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn part(&self) -> PathBuf {
        self.0.join("part.bin")
    }

    /// Writes a newly fitted part.
    fn fit(&self, settings: Settings) {
        fs::write(self.part(), fit(ID, &plain_fitting(settings), None).unwrap()).unwrap();
    }

    fn power_up(&self, extra: &[String]) -> Board {
        need(QEMU, REMEDY);
        Board::power_up(&image(IMAGE), &self.part(), &self.0, extra)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn scenario() -> Scenario {
    Scenario::load(&repository(SCENARIO)).unwrap()
}

/// What the scenario left, sewn to the end by the image.
struct Sewn {
    image: Vec<u8>,
    found: Found,
    /// What `shaftbook inspect` printed, and whether it said that all is well.
    inspected: (bool, serde_json::Value),
    log: Vec<String>,
    stack_bytes: u32,
}

/// Sews the scenario from its power-up to the end of its hold-up.
fn sew(name: &str) -> Sewn {
    need("defmt-print", "cargo install --locked defmt-print --version 1.2.0");
    let folder = Folder::new(name);
    let scenario = scenario();
    folder.fit(scenario.settings());
    let script = Script::of(&scenario, scenario.seed);
    let mut board = folder.power_up(&probe::arguments(&folder.0));
    board.feed(script.bytes(0..script.len()));
    board.wait_taken(script.len());
    let ram = probe::memory(&folder.0, RAM, RAM_BYTES);
    let ended = board.kill();
    let symbols = probe::symbols(&image(IMAGE));
    let stack = (symbols["_stack_end"], symbols["_stack_start"]);
    let output = Command::new(shaftbook())
        .arg("inspect")
        .arg(folder.part())
        .args(["--format", "json"])
        .output()
        .unwrap();
    Sewn {
        image: fs::read(folder.part()).unwrap(),
        found: read(&folder.part()).unwrap(),
        inspected: (
            output.status.success(),
            serde_json::from_slice(&output.stdout).unwrap_or_default(),
        ),
        log: decoded(&image(IMAGE), &ended.log),
        stack_bytes: probe::deepest(&ram, RAM, stack.0, stack.1),
    }
}

/// The scenario sewn once, for the tests that look at what it left.
fn sewn() -> &'static Sewn {
    static SEWN: OnceLock<Sewn> = OnceLock::new();
    SEWN.get_or_init(|| sew("once"))
}

#[test]
fn the_image_counts_what_the_simulator_counts_to_the_last_stitch() {
    let scenario = scenario();
    let outcome = run(&scenario, scenario.seed, &mut (), |_| {}).unwrap();
    assert!(outcome.broken.is_empty(), "{:?}", outcome.broken);
    let counted = &sewn().found.counters;
    println!(
        "counted by the image: {} stitches, {} trims, {} jumps, {} breaks",
        counted.stitches(),
        counted.trims,
        counted.jumps,
        counted.breaks()
    );
    assert_eq!(differences(counted, &outcome.counted), [String::new(); 0], "the simulator's");
    let truth = outcome.truth.counters();
    assert_eq!(differences(counted, &truth), [String::new(); 0], "what happened");
    assert_eq!(counted.running_ms, outcome.counted.running_ms);
    assert_eq!(counted.missed_edges, 0);
    let printed = &sewn().found.report;
    assert_eq!(printed_differences(printed, counted), [String::new(); 0]);
    assert!(sewn().inspected.0, "`shaftbook inspect` ends with 0");
    let of_program = &sewn().inspected.1["lifetime"];
    assert_eq!(*of_program, serde_json::to_value(&printed.lifetime).unwrap());
    // Enough of everything that the comparison means something.
    assert!(counted.stitches() > 5_000 && counted.trims > 40 && counted.jumps > 20);
    assert!(counted.breaks() > 10 && counted.needle_stitches.iter().filter(|n| **n > 0).count() > 6);
}

#[test]
fn one_stitch_more_or_on_another_needle_is_found() {
    let counted = sewn().found.counters;
    let mut more = counted;
    more.needle_stitches[2] += 1;
    assert_eq!(differences(&counted, &more).len(), 1);
    assert_eq!(printed_differences(&sewn().found.report, &more).len(), 1);
    let mut moved = more;
    moved.needle_stitches[4] -= 1;
    assert_eq!(differences(&counted, &moved).len(), 2, "the sum is the same");
    for change in [
        Counters { trims: counted.trims + 1, ..counted },
        Counters { jumps: counted.jumps - 1, ..counted },
        Counters { unattributed_breaks: 1, ..counted },
    ] {
        assert_eq!(differences(&counted, &change).len(), 1);
    }
}

#[test]
fn the_same_script_leaves_the_same_bytes() {
    let again = sew("again");
    assert!(again.image == sewn().image, "the parts differ");
}

#[test]
fn the_log_says_that_it_boots_and_nothing_while_it_sews() {
    let log = &sewn().log;
    println!("log: {log:?}");
    assert_eq!(unexpected(log, VERSION), [String::new(); 0]);
    // What would be found.
    let mut chatty = log.clone();
    chatty.push("DEBUG CheckpointDurable".into());
    assert_eq!(unexpected(&chatty, VERSION).len(), 1);
    assert_eq!(unexpected(&[], VERSION).len(), 2, "no boot line");
}

#[test]
fn the_stack_stays_within_its_budget() {
    let text = fs::read_to_string(repository(".ci/budgets.toml")).unwrap();
    let budgets: toml::Table = toml::from_str(&text).unwrap();
    let limit = budgets["mps2"]["stack"].as_integer().unwrap();
    let deepest = sewn().stack_bytes;
    println!("deepest stack: {deepest} bytes of {limit}");
    assert!(i64::from(deepest) <= limit, "{deepest} bytes of stack, over {limit}");
    // A measurement that finds next to nothing has looked at the wrong place.
    assert!(deepest > 1_000);
    let ram = [[0xCC; 32].as_slice(), &[1; 32]].concat();
    assert_eq!(probe::deepest(&ram, 0x100, 0x100, 0x140), 32);
}

/// Kills in all, and how many go on at the same time, each with a board of its own.
const KILLS: u32 = 240;
const CHAINS: u32 = 2;
/// A kill in so many comes while the board starts.
const STARTS_ONE_IN: u32 = 4;
/// Records that are fed beyond that at which the kill comes.
const AHEAD_MAX: u32 = 200;
const SEED: u64 = 20_260_425;

/// A board that is killed again and again.
struct Chain {
    name: String,
    folder: Folder,
    scenario: Scenario,
    settings: Settings,
    random: Random,
    /// The part's counters after the last kill, and the parts after all of them.
    before: Counters,
    parts: Vec<Counters>,
    /// Sum of what was fed at least, of what was lost, and kills while it started.
    fed: Counters,
    lost: Counters,
    starts: u32,
    durable_lines: usize,
    objections: Vec<String>,
}

impl Chain {
    fn new(number: u32, seed: u64) -> Self {
        let mut scenario = scenario();
        // Bounce is for the comparison of counts; here it would only take time.
        scenario.faults.shaft_bounce_us = 0;
        let mut settings = scenario.settings();
        if number % 2 == 1 {
            // Ten times the writes, so that more kills fall into one.
            settings.checkpoint_running_s = 1;
            settings.checkpoint_trims = 1;
        }
        let folder = Folder::new(&format!("kills-{number}"));
        folder.fit(settings);
        let before = read(&folder.part()).unwrap().counters;
        Self {
            name: format!("chain {number}"),
            folder,
            scenario,
            settings,
            random: Random::new(seed, number.into()),
            before,
            parts: Vec::new(),
            fed: Counters::default(),
            lost: Counters::default(),
            starts: 0,
            durable_lines: 0,
            objections: Vec::new(),
        }
    }

    /// Records after which the next kill comes: often soon, at times late.
    fn draw(&mut self, script: &Script) -> usize {
        let starts = script.asked_after as u32 - 1;
        if self.random.below(STARTS_ONE_IN) == 0 {
            self.starts += 1;
            return 1 + self.random.below(starts) as usize;
        }
        let mut after = script.len() as u32 - starts;
        for _ in 0..3 {
            after = 1 + self.random.below(after);
        }
        (starts + after) as usize
    }

    fn kill(&mut self, number: u32) {
        let seed = self.scenario.seed + u64::from(number);
        let script = Script::of(&self.scenario, seed);
        let at = self.draw(&script);
        let fed = (at + self.random.below(AHEAD_MAX) as usize).min(script.len());
        let asks = at > script.asked_after;
        let mut board = self.folder.power_up(&[]);
        let fed = if asks {
            self.ask(&mut board, &script, number);
            board.feed(script.bytes(script.asked_after..fed));
            fed
        } else {
            let fed = fed.min(script.asked_after - 1);
            board.feed(script.bytes(0..fed));
            fed
        };
        board.wait_taken(at);
        self.look(number, &board.kill(), &script, fed, asks);
    }

    /// The board starts, and says what `inspect` had read before.
    fn ask(&mut self, board: &mut Board, script: &Script, number: u32) {
        board.feed(script.bytes(0..script.asked_after));
        board.wait_taken(script.asked_after);
        let said = board.ask("state", "end");
        self.object(number, state_differences(&said, &self.before));
        board.ask("watch", "watching");
    }

    fn look(&mut self, number: u32, ended: &Ended, script: &Script, fed: usize, asks: bool) {
        let after = match read(&self.folder.part()) {
            Ok(found) => found.counters,
            Err(what) => return self.object(number, vec![what]),
        };
        let (least, most) = (script.least(ended.taken), script.most(fed));
        let session = Session {
            before: &self.before,
            least: &least,
            most: &most,
            was_ready: asks,
            said: &ended.lines,
            settings: &self.settings,
        };
        let objections = session.objections(&after);
        self.object(number, objections);
        self.durable_lines += ended.lines.iter().filter(|l| l.starts_with("durable ")).count();
        self.fed = self.fed.plus(&least);
        self.lost = self.lost.plus(&self.before.plus(&least).since(&after));
        self.before = after;
        self.parts.push(after);
    }

    fn object(&mut self, number: u32, what: Vec<String>) {
        let name = &self.name;
        self.objections.extend(what.into_iter().map(|what| format!("{name}, kill {number}: {what}")));
    }

    /// The last session runs to the end of its hold-up: all of it is there.
    fn finish(&mut self) {
        let script = Script::of(&self.scenario, self.scenario.seed);
        let mut board = self.folder.power_up(&[]);
        self.ask(&mut board, &script, u32::MAX);
        board.feed(script.bytes(script.asked_after..script.len()));
        board.wait_taken(script.len());
        drop(board.kill());
        let Ok(found) = read(&self.folder.part()) else {
            return self.object(u32::MAX, vec!["the part cannot be read at the end".into()]);
        };
        let gained = found.counters.since(&self.before);
        let whole = script.most(script.len());
        self.object(u32::MAX, differences(&gained, &whole));
    }
}

#[test]
fn sigkill_at_any_instant_loses_nothing_durable_and_no_more_than_promised() {
    let seed = std::env::var("SHAFTBOOK_KILL_SEED").ok().and_then(|seed| seed.parse().ok());
    let seed = seed.unwrap_or(SEED);
    println!("kills: seed {seed}");
    let run = |number| {
        let mut chain = Chain::new(number, seed);
        for kill in 0..KILLS / CHAINS {
            chain.kill(kill);
        }
        chain.finish();
        chain
    };
    let chains: Vec<Chain> = thread::scope(|scope| {
        let threads: Vec<_> = (0..CHAINS).map(|n| scope.spawn(move || run(n))).collect();
        threads.into_iter().map(|thread| thread.join().expect("a chain ends")).collect()
    });
    let mut objections = Vec::new();
    for chain in &chains {
        println!(
            "{}: {} kills ({} while it started), {} stitches fed, {} lost, {} durable lines",
            chain.name,
            chain.parts.len(),
            chain.starts,
            chain.fed.stitches(),
            chain.lost.stitches(),
            chain.durable_lines
        );
        objections.extend(chain.objections.iter().cloned());
    }
    assert!(
        objections.is_empty(),
        "{}\nrun again: SHAFTBOOK_KILL_SEED={seed} cargo test --release -p system-tests \
         --features images --test qemu_image sigkill -- --nocapture",
        objections.join("\n")
    );
    assert!(chains.iter().all(|chain| chain.durable_lines > 20 && chain.starts > 5));
}
