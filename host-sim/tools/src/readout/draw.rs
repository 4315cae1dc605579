//! Read-outs drawn at random: any that a board could give.

use shaftbook_care::hint::{Certainty, Finding};
use shaftbook_core::component::ComponentKind;
use shaftbook_core::counters::Needle;
use shaftbook_core::fault::{Fault, FaultSet};
use shaftbook_core::settings::ServiceMeasure;
use shaftbook_readout::state::{Pressing, ReadOut, Sign};
use shaftbook_readout::steps::Steps;
use shaftbook_readout::tag::TagStart;

use shaftbook_world::sewing::random::Random;

/// A read-out. Half of them are of young boards, with small figures and many zeros.
pub fn read_out(random: &mut Random) -> ReadOut {
    let is_young = random.below(2) == 0;
    let pressing = pressing(random);
    let is_due = pressing.is_some_and(|pressing| pressing.wear.least() >= 100);
    let mut faults = FaultSet::default();
    for fault in Fault::ALL {
        if random.below(8) == 0 {
            faults.raise(fault);
        }
    }
    let mut marks = || random.below(2) == 0;
    let (is_running, is_service_due, has_stated_past, has_knife) =
        (marks(), marks(), marks(), marks());
    ReadOut {
        tag: TagStart::from_bits(random.bits()),
        powered_h: steps(random, is_young),
        interval_h: steps(random, is_young),
        service_measure: if is_running { ServiceMeasure::Running } else { ServiceMeasure::Powered },
        is_service_due,
        has_stated_past,
        stitches: steps(random, is_young),
        knife_trims: has_knife.then(|| steps(random, is_young)),
        pressing,
        faults,
        due: Steps::of(if is_due { 1 + u64::from(random.below(7)) } else { 0 }),
        notice: if pressing.is_some() { steps(random, false) } else { Steps::of(0) },
        services: steps(random, is_young),
        sign: sign(random),
    }
}

/// Any number of steps; of a young board, the lower sixteenth.
fn steps<const MOST: u32, const UNIT: u32>(
    random: &mut Random,
    is_young: bool,
) -> Steps<MOST, UNIT> {
    let below = if is_young { MOST / 16 + 1 } else { MOST + 1 };
    Steps::of(u64::from(random.below(below)) * u64::from(UNIT))
}

fn pressing(random: &mut Random) -> Option<Pressing> {
    let kind = match random.below(26) as u8 {
        0 => return None,
        1 => None,
        n @ 2..=17 => Some(ComponentKind(n - 1)),
        n => Some(ComponentKind(32 + n - 18)),
    };
    Some(Pressing { kind, wear: steps(random, false) })
}

fn sign(random: &mut Random) -> Option<Sign> {
    let certainty = if random.below(2) == 0 { Certainty::Possible } else { Certainty::Strong };
    let finding = match random.below(22) {
        0 => return None,
        17 => Finding::BreaksEverywhere,
        18 => Finding::TrimmerDirty,
        19 => Finding::KnifeWorn,
        20 => Finding::NoNeedleChange,
        21 => Finding::ShaftGlitches,
        n => Finding::NeedleBreaks(Needle::new(n as u8)?),
    };
    Some(Sign { finding, certainty })
}
