//! Proofs 1 to 3: power cuts. What a board has to work through is drawn as a workload; when
//! the supply goes is a schedule, which knows nothing of the workload.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use shaftbook_core::board::Command;
use shaftbook_core::journal::ComponentSet;
use shaftbook_core::medium::Geometry;
use shaftbook_core::serial::Lap;
use shaftbook_drivers::memory::{PartKind, WiredPart};

use super::Run;
use super::schedule::Schedule;
use super::schedule::forks::Forks;
use super::warnings::warnings;
use shaftbook_world::bench::core::Core;
use shaftbook_world::bench::device::Device;
use shaftbook_world::bench::parts::{self, any_part, part_of_run};
use shaftbook_world::bench::under_test::UnderTest;
use shaftbook_world::bench::workload::Step;
use shaftbook_world::bench::{BOARD, Bench, CommandFigures, OPERATORS, any_needle};
use shaftbook_world::bus::Tear;

/// How often a part that is hard of hearing does not acknowledge.
const REFUSED: f64 = 0.03;
/// So often that the same record is refused twice. The board then pauses half a second between
/// tries, so that a service is dated later than `Figures` allows: there is none then.
const REFUSED_OFTEN: f64 = 0.2;
/// Most cuts of one recovery.
const NESTED: usize = 3;
/// Power-ups of a supply that flaps: more than a ring has slots before a snapshot is due.
const FLAPS: u32 = 200;

/// Parts on which the supply flaps, beside one that is drawn: the reference part; small pages,
/// of which a record takes four; and the smallest ring, with pages of 128 and of 256 bytes.
const FLAPPING_PARTS: [Geometry; 4] = [
    Geometry::REFERENCE,
    Geometry { size_bytes: 8_192, page_bytes: 16 },
    Geometry { size_bytes: 8_192, page_bytes: 128 },
    Geometry { size_bytes: 16_384, page_bytes: 256 },
];

/// Slots before the end of its ring to which a part that is drawn is brought.
const SLOTS_BEFORE_THE_END: u16 = 12;
/// One run in so many draws its part, the others are on the reference part.
const PART_RUNS: u64 = 5;

/// Proof 1.
pub fn never_backwards<D: Device>(run: &mut Run) {
    forked_life::<D>(run, Emphasis::Counters);
    if run.number % 16 == 3 {
        flapping::<D>(run);
    }
}

/// Proof 3.
pub fn whole_service<D: Device>(run: &mut Run) {
    let seed = run.seed;
    run.case(|| asked_while_sewing::<D>(seed));
    forked_life::<D>(run, Emphasis::Services);
}

/// Proof 2: with and without hold-up, at drawn moments of steady work; in every second
/// run beside a display that is redrawn without pause.
pub fn loss_bound<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let wired = part_of_run(run.number, PART_RUNS, &mut rng);
    let mut bench: Bench<D> =
        Bench::with_past_on(wired, run.seed, Lap::new(1), |core| age(core, &mut rng));
    if run.number % 2 == 1 {
        bench.fit_screen(run.seed);
    }
    warnings(run, &bench, &mut rng);
    let cuts = if run.quick { 30 } else { 120 };
    for _ in 0..cuts {
        if run.is_over() {
            return;
        }
        let is_warned = rng.next_u32().is_multiple_of(2);
        let schedule = if is_warned { Schedule::Warned } else { Schedule::Drawn };
        let workload = steady_work(&mut rng);
        schedule.live(run, &mut bench, &workload, &mut rng);
    }
}

/// A renewal while the machine sews on: its baseline is the measure when it was asked for,
/// not when it was written. (Where a snapshot is begun between the two it is that of the
/// snapshot: none is here.)
fn asked_while_sewing<D: Device>(seed: u64) -> Result<(), String> {
    let mut rng = Pcg32::seed_from_u64(seed);
    let mut bench: Bench<D> = Bench::fitted(seed, Lap::new(1));
    let needle = any_needle(&mut rng);
    bench.sew(needle, 1 + u64::from(rng.next_u32() % 30), 300_000, &mut |_| {});
    let components = ComponentSet::only(needle.index());
    bench.ask(Command::Renew { components, reply: None }).ok_or("the renewal was refused")?;
    let asked = bench.pending.clone().unwrap_or_else(|| bench.figures.clone());
    bench.stitch_unpolled(needle);
    bench.rest(&mut |_| {});
    let now = CommandFigures::of(bench.board().ledger());
    if asked.are(&now) {
        return Ok(());
    }
    Err(format!("a renewal while sewing: {now:?}, asked for at {asked:?}"))
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Emphasis {
    Counters,
    Services,
}

/// How the power-up ends in which a workload was lived.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Ending {
    /// It goes on.
    None,
    /// A warning, its answer, and the cut.
    Warned,
    /// A cut.
    Cut,
    /// The watchdog resets the board in mid-write.
    Watchdog,
}

/// Workload after workload, forked at each byte that changes the part.
fn forked_life<D: Device>(run: &mut Run, emphasis: Emphasis) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    // A third of the runs cross the wrap of the lap's 21 bits.
    let lap = if run.number.is_multiple_of(3) { (1 << 21) - 2 } else { rng.next_u32() % 100 };
    let wired = part_of_run(run.number, PART_RUNS, &mut rng);
    let mut bench: Bench<D> =
        Bench::with_past_on(wired, run.seed, Lap::new(lap), |core| age(core, &mut rng));
    // In a quarter of the runs the part now and then does not acknowledge.
    let is_often = emphasis == Emphasis::Counters && run.number % 8 == 5;
    if run.number % 4 == 1 {
        bench.bus.refuse_at_random(if is_often { REFUSED_OFTEN } else { REFUSED });
    }
    let pieces = if run.quick { 12 } else { 30 };
    for _ in 0..pieces {
        if run.is_over() {
            return;
        }
        let (mut workload, ending) = piece(&mut rng, emphasis);
        if is_often {
            workload.retain(|step| *step != Step::Service);
        }
        Schedule::EachByte { nested: NESTED }.live(run, &mut bench, &workload, &mut rng);
        let mut forks = Forks::new(rng.next_u64(), NESTED);
        let mut watch = |bench: &Bench<D>| forks.at(bench, run);
        match ending {
            Ending::None => {}
            Ending::Warned => {
                bench.warn();
                bench.work(&mut watch);
                bench.cut_and_power_up(Tear::New);
            }
            Ending::Cut => {
                bench.cut_and_power_up(Tear::Old);
            }
            Ending::Watchdog => {
                bench.watchdog_in_mid_write(&mut watch);
            }
        }
    }
}

/// A piece of a life: what is done, and how its power-up ends.
fn piece(rng: &mut Pcg32, emphasis: Emphasis) -> (Vec<Step>, Ending) {
    let kind = match emphasis {
        Emphasis::Counters => rng.next_u32() % 9,
        Emphasis::Services => 4 + rng.next_u32() % 3,
    };
    let needle = any_needle(rng).number();
    let sew = |stitches, period_ms| Step::Sew { needle, stitches, period_ms };
    match kind {
        0 | 1 => (vec![sew(12, 1_900)], Ending::None),
        2 => (vec![Step::Trim { times: 65 }], Ending::None),
        3 => (vec![Step::Break { needle }], Ending::Warned),
        4 | 5 => {
            let components = rng.next_u32() & OPERATORS | 1;
            (vec![Step::Renew { components }, sew(3, 800)], Ending::None)
        }
        6 => (vec![Step::Service, sew(3, 800)], Ending::None),
        7 => (vec![sew(2, 500)], Ending::Cut),
        _ => (vec![sew(4, 500)], Ending::Watchdog),
    }
}

/// Sews, trims, breaks, stands and renews.
fn steady_work(rng: &mut Pcg32) -> Vec<Step> {
    let mut workload = Vec::new();
    for _ in 0..=rng.next_u32() % 4 {
        let needle = any_needle(rng).number();
        workload.push(match rng.next_u32() % 8 {
            0 => Step::Stand { seconds: 1 + rng.next_u32() % 90 },
            1 => Step::Trim { times: 1 + rng.next_u32() % 150 },
            2 => Step::Break { needle },
            3 => Step::Renew { components: 1 << (rng.next_u32() % 15) },
            _ => {
                let period_ms = 30 + rng.next_u32() % 2_300;
                Step::Sew { needle, stitches: 1 + rng.next_u32() % 60, period_ms }
            }
        });
    }
    workload
}

/// Brings the ring to a drawn place, quickly: a checkpoint every ten stitches. On a part of
/// another shape than the reference part's on to where the ring begins again: its end is what
/// is new there.
fn age<R: UnderTest>(bench: &mut Bench<Core<R>>, rng: &mut Pcg32) {
    for _ in 0..rng.next_u32() % 160 {
        let needle = any_needle(rng);
        bench.sew(needle, 1 + u64::from(rng.next_u32() % 40), 1_999_000, &mut |_| {});
    }
    let wired = bench.device.wired();
    if wired == WiredPart::REFERENCE {
        return;
    }
    let slots = parts::ring(wired).slots();
    for _ in 0..slots {
        if bench.board().store().head().slot + SLOTS_BEFORE_THE_END >= slots {
            return;
        }
        bench.sew(any_needle(rng), 6, 1_999_000, &mut |_| {});
    }
}

/// Part of proof 1: on each part, the ring is nearly round, so that a new snapshot is due
/// soon, when the supply begins to flap.
fn flapping<D: Device>(run: &mut Run) {
    let mut rng = Pcg32::seed_from_u64(run.seed);
    let fixed = FLAPPING_PARTS.into_iter().filter_map(|geometry| {
        parts::part(PartKind::Eeprom, geometry.size_bytes, geometry.page_bytes)
    });
    let drawn = any_part(&mut rng);
    for wired in fixed.chain([drawn]) {
        let mut rng = Pcg32::seed_from_u64(run.seed);
        let mut bench = nearly_round::<D>(run.seed, wired, &mut rng);
        Schedule::Flapping { power_ups: FLAPS }.live(run, &mut bench, &[], &mut rng);
    }
}

fn nearly_round<D: Device>(seed: u64, wired: WiredPart, rng: &mut Pcg32) -> Bench<D> {
    let lap = Lap::new(0);
    let mut bench: Bench<D> = Bench::fitted_on(parts::blank(wired), seed, BOARD, wired, lap);
    let slots = parts::ring(wired).slots();
    for _ in 0..slots {
        if bench.board().store().head().slot >= slots / 8 * 5 {
            break;
        }
        bench.sew(any_needle(rng), 6, 1_999_000, &mut |_| {});
    }
    bench
}
