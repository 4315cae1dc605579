//! Draws one fault of a script, and what every draw is made of.

use rand_core::Rng;
use rand_pcg::Pcg32;

use super::deed::{Again, Deed};
use super::kind::FaultKind;
use shaftbook_world::bus::Tear;

/// Bus bytes before a cut, at most: two checkpoints, read back.
const CUT_BYTES: u32 = 420;
/// Bus bytes of a snapshot and what goes before it, about.
const SNAPSHOT_BYTES: u32 = 3_000;
/// Bus bytes of a recovery and its first writes, about.
const RECOVERY_BYTES: u32 = 2_600;
/// Bus bytes of a recovery that reads every slot, about.
const FULL_RECOVERY_BYTES: u32 = 36_000;
/// First lap of the starts whose lap number wraps soon.
pub(super) const LAST_LAPS: u32 = (1 << 21) - 2;

/// 0 to `end` − 1; 0 for `end` 0.
pub(super) fn below(rng: &mut Pcg32, end: u32) -> u32 {
    ((u64::from(rng.next_u32()) * u64::from(end)) >> 32) as u32
}

pub(super) fn chance(rng: &mut Pcg32, probability: f64) -> bool {
    f64::from(rng.next_u32()) < probability * 4_294_967_296.0
}

fn draw_tear(page_bytes: u16, rng: &mut Pcg32) -> String {
    Tear::draw(rng.next_u64(), page_bytes).to_string()
}

/// Bus bytes before a cut: mostly soon, now and then in the middle of a snapshot.
fn draw_bytes(rng: &mut Pcg32) -> u64 {
    let most = if below(rng, 4) == 0 { SNAPSHOT_BYTES } else { CUT_BYTES };
    u64::from(below(rng, most))
}

/// A fault of `kind` on a part with pages of `page_bytes`.
pub(super) fn draw_deed(kind: FaultKind, page_bytes: u16, rng: &mut Pcg32) -> Deed {
    let for_ms = 1 + below(rng, 3_000);
    match kind {
        FaultKind::Cut => {
            Deed::Cut { after_bytes: draw_bytes(rng), tear: draw_tear(page_bytes, rng) }
        }
        FaultKind::NestedCut => Deed::NestedCut {
            after_bytes: draw_bytes(rng),
            tear: draw_tear(page_bytes, rng),
            again: Again {
                after_bytes: u64::from(match below(rng, 8) {
                    0 => below(rng, FULL_RECOVERY_BYTES),
                    _ => below(rng, RECOVERY_BYTES),
                }),
                tear: draw_tear(page_bytes, rng),
            },
        },
        FaultKind::WarnedCut => {
            Deed::WarnedCut { hold_up_ms: below(rng, 60), tear: draw_tear(page_bytes, rng) }
        }
        FaultKind::Reset => Deed::Reset {
            after_bytes: draw_bytes(rng),
            held_ms: if below(rng, 3) == 0 { below(rng, 200) } else { 0 },
        },
        FaultKind::Refused => Deed::Refused { per_mille: 1 + below(rng, 300), for_ms },
        FaultKind::BusHeld => Deed::BusHeld { for_ms },
        FaultKind::Silent => Deed::Silent { for_ms },
        FaultKind::Stranger => Deed::Stranger { for_ms },
        FaultKind::WriteProtect => Deed::WriteProtect { for_ms },
        FaultKind::FlippedBits => Deed::FlippedBits {
            // Mostly what was written last, else anywhere.
            page_ahead: if below(rng, 2) == 0 { 512 - below(rng, 40) } else { below(rng, 512) },
            bits: 1 + below(rng, 40),
            seed: u64::from(rng.next_u32()),
        },
        FaultKind::StuckPage => Deed::StuckPage {
            page_ahead: below(rng, 12),
            reads: (below(rng, 2) == 0).then(|| rng.next_u32() as u8),
        },
        FaultKind::MisdirectedWrite => {
            Deed::MisdirectedWrite { cycles: below(rng, 12), page_ahead: below(rng, 512) }
        }
        FaultKind::WornPart => Deed::WornPart { pages: 20 + below(rng, 120) },
        FaultKind::Display => Deed::Display {
            seed: u64::from(rng.next_u32()),
            fails_after_bytes: None,
            holds_bus: false,
        },
    }
}
