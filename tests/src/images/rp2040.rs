//! The image of the RP2040 on its emulator: scripts for the bench of `tests/rp2040`, and what
//! that bench reports.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::{env, fs};

use serde_json::{Value, json};
use shaftbook_core::counters::{Counters, NEEDLES_MAX};
use shaftbook_core::input::{Input, Level};
use shaftbook_world::scenario::Scenario;
use shaftbook_world::sewing::truth::Truth;
use shaftbook_world::sewing::{Sewing, SewingEvent};

use super::tools::{need, repository};

/// Between power-up and the machine's first event, µs: the board starts.
pub const LEAD_US: u64 = 1_000_000;
/// The board's processor clock.
pub const CYCLES_PER_US: u64 = 125;

/// What happens at the board's inputs, with the truth beside it.
#[derive(Clone, Debug, Default)]
pub struct Script {
    text: String,
    needle: u8,
    /// What has happened by when, µs after power-up.
    truth: Vec<(u64, Truth)>,
    /// The last line, µs.
    pub end_us: u64,
}

impl Script {
    /// The first power-up of `scenario` with `seed` up to its cut, which is the script's
    /// end; the machine begins [`LEAD_US`] after the board. The same signals as the
    /// simulator's.
    ///
    /// # Panics
    /// When the scenario does not begin with a power-up.
    #[must_use]
    pub fn of(scenario: &Scenario, seed: u64) -> Self {
        let mut script = Self::default();
        let mut sewing = Sewing::new(scenario, seed);
        let on = sewing.next().expect("a scenario has events");
        assert_eq!(on.event, SewingEvent::PowerUp, "the supply comes first");
        while let Some(timed) = sewing.next() {
            let at_us = timed.at_us - on.at_us + LEAD_US;
            match timed.event {
                SewingEvent::Input(input) => script.input(at_us, input),
                SewingEvent::PowerUp | SewingEvent::Cut => {
                    script.truth.push((at_us, sewing.truth()));
                    script.end_us = at_us;
                    break;
                }
            }
            script.truth.push((at_us, sewing.truth()));
        }
        script
    }

    /// A change at the machine.
    pub fn input(&mut self, at_us: u64, input: Input) {
        let (name, level) = match input {
            Input::Shaft(level) => ("shaft", level),
            Input::Trim(level) => ("trim", level),
            Input::ThreadBreak(level) => ("thread_break", level),
            Input::Jump(level) => ("jump", level),
            Input::PowerFail(level) => ("power_fail", level),
            Input::NeedleLevel(mv) => return self.line(at_us, &format!("needle_mv {mv}")),
            Input::NeedleCode(code) => {
                for line in 0..4 {
                    if (self.needle ^ code) >> line & 1 == 1 {
                        self.line(at_us, &format!("needle{line} {}", code >> line & 1));
                    }
                }
                self.needle = code;
                return;
            }
        };
        self.line(at_us, &format!("{name} {}", u8::from(level.is_active())));
    }

    /// Any line, `<signal> <value>`.
    pub fn line(&mut self, at_us: u64, what: &str) {
        self.end_us = self.end_us.max(at_us);
        let _ = writeln!(self.text, "{at_us} {what}");
    }

    /// Adds lines at their moments, between those that are there.
    pub fn insert(&mut self, mut more: Vec<(u64, String)>) {
        more.sort_by_key(|(at_us, _)| *at_us);
        let mut more = more.into_iter().peekable();
        let mut text = String::new();
        for line in self.text.lines() {
            let at_us = line.split(' ').next().and_then(|t| t.parse().ok()).unwrap_or(0_u64);
            while let Some((before_us, what)) = more.next_if(|(us, _)| *us <= at_us) {
                let _ = writeln!(text, "{before_us} {what}");
            }
            let _ = writeln!(text, "{line}");
        }
        self.text = text;
        for (at_us, what) in more {
            self.line(at_us, &what);
        }
    }

    /// The most that has happened at `at_us` after power-up: with distorted signals the
    /// truth may be one event ahead.
    #[must_use]
    pub fn truth(&self, at_us: u64) -> Counters {
        let n = self.truth.partition_point(|(us, _)| *us <= at_us);
        let mut counters = n
            .checked_sub(1)
            .and_then(|n| self.truth.get(n))
            .map_or_else(Counters::default, |t| t.1.counters());
        (counters.powered_ms, counters.power_ups) = (at_us / 1_000, 1);
        counters
    }

    /// Writes it to `path`.
    ///
    /// # Panics
    /// When it cannot be written.
    pub fn write(&self, path: &Path) {
        fs::write(path, &self.text).expect("a script can be written");
    }
}

/// Steady pulses of the shaft: `revolutions` at `rpm` with `pulses` each, from `from_us` on,
/// active for half of the time; each edge bounces `bounces` times within `bounce_us`.
pub fn turn_shaft(
    script: &mut Script,
    from_us: u64,
    (rpm, pulses, revolutions): (u64, u64, u64),
    (bounces, bounce_us): (u64, u64),
) {
    let half_ns = 60_000_000_000 / (rpm * pulses * 2);
    for edge in 0..revolutions * pulses * 2 {
        let at_us = from_us + edge * half_ns / 1_000;
        let level = Level::from_bool(edge % 2 == 0);
        script.input(at_us, Input::Shaft(level));
        for n in 1..=bounces {
            let other = Level::from_bool(!level.is_active());
            script.input(at_us + bounce_us * (2 * n - 1) / (2 * bounces), Input::Shaft(other));
            script.input(at_us + bounce_us * n / bounces, Input::Shaft(level));
        }
    }
}

/// The shipped files, as `firmware/boards/build` makes them.
///
/// # Panics
/// When they are not built.
#[must_use]
pub fn shipped(end: &str) -> PathBuf {
    let path = repository("firmware/boards/target/images").join(format!("shaftbook-rp2040.{end}"));
    assert!(path.is_file(), "{} is missing: run firmware/boards/build", path.display());
    path
}

/// A folder for one test's files.
///
/// # Panics
/// When it cannot be made.
#[must_use]
pub fn folder(name: &str) -> PathBuf {
    let path = env::temp_dir().join(format!("shaftbook-rp2040-{}-{name}", std::process::id()));
    fs::create_dir_all(&path).expect("a folder can be made");
    path
}

/// Runs the bench as `spec` says (`tests/rp2040/README.md`) and gives what it tells.
///
/// # Panics
/// When node or its packages are missing, or the bench refuses the run: with the file that
/// replays it.
#[must_use]
pub fn bench(folder: &Path, mut spec: Value) -> Value {
    need("node", "install Node.js 20 or later");
    let packages = repository("tests/rp2040/node_modules");
    assert!(packages.is_dir(), "packages are missing: in tests/rp2040 run `npm ci`");
    // The image, and what a run copies onto the board beside it.
    let beside = spec["uf2"].take();
    spec["uf2"] = json!([json!(shipped("uf2")), beside]);
    if let Some(files) = spec["uf2"].as_array_mut() {
        files.retain(|file| !file.is_null());
    }
    spec["elf"] = json!(shipped("elf"));
    let batch = folder.join("run.json");
    fs::write(&batch, json!([spec]).to_string()).expect("the run can be written");
    let output = Command::new("node")
        .arg(repository("tests/rp2040/run.mjs"))
        .arg("--batch")
        .arg(&batch)
        .stderr(Stdio::piped())
        .output()
        .expect("node runs");
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{}\nreplay: node tests/rp2040/run.mjs --batch {}",
        String::from_utf8_lossy(&output.stderr),
        batch.display()
    );
    serde_json::from_str(&text).expect("the bench tells JSON")
}

/// Lines that the board said at its service port in a result.
#[must_use]
pub fn said(result: &Value) -> Vec<(f64, String)> {
    let lines = result["uart"].as_array().cloned().unwrap_or_default();
    lines
        .iter()
        .map(|l| (l["at_us"].as_f64().unwrap_or(0.0), l["text"].as_str().unwrap_or("").to_owned()))
        .collect()
}

/// The counters in the last answer to `state`.
#[must_use]
pub fn state(lines: &[(f64, String)]) -> Option<Counters> {
    let end = lines.iter().rposition(|(_, line)| line == "end")?;
    let begin = lines[..end].iter().rposition(|(_, line)| line.starts_with("version "))?;
    let mut counters = Counters::default();
    for (_, line) in &lines[begin..end] {
        let words: Vec<&str> = line.split(' ').collect();
        let figure = |n: usize| words.get(n).and_then(|w| w.parse::<u64>().ok()).unwrap_or(0);
        let place = figure(1).wrapping_sub(1) as usize;
        match words[0] {
            "powered_ms" => counters.powered_ms = figure(1),
            "running_ms" => counters.running_ms = figure(1),
            "jumps" => counters.jumps = figure(1),
            "trims" => counters.trims = figure(1),
            "power_ups" => counters.power_ups = figure(1) as u32,
            "unattributed" => {
                counters.unattributed_stitches = figure(1);
                counters.unattributed_breaks = figure(2) as u32;
            }
            "rejected" => {
                counters.glitches = figure(1) as u32;
                counters.missed_edges = figure(3) as u32;
            }
            "needle" if place < NEEDLES_MAX => counters.needle_stitches[place] = figure(2),
            "breaks" if place < NEEDLES_MAX => counters.needle_breaks[place] = figure(2) as u32,
            _ => {}
        }
    }
    Some(counters)
}

/// The last `durable` line before `before_us`: stitches, trims, running and powered ms.
#[must_use]
pub fn durable(lines: &[(f64, String)], before_us: f64) -> [u64; 4] {
    lines
        .iter()
        .filter(|(at_us, line)| *at_us < before_us && line.starts_with("durable "))
        .filter_map(|(_, line)| {
            let figures: Vec<u64> = line.split(' ').filter_map(|w| w.parse().ok()).collect();
            figures.try_into().ok()
        })
        .next_back()
        .unwrap_or([0; 4])
}
