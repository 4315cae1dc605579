//! What is told without the panel: lamp, buzzer, and lines of the port (`docs/BOARD.md`).

use shaftbook_core::journal::EntryNumber;
use shaftbook_world::bench::Bench;
use shaftbook_world::bench::firmware::{Firmware, frame_of};
use shaftbook_world::bench::under_test::UnderTest;

use super::known::Known;
use super::watched::Watched;
use crate::reference::machine::Counts;
use crate::reference::read_out;

/// How often the lamp is looked at, µs, and how often in all.
const LAMP: (u64, usize) = (50_000, 80);

/// The lamp is lit when all is well, blinks slowly when something is due, fast at a fault.
pub(super) fn lamp<R: UnderTest>(it: &mut Watched<R>) -> Result<(), String> {
    let count = |known: &Known| known.due() + u64::from(known.service_is_due());
    let before = it.known()?;
    // The lamp says what was so up to a second ago.
    it.bench.pass_to(it.bench.now_us + 1_500_000, &mut |_| {});
    let (mut lit, mut sounds) = (Vec::new(), false);
    for _ in 0..LAMP.1 {
        sounds |= it.bench.device.pins.buzzer;
        lit.push(it.bench.device.pins.lamp);
        it.bench.pass_to(it.bench.now_us + LAMP.0, &mut |_| {});
    }
    let after = it.known()?;
    let due = count(&after);
    if due != count(&before) {
        return Ok(());
    }
    if sounds {
        return Err(format!("the buzzer sounds, though {due} were due before"));
    }
    let changes = lit.windows(2).filter(|pair| pair[0] != pair[1]).count();
    let is_right = match (!after.faults.is_empty(), due) {
        (true, _) => (15..=21).contains(&changes),
        (false, 0) => lit.iter().all(|lit| *lit),
        _ => (3..=5).contains(&changes),
    };
    if is_right {
        return Ok(());
    }
    Err(format!("the lamp changes {changes} times in 4 s, with {due} due, {:?}", after.faults))
}

/// The pixels that are lit are those of the screen, within some seconds.
pub(super) fn display<R: UnderTest>(it: &mut Watched<R>) -> Result<(), String> {
    for _ in 0..12 {
        it.bench.pass_to(it.bench.now_us + 250_000, &mut |_| {});
        let frame = frame_of(&it.bench.device.view(it.bench.now()));
        let display = it.bench.bus.display().ok_or("there is no display")?;
        let same = |x: usize, y: usize| display.pixel(x, y) == frame.is_lit(x, y);
        if (0..64).all(|y| (0..128).all(|x| same(x, y))) {
            return Ok(());
        }
    }
    Err("the display does not show its screen".into())
}

fn ask<R: UnderTest>(bench: &mut Bench<Firmware<R>>, what: &str) -> Vec<String> {
    bench.device.pins.said.clear();
    bench.device.pins.typed.extend(what.as_bytes());
    bench.pass_to(bench.now_us + 300_000, &mut |_| {});
    std::mem::take(&mut bench.device.pins.said).lines().map(str::to_owned).collect()
}

/// Each line of `state`, in its order; and what else can be asked.
pub(super) fn port<R: UnderTest>(it: &mut Watched<R>) -> Result<(), String> {
    let (before, saved) = (it.known()?, *it.bench.board().saved());
    let begun_ms = it.bench.now_us / 1_000;
    let said = ask(&mut it.bench, "state\r\n");
    let after = it.known()?;
    let expected = state(&after);
    for (n, line) in said.iter().enumerate() {
        let name = line.split(' ').next().unwrap_or("");
        let figure = line.split(' ').nth(1).and_then(|figure| figure.parse::<u64>().ok());
        let within = |least, most| figure.is_some_and(|figure| (least..=most).contains(&figure));
        let is_right = match name {
            "up_ms" => within(begun_ms, it.bench.now_us / 1_000),
            "powered_ms" => within(before.counts.powered_ms, after.counts.powered_ms),
            "durable" => [saved, *it.bench.board().saved()].iter().any(|s| *line == durable(s)),
            _ => expected.get(n) == Some(line),
        };
        if !is_right || expected.get(n).and_then(|e| e.split(' ').next()) != Some(name) {
            return Err(format!("the port says `{line}`, not {:?}", expected.get(n)));
        }
    }
    if said.len() != expected.len() {
        return Err(format!("the port says {} lines, not {}", said.len(), expected.len()));
    }
    for (asked, answer) in [
        ("help\n", &["state: all figures; watch: what becomes durable; help"][..]),
        ("\n \r\n", &[]),
        ("stat\n", &["? help"]),
        ("statestatestate1\r\n", &["? help"]),
        ("statestatestate12\n", &[]),
        ("  help  \n", &["state: all figures; watch: what becomes durable; help"]),
    ] {
        let said = ask(&mut it.bench, asked);
        if said != answer {
            return Err(format!("the port answers {asked:?} with {said:?}, not {answer:?}"));
        }
    }
    Ok(())
}

fn durable(saved: &shaftbook_core::counters::Counters) -> String {
    let saved = crate::prove::as_documented::border::counts(saved);
    let Counts { trims, running_ms, powered_ms, .. } = saved;
    format!("durable {} {trims} {running_ms} {powered_ms}", saved.stitches())
}

/// The lines of the answer to `state`; of those whose figure moves only the name.
fn state(known: &Known) -> Vec<String> {
    let counts = &known.counts;
    let hash = known.build.hash.map_or_else(|| "?".into(), |hash| format!("{hash:08x}"));
    let mut lines = vec![
        format!("version {}", known.build.version),
        format!("hash {hash}"),
        format!("board {:016X} {}", known.id.0, read_out::tag(known.id.0)),
        "up_ms".into(),
        "ready 1".into(),
        "known 1".into(),
        "powered_ms".into(),
        format!("running_ms {}", counts.running_ms),
        format!("stitches {}", counts.stitches()),
        format!("unattributed {} {}", counts.unattributed, counts.unattributed_breaks),
        format!("jumps {}", counts.jumps),
        format!("trims {}", counts.trims),
        format!("power_ups {}", counts.power_ups),
        format!("rejected {} missed {}", counts.glitches, counts.missed),
        "durable".into(),
    ];
    lines.extend((1..).zip(counts.needles).map(|(n, stitches)| format!("needle {n} {stitches}")));
    lines.extend((1..).zip(counts.breaks).map(|(n, breaks)| format!("breaks {n} {breaks}")));
    lines.extend(known.faults.iter().map(|fault| format!("fault {}", fault.number())));
    lines.push("end".into());
    lines
}

/// Everything that becomes durable is told from now on.
pub(super) fn watch<R: UnderTest>(bench: &mut Bench<Firmware<R>>) -> Result<(), String> {
    let said = ask(bench, "watch\n");
    if said == ["watching"] { Ok(()) } else { Err(format!("`watch` is answered with {said:?}")) }
}

/// What was watched is that entry, and what a trim more made durable; then there is no more.
pub(super) fn said_entry<R: UnderTest>(
    bench: &mut Bench<Firmware<R>>,
    number: EntryNumber,
) -> Result<(), String> {
    for _ in 0..3 {
        bench.trim(&mut |_| {});
    }
    bench.pass_to(bench.now_us + 100_000, &mut |_| {});
    let saved = durable(bench.board().saved());
    let said = std::mem::take(&mut bench.device.pins.said);
    let entry = format!("entry {}", number.get());
    for line in [&entry, &saved] {
        if !said.lines().any(|said| said == line) {
            return Err(format!("who watches the port is told {said:?}, not `{line}`"));
        }
    }
    let end = ask(bench, "watch\n");
    for _ in 0..3 {
        bench.trim(&mut |_| {});
    }
    let more = std::mem::take(&mut bench.device.pins.said);
    if end != ["not watching"] || !more.is_empty() {
        return Err(format!("who no longer watches the port is told {end:?} {more:?}"));
    }
    Ok(())
}
