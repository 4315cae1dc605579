//! Part of proof 10: what a person hears of a board, and what a terminal is told at its service
//! port (`docs/BOARD.md`).

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::input::{Input, Level};
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::time::Instant;
use shaftbook_panel::button::{Button, DEBOUNCE_US};
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::firmware::Firmware;
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::{Bench, Meant};

/// How often the buzzer is listened to, µs.
const LISTEN_US: u64 = 5_000;

/// A press is answered by one chirp, of 60 ms, once.
///
/// # Errors
/// What is heard instead, in a sentence.
pub fn chirps<R: UnderTest>(bench: &mut Bench<Firmware<R>>) -> Result<(), String> {
    let begun_us = bench.now_us;
    let up_us = begun_us + 100_000;
    bench.device.button(bench.now(), Button::Next, Level::Active);
    bench.device.button(Instant::from_us(up_us), Button::Next, Level::Inactive);
    let mut heard = Vec::new();
    for n in 0..160 {
        bench.pass_to(begun_us + n * LISTEN_US, &mut |_| {});
        heard.push(bench.device.pins.buzzer);
    }
    let first = heard.iter().position(|on| *on).ok_or("no chirp answers a press")?;
    let on = heard.iter().filter(|on| **on).count();
    let last = heard.iter().rposition(|on| *on).unwrap_or(first);
    // A press is told when its button has been up for the debounce time.
    let told_us = up_us - begun_us + DEBOUNCE_US;
    let is_early = (first as u64) * LISTEN_US < up_us - begun_us;
    if on != last - first + 1 || !(10..=14).contains(&on) || is_early {
        let (first, last) = (first as u64 * LISTEN_US, last as u64 * LISTEN_US);
        return Err(format!("a press told at {told_us} µs: it sounds from {first} to {last} µs"));
    }
    bench.device.conduct()
}

/// What the port has said when so much time has passed.
fn said_by<R: UnderTest>(bench: &mut Bench<Firmware<R>>, us: u64) -> Vec<String> {
    bench.pass_to(bench.now_us + us, &mut |_| {});
    let said = std::mem::take(&mut bench.device.pins.said);
    said.lines().map(str::to_owned).collect()
}

/// What the port says to `asked`.
fn said<R: UnderTest>(bench: &mut Bench<Firmware<R>>, asked: &str) -> Vec<String> {
    bench.device.pins.said.clear();
    bench.device.pins.typed.extend(asked.bytes());
    said_by(bench, 300_000)
}

/// The port answers each of its words, and any other with a hint; it tells all that becomes
/// durable while it is asked to watch, and nothing before and after.
///
/// # Errors
/// What it says instead, in a sentence.
pub fn port<R: UnderTest>(bench: &mut Bench<Firmware<R>>, seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let is = |asked: &str, said: &[String], expected: &[&str]| {
        if said == expected { Ok(()) } else { Err(format!("`{asked:?}` is answered {said:?}")) }
    };
    let help = "state: all figures; watch: what becomes durable; help";
    // A word with a line end of either kind, blanks, nothing, another word, one that is too long.
    for (asked, expected) in [
        ("help\n", &[help] as &[&str]),
        ("help\r\n", &[help]),
        ("  help \n", &[help]),
        ("\n\r\n", &[]),
        ("stat\n", &["? help"]),
        ("state of it all\n", &["? help"]),
        ("helphelphelphelp\n", &["? help"]),
        ("helphelphelphelphelp\nhelp\n", &[help]),
        ("he\u{7}lp\n", &["? help"]),
    ] {
        is(asked, &said(bench, asked), expected)?;
    }
    let state = said(bench, "state\n");
    if state.last().is_none_or(|last| last != "end") || state.len() != 15 + 32 + 1 {
        return Err(format!("a state of {} lines ends with {:?}", state.len(), state.last()));
    }
    let trims = u64::from(bench.board().settings().checkpoint_trims);
    let quiet = store(bench, trims);
    is("nothing", &quiet, &[])?;
    is("watch", &said(bench, "watch\n"), &["watching"])?;
    let told = store(bench, trims);
    let saved = *bench.board().saved();
    let durable = format!(
        "durable {} {} {} {}",
        saved.stitches(),
        saved.trims,
        saved.running_ms,
        saved.powered_ms
    );
    is("trims", &told, &[&durable])?;
    let number = bench.board().ledger().next_entry.get();
    let components = ComponentSet::only((rng.next_u32() % 15) as usize);
    bench.device.pins.said.clear();
    bench.ask(Command::Renew { components, reply: None }).ok_or("the renewal was refused")?;
    bench.pass_to(bench.now_us + 300_000, &mut |_| {});
    let entry = format!("entry {number}");
    let told = std::mem::take(&mut bench.device.pins.said);
    if !told.lines().any(|line| line == entry) {
        return Err(format!("a renewal is told as {told:?}, not `{entry}`"));
    }
    is("watch", &said(bench, "watch\n"), &["not watching"])?;
    is("nothing", &store(bench, trims), &[])?;
    bench.device.conduct()
}

/// So many trims that a checkpoint is written; what the port says meanwhile.
fn store<R: UnderTest>(bench: &mut Bench<Firmware<R>>, trims: u64) -> Vec<String> {
    bench.device.pins.said.clear();
    for _ in 0..trims {
        bench.feed(bench.now(), Input::Trim(Level::Active), Meant::Trim);
        bench.pass_to(bench.now_us + 20_000, &mut |_| {});
        bench.feed(bench.now(), Input::Trim(Level::Inactive), Meant::Nothing);
        bench.pass_to(bench.now_us + 20_000, &mut |_| {});
    }
    said_by(bench, 100_000)
}
