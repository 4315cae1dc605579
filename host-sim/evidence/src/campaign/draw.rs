//! Draws the script of a run from the plan, by swarm testing: each run has only some of the
//! kinds of fault. So rare mixes come up, which would be drowned if every run had all kinds.
//!
//! Source of the method: A. Groce, C. Zhang, E. Eide, Y. Chen, J. Regehr, "Swarm Testing",
//! ISSTA 2012 (from memory).
//!
//! Invariant: the script of a run depends on the plan and the run's number alone.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;

use super::any_deed::{LAST_LAPS, below, chance, draw_deed};
use super::deed::Deed;
use super::kind::FaultKind;
use super::life::draw::draw_life;
use super::part_shape::PartShape;
use super::plan::CampaignPlan;
use super::script::{Script, ScriptFault, Start};
use super::shop::Shop;
use crate::prove::FIRMWARE_RUNS;
use shaftbook_world::bench::parts;
use shaftbook_world::bench::workload::Step;

/// Most stitches of one step: a run is a window of a day, not a day.
const STITCHES_MAX: u32 = 90;
/// Longest standing of one step, s: a little more than the standstill bound.
const STAND_MAX_S: u32 = 70;
/// Bus bytes from the first fitting to the checkpoint that commits its snapshot and to the end
/// of the one after it (a test below looks).
const COMMIT_BYTES: std::ops::Range<u32> = 2_150..2_450;
/// Parts of other shapes, for each board of a campaign.
const OTHERS: u32 = 4;

/// Seed of run `number`.
#[must_use]
pub const fn run_seed(plan: &CampaignPlan, number: u64) -> u64 {
    // Spread over the seeds by the golden ratio, so that runs do not resemble.
    plan.seed.wrapping_add(number.wrapping_mul(0x9E37_79B9_7F4A_7C15))
}

/// Number of the scenario of a run, and its script.
#[must_use]
pub fn draw(plan: &CampaignPlan, number: u64) -> (usize, Script) {
    let mut rng = Pcg32::seed_from_u64(run_seed(plan, number));
    let shop_number = pick_shop(plan, &mut rng);
    let shop = &plan.shops[shop_number];
    if let Some(lives) = &plan.lives {
        return (shop_number, Script::of_life(draw_life(plan, lives, shop, &mut rng)));
    }
    let start = draw_start(plan, &mut rng);
    let count = plan.steps.least + below(&mut rng, plan.steps.most - plan.steps.least + 1);
    let steps = draw_steps(shop, count, &mut rng);
    let mut faults = draw_faults(plan, &steps, start.part.page_bytes, &mut rng);
    if !start.fitted {
        move_to_first_fitting(&mut faults, &mut rng);
    }
    // A board that was never fitted is fitted on the engineer's bench, not at its panel.
    let firmware = start.fitted && number % FIRMWARE_RUNS == FIRMWARE_RUNS - 1;
    (shop_number, Script { firmware, start, steps, faults, life: None })
}

fn pick_shop(plan: &CampaignPlan, rng: &mut Pcg32) -> usize {
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
fn draw_start(plan: &CampaignPlan, rng: &mut Pcg32) -> Start {
    let number = below(rng, plan.starts);
    let start = draw_age(plan, number);
    if !chance(rng, plan.other_parts) {
        return start;
    }
    // Some parts of any shape beside the reference part, each for boards of one age.
    let number = number + plan.starts * (1 + below(rng, OTHERS));
    let mut rng = Pcg32::seed_from_u64(plan.seed ^ u64::from(number) << 32);
    Start { part: PartShape::of(parts::any_part(&mut rng)), ..start }
}

/// The reference board of that number.
fn draw_age(plan: &CampaignPlan, number: u32) -> Start {
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
    Start { fitted: !number.is_multiple_of(12), lap, checkpoints, seed, part: PartShape::REFERENCE }
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

fn draw_faults(
    plan: &CampaignPlan,
    steps: &[Step],
    page_bytes: u16,
    rng: &mut Pcg32,
) -> Vec<ScriptFault> {
    let mut faults = Vec::new();
    let mut is_damaged = false;
    for kind in FaultKind::ALL {
        let share = plan.faults.get(&kind).copied().unwrap_or(0.0);
        if !chance(rng, share) || (kind.damages() && is_damaged) {
            continue;
        }
        is_damaged |= kind.damages();
        let once = kind.damages() || kind == FaultKind::Display;
        let count = if once { 1 } else { 1 + below(rng, plan.most_of_a_kind) };
        for _ in 0..count {
            let step = draw_step(steps, rng);
            let act = below(rng, steps[step as usize].acts());
            // A display is there from the beginning.
            let (step, act) = if kind == FaultKind::Display { (0, 0) } else { (step, act) };
            faults.push(ScriptFault { step, act, deed: draw_deed(kind, page_bytes, rng) });
        }
    }
    faults.sort_by_key(|fault| (fault.step, fault.act));
    faults
}

/// Half of the time, the first cut comes at the first fitting: before it, or about when its
/// snapshot is committed. Somebody fits a board in the first piece of a run, so that few
/// cuts that come anywhere would meet it.
fn move_to_first_fitting(faults: &mut Vec<ScriptFault>, rng: &mut Pcg32) {
    let (is_before, is_moved) = (below(rng, 2) == 0, below(rng, 2) == 0);
    let at_commit =
        u64::from(COMMIT_BYTES.start + below(rng, COMMIT_BYTES.end - COMMIT_BYTES.start));
    let cut = faults.iter().position(|fault| {
        matches!(fault.deed, Deed::Cut { .. } | Deed::NestedCut { .. } | Deed::Reset { .. })
    });
    let (Some(place), true) = (cut, is_moved) else { return };
    let mut cut = faults.remove(place);
    (cut.step, cut.act) = (0, 0);
    match &mut cut.deed {
        Deed::Cut { after_bytes, .. }
        | Deed::NestedCut { after_bytes, .. }
        | Deed::Reset { after_bytes, .. } => *after_bytes = at_commit,
        _ => {}
    }
    if is_before {
        // A cut that is still to come comes at once when the next one is armed.
        faults.insert(0, cut.clone());
    }
    faults.insert(0, cut);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::run::run;
    use crate::campaign::state::MetState;
    use crate::campaign::subject::Subject;
    use shaftbook_core::rules::Sound;
    use shaftbook_world::bench::Bench;
    use shaftbook_world::bench::core::Core;
    use shaftbook_world::bus::Tear;

    #[test]
    fn cuts_so_long_after_the_first_fitting_meet_its_commit() {
        let start = Start { lap: 1, seed: 1, ..Start::default() };
        let mut commits = 0;
        for after_bytes in COMMIT_BYTES.step_by(10) {
            let deed = Deed::Cut { after_bytes: after_bytes.into(), tear: Tear::Old.to_string() };
            let script = Script {
                firmware: false,
                start,
                steps: vec![Step::Sew { needle: 1, stitches: 20, period_ms: 1_000 }],
                faults: vec![ScriptFault { step: 0, act: 0, deed }],
                life: None,
            };
            let ran = run(<Bench<Core<Sound>> as Subject>::age(&start), &script);
            assert_eq!(ran.seen, None);
            let hits = |state| ran.tally.hits.of_cuts(state);
            commits += u64::from(hits(MetState::Commit) > 0);
            let is_met = [MetState::Snapshot, MetState::Commit, MetState::SinglePointer];
            assert!(is_met.into_iter().any(|state| hits(state) > 0), "after {after_bytes} bytes");
        }
        assert!(commits >= 5, "{commits}");
    }
}
