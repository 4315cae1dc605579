//! SIGKILL at random instants, session after session on the same part.
//!
//! The instants are random in the script: a kill comes when the board has taken a drawn number
//! of records, while up to [`AHEAD_MAX`] more are under way. The seed decides the draws. At
//! which instruction QEMU then is depends on the host.

use std::{fs, thread};

use shaftbook_core::counters::Counters;
use shaftbook_core::settings::Settings;
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::random::Random;
use system_tests::images::part::{Session, differences, read, state_differences};
use system_tests::images::qemu::{Board, Ended};
use system_tests::images::script::Script;

use super::bench::{Folder, scenario};

/// Kills in all, and how many go on at the same time, each with a board of its own.
const KILLS: u32 = 200;
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
    /// The bytes of the part half-way.
    older: Vec<u8>,
    /// Sum of what was fed at least, of what was lost, and kills while it started.
    fed: Counters,
    lost: Counters,
    nothing: Counters,
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
            // Four times the writes, so that more kills fall into one. The interval is over
            // the run gap: below it the board would write without a pause.
            settings.checkpoint_running_s = 3;
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
            older: Vec::new(),
            fed: Counters::default(),
            lost: Counters::default(),
            nothing: Counters::default(),
            starts: 0,
            durable_lines: 0,
            objections: Vec::new(),
        }
    }

    /// Records after which the next kill comes: often soon, at times late.
    fn draw(&mut self, script: &Script) -> usize {
        let asked_after = script.asked_after as u32;
        if self.random.below(STARTS_ONE_IN) == 0 {
            self.starts += 1;
            return 1 + self.random.below(asked_after - 1) as usize;
        }
        let mut after = script.len() as u32 - asked_after;
        for _ in 0..4 {
            after = 1 + self.random.below(after);
        }
        (asked_after + after) as usize
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
        if self.parts.len() as u32 == KILLS / CHAINS / 2 {
            self.older = fs::read(self.folder.part()).expect("the part can be read");
        }
    }

    /// What is found when the part is rolled back to an older copy: by reading it, and by
    /// the board that starts on it.
    fn roll_back(&self) -> (Vec<String>, Vec<String>) {
        fs::write(self.folder.part(), &self.older).expect("the part can be written");
        let older = read(&self.folder.part()).expect("a sound copy").counters;
        let script = Script::of(&self.scenario, self.scenario.seed);
        let mut board = self.folder.power_up(&[]);
        board.feed(script.bytes(0..script.asked_after));
        board.wait_taken(script.asked_after);
        let said = board.ask("state", "end");
        (self.idle(&[]).objections(&older), state_differences(&said, &self.before))
    }

    /// A session in which nothing happened and `said` was said.
    fn idle<'a>(&'a self, said: &'a [String]) -> Session<'a> {
        Session {
            before: &self.before,
            least: &self.nothing,
            most: &self.nothing,
            was_ready: true,
            said,
            settings: &self.settings,
        }
    }

    fn object(&mut self, number: u32, what: Vec<String>) {
        let name = &self.name;
        self.objections
            .extend(what.into_iter().map(|what| format!("{name}, kill {number}: {what}")));
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
        self.before = found.counters;
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
        // All of them first, so that each clears its folder away.
        let ended: Vec<_> = threads.into_iter().map(thread::ScopedJoinHandle::join).collect();
        ended.into_iter().map(|chain| chain.expect("a chain ends")).collect()
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
         --features images --test images sigkill -- --nocapture",
        objections.join("\n")
    );
    assert!(chains.iter().all(|chain| chain.durable_lines > 20 && chain.starts > 5));
    what_is_broken_is_found(&chains[0]);
}

/// The checks of a kill on the last part of `chain`, broken on purpose.
fn what_is_broken_is_found(chain: &Chain) {
    let part = chain.before;
    assert_eq!(chain.idle(&[]).objections(&part), Vec::<String>::new(), "sound");
    let more = |add: &Counters| part.plus(add);
    let mut stitch = Counters::default();
    stitch.needle_stitches[0] = 1;
    assert_eq!(chain.idle(&[]).objections(&more(&stitch)).len(), 1, "one stitch too many");
    let line = format!(
        "durable {} {} {} {}",
        part.stitches() + 1,
        part.trims,
        part.running_ms,
        part.powered_ms
    );
    let said = [line];
    assert_eq!(chain.idle(&said).objections(&part).len(), 1, "a durable stitch lost");
    let bound_ms = u64::from(chain.settings.checkpoint_running_s) * 1_000;
    for (running_ms, found) in [(bound_ms, 0), (bound_ms + 1, 1)] {
        let least = Counters { running_ms, ..Counters::default() };
        let session = Session { least: &least, most: &least, ..chain.idle(&[]) };
        assert_eq!(session.objections(&part).len(), found, "{running_ms} ms lost");
    }
    let (of_part, of_state) = chain.roll_back();
    println!("rolled back to an older copy: {} and {} objections", of_part.len(), of_state.len());
    assert!(!of_part.is_empty() && !of_state.is_empty(), "an older copy is not noticed");
}
