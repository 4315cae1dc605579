//! Draws the script of a run from the plan, by swarm testing: each run has only some of the
//! kinds of fault. So rare mixes come up, which would be drowned if every run had all kinds.
//!
//! Source of the method: A. Groce, C. Zhang, E. Eide, Y. Chen, J. Regehr, "Swarm Testing",
//! ISSTA 2012 (from memory).
//!
//! Invariant: the script of a run depends on the plan and the run's number alone.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;

use super::kind::Kind;
use super::plan::{Plan, Shop};
use super::script::{Again, Deed, Fault, Script, Start, Step};
use crate::prove::FIRMWARE_RUNS;
use shaftbook_world::bus::Tear;

/// Page length of the reference part, bytes.
const PAGE_BYTES: u16 = 64;
/// Most stitches of one step: a run is a window of a day, not a day.
const STITCHES_MAX: u32 = 90;
/// Longest standing of one step, s: a little more than the standstill bound.
const STAND_MAX_S: u32 = 70;
/// Bus bytes before a cut, at most: two checkpoints, read back.
const CUT_BYTES: u32 = 420;
/// Bus bytes of a snapshot and what goes before it, about.
const SNAPSHOT_BYTES: u32 = 3_000;
/// Bus bytes of a recovery and its first writes, about.
const RECOVERY_BYTES: u32 = 2_600;
/// Bus bytes of a recovery that reads every slot, about.
const FULL_RECOVERY_BYTES: u32 = 36_000;
/// First lap of the starts whose lap number wraps soon.
const LAST_LAPS: u32 = (1 << 21) - 2;

/// Seed of run `number`.
#[must_use]
pub const fn run_seed(plan: &Plan, number: u64) -> u64 {
    // Spread over the seeds by the golden ratio, so that runs do not resemble.
    plan.seed.wrapping_add(number.wrapping_mul(0x9E37_79B9_7F4A_7C15))
}

/// Number of the scenario of a run, and its script.
#[must_use]
pub fn draw(plan: &Plan, number: u64) -> (usize, Script) {
    let mut rng = Pcg32::seed_from_u64(run_seed(plan, number));
    let shop_number = pick_shop(plan, &mut rng);
    let shop = &plan.shops[shop_number];
    let start = draw_start(plan, &mut rng);
    let count = plan.steps.least + below(&mut rng, plan.steps.most - plan.steps.least + 1);
    let steps = draw_steps(shop, count, &mut rng);
    let faults = draw_faults(plan, &steps, &mut rng);
    // A board that was never fitted is fitted on the engineer's bench, not at its panel.
    let firmware = start.fitted && number % FIRMWARE_RUNS == FIRMWARE_RUNS - 1;
    (shop_number, Script { firmware, start, steps, faults })
}

/// 0 to `end` − 1; 0 for `end` 0.
fn below(rng: &mut Pcg32, end: u32) -> u32 {
    ((u64::from(rng.next_u32()) * u64::from(end)) >> 32) as u32
}

fn chance(rng: &mut Pcg32, probability: f64) -> bool {
    f64::from(rng.next_u32()) < probability * 4_294_967_296.0
}

fn pick_shop(plan: &Plan, rng: &mut Pcg32) -> usize {
    let all: u32 = plan.shops.iter().map(|shop| shop.weight).sum();
    let mut left = below(rng, all);
    for (number, shop) in plan.shops.iter().enumerate() {
        if left < shop.weight {
            return number;
        }
        left -= shop.weight;
    }
    0
}

/// One of the plan's starts: new boards, boards somewhere in their first lap, at its end,
/// and in later laps, some where the lap's number wraps.
fn draw_start(plan: &Plan, rng: &mut Pcg32) -> Start {
    let number = below(rng, plan.starts);
    let mut rng = Pcg32::seed_from_u64(plan.seed ^ u64::from(number) << 32);
    let seed = u64::from(rng.next_u32());
    let checkpoints = match number % 6 {
        0 => 0,
        1 => below(&mut rng, 40),
        2 => below(&mut rng, 480),
        3 => 480 + below(&mut rng, 40),
        4 => 512 + below(&mut rng, 500),
        _ => 960 + below(&mut rng, 100),
    };
    let wraps = number % 3 == 2 || number % 6 == 3;
    let lap = if wraps { LAST_LAPS + below(&mut rng, 2) } else { below(&mut rng, 1_000) };
    Start { fitted: !number.is_multiple_of(12), lap, checkpoints, seed }
}

fn draw_steps(shop: &Shop, count: u32, rng: &mut Pcg32) -> Vec<Step> {
    let mut steps = Vec::new();
    let design = &shop.designs[below(rng, shop.designs.len() as u32) as usize];
    let mut at = below(rng, design.len() as u32) as usize;
    while steps.len() < count as usize {
        let block = design[at % design.len()];
        at += 1;
        let stitches = 1 + below(rng, block.stitches.min(STITCHES_MAX));
        // Now and then at the speed of a hand wheel.
        let slow = if below(rng, 12) == 0 { 12 } else { 1 };
        let period_ms = (shop.period_ms * slow).clamp(30, 1_900);
        steps.push(Step::Sew { needle: block.needle, stitches, period_ms });
        if chance(rng, shop.breaks_per_100k / 100_000.0 * f64::from(stitches) + 0.02) {
            steps.push(Step::Break { needle: block.needle });
        }
        if block.jumps > 0 && below(rng, 3) == 0 {
            let jumps = 1 + below(rng, block.jumps.min(12));
            steps.push(Step::Jump { jumps, period_ms });
        }
        // Now and then as many as have a checkpoint stored by themselves.
        let trims = if below(rng, 24) == 0 { 66 } else { 1 + below(rng, block.trims.min(3)) };
        steps.push(Step::Trim { times: trims });
        if below(rng, 5) == 0 {
            let seconds = 1 + below(rng, shop.frame_change_s.min(STAND_MAX_S));
            steps.push(Step::Stand { seconds });
        }
        match below(rng, 26) {
            0..=3 => steps.push(Step::Renew { components: 1 << below(rng, 15) }),
            4 => {
                // A cleaning day: as many as fill the journal.
                for _ in 0..4 {
                    steps.push(Step::Renew { components: 1 + below(rng, 0x7FFF) });
                }
            }
            5 | 6 => steps.push(Step::Service),
            7 => {
                for _ in 0..=below(rng, 5) {
                    steps.push(Step::WrongReply);
                }
            }
            8..=10 => steps.push(Step::Refit),
            _ => {}
        }
    }
    steps.truncate(count as usize);
    steps
}

fn draw_faults(plan: &Plan, steps: &[Step], rng: &mut Pcg32) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut is_damaged = false;
    for kind in Kind::ALL {
        let share = plan.faults.get(&kind).copied().unwrap_or(0.0);
        if !chance(rng, share) || (kind.damages() && is_damaged) {
            continue;
        }
        is_damaged |= kind.damages();
        let once = kind.damages() || kind == Kind::Display;
        let count = if once { 1 } else { 1 + below(rng, plan.most_of_a_kind) };
        for _ in 0..count {
            let step = draw_step(steps, rng);
            let act = below(rng, steps[step as usize].acts());
            // A display is there from the beginning.
            let (step, act) = if kind == Kind::Display { (0, 0) } else { (step, act) };
            faults.push(Fault { step, act, deed: draw_deed(kind, rng) });
        }
    }
    faults.sort_by_key(|fault| (fault.step, fault.act));
    faults
}

/// Any step, half of the time one in which a person asks for something, if there is one.
fn draw_step(steps: &[Step], rng: &mut Pcg32) -> u32 {
    let is_asked = |step: &Step| {
        matches!(step, Step::Renew { .. } | Step::Service | Step::WrongReply | Step::Refit)
    };
    let asked = steps.iter().filter(|step| is_asked(step)).count() as u32;
    if asked == 0 || below(rng, 2) == 0 {
        return below(rng, steps.len() as u32);
    }
    let wanted = below(rng, asked) as usize;
    let mut places = steps.iter().enumerate().filter(|(_, step)| is_asked(step));
    places.nth(wanted).map_or(0, |(place, _)| place as u32)
}

fn draw_tear(rng: &mut Pcg32) -> String {
    Tear::draw(rng.next_u64(), PAGE_BYTES).to_string()
}

/// Bus bytes before a cut: mostly soon, now and then in the middle of a snapshot.
fn draw_bytes(rng: &mut Pcg32) -> u64 {
    let most = if below(rng, 4) == 0 { SNAPSHOT_BYTES } else { CUT_BYTES };
    u64::from(below(rng, most))
}

fn draw_deed(kind: Kind, rng: &mut Pcg32) -> Deed {
    let for_ms = 1 + below(rng, 3_000);
    match kind {
        Kind::Cut => Deed::Cut { after_bytes: draw_bytes(rng), tear: draw_tear(rng) },
        Kind::NestedCut => Deed::NestedCut {
            after_bytes: draw_bytes(rng),
            tear: draw_tear(rng),
            again: Again {
                after_bytes: u64::from(match below(rng, 8) {
                    0 => below(rng, FULL_RECOVERY_BYTES),
                    _ => below(rng, RECOVERY_BYTES),
                }),
                tear: draw_tear(rng),
            },
        },
        Kind::WarnedCut => Deed::WarnedCut { hold_up_ms: below(rng, 60), tear: draw_tear(rng) },
        Kind::Reset => Deed::Reset {
            after_bytes: draw_bytes(rng),
            held_ms: if below(rng, 3) == 0 { below(rng, 200) } else { 0 },
        },
        Kind::Refused => Deed::Refused { per_mille: 1 + below(rng, 300), for_ms },
        Kind::BusHeld => Deed::BusHeld { for_ms },
        Kind::Silent => Deed::Silent { for_ms },
        Kind::Stranger => Deed::Stranger { for_ms },
        Kind::WriteProtect => Deed::WriteProtect { for_ms },
        Kind::FlippedBits => Deed::FlippedBits {
            // Mostly what was written last, else anywhere.
            page_ahead: if below(rng, 2) == 0 { 512 - below(rng, 40) } else { below(rng, 512) },
            bits: 1 + below(rng, 40),
            seed: u64::from(rng.next_u32()),
        },
        Kind::StuckPage => Deed::StuckPage {
            page_ahead: below(rng, 12),
            reads: (below(rng, 2) == 0).then(|| rng.next_u32() as u8),
        },
        Kind::MisdirectedWrite => {
            Deed::MisdirectedWrite { cycles: below(rng, 12), page_ahead: below(rng, 512) }
        }
        Kind::WornPart => Deed::WornPart { pages: 20 + below(rng, 120) },
        Kind::Display => Deed::Display { seed: u64::from(rng.next_u32()) },
    }
}
