//! The parts of the proofs: every shape and kind that `docs/FORMAT.md` promises can be drawn.
//!
//! Most runs are made on the reference part; some draw theirs here, half of them at the limits
//! of what the store takes, where a mistake of one shows.

use rand_core::Rng;
use rand_pcg::Pcg32;
use shaftbook_core::codec::frame::RECORD_BYTES;
use shaftbook_core::medium::Geometry;
use shaftbook_core::store::ring::Ring;
use shaftbook_drivers::memory::{PartKind, WiredPart};

use crate::bus::Part;

/// Pages, bytes.
pub const PAGES_BYTES: [u16; 5] = [16, 32, 64, 128, 256];
/// A part's size is a multiple of it, and of its pages, bytes.
pub const SIZE_STEP_BYTES: u32 = 128;
/// Smallest and largest part, bytes; with pages of 256 the smallest is [`SMALLEST_OF_256_BYTES`].
pub const SIZES_BYTES: (u32, u32) = (8_192, 65_536);
/// Smallest part with pages of 256 bytes: it has 64 of them.
pub const SMALLEST_OF_256_BYTES: u32 = 16_384;
/// Bus address of the parts.
const ADDRESS: u8 = 0x50;

/// A part of that kind and shape at the bench's address; `None` if it is not supported.
#[must_use]
pub fn part(kind: PartKind, size_bytes: u32, page_bytes: u16) -> Option<WiredPart> {
    WiredPart::new(kind, ADDRESS, Geometry { size_bytes, page_bytes })
}

/// Any part, one in four of them an FRAM; every second is one of the smallest, the largest
/// or a power of two, or differs from one by a step.
///
/// # Panics
/// Never: all that are drawn are supported.
pub fn any_part(rng: &mut Pcg32) -> WiredPart {
    let is_fram = rng.next_u32().is_multiple_of(4);
    let page_bytes = if is_fram { 64 } else { PAGES_BYTES[rng.next_u32() as usize % 5] };
    let (step, least, powers) = match page_bytes {
        256 => (256, SMALLEST_OF_256_BYTES, 3),
        _ => (SIZE_STEP_BYTES, SIZES_BYTES.0, 4),
    };
    let (least, most) = (least / step, SIZES_BYTES.1 / step);
    let steps = if rng.next_u32().is_multiple_of(2) {
        let power = least << (rng.next_u32() % powers);
        (power + rng.next_u32() % 3).saturating_sub(1).clamp(least, most)
    } else {
        least + rng.next_u32() % (most - least + 1)
    };
    let kind = if is_fram { PartKind::Fram } else { PartKind::Eeprom };
    part(kind, steps * step, page_bytes).expect("a part that is promised")
}

/// The part of a run: in one of `every` runs drawn, else the reference part.
pub fn part_of_run(number: u64, every: u64, rng: &mut Pcg32) -> WiredPart {
    if number % every == every / 2 { any_part(rng) } else { WiredPart::REFERENCE }
}

/// A part like `wired` that holds `image`.
///
/// # Panics
/// When `image` is not as long as the part.
#[must_use]
pub fn holding(wired: WiredPart, image: Vec<u8>) -> Part {
    let part = Part::from_image(image, wired.geometry()).expect("an image as long as the part");
    match wired.kind() {
        PartKind::Eeprom => part,
        PartKind::Fram => part.as_fram(),
    }
}

/// A part like `wired` as it comes from the maker.
#[must_use]
pub fn blank(wired: WiredPart) -> Part {
    holding(wired, vec![0xFF; wired.geometry().size_bytes as usize])
}

/// The store's ring on a part like `wired`.
///
/// # Panics
/// Never: the driver takes no part that the store does not.
#[must_use]
pub fn ring(wired: WiredPart) -> Ring {
    Ring::new(wired.geometry()).expect("the store takes what the driver takes")
}

/// Pages that a slot takes on a part of that shape: a record of 64 bytes is in a page or in
/// several.
#[must_use]
pub fn pages_of_a_slot(geometry: Geometry) -> usize {
    RECORD_BYTES.div_ceil(usize::from(geometry.page_bytes.max(1)))
}

/// Bytes that a tear undoes or leaves whole: the page, or the record on a part without pages.
#[must_use]
pub fn page_bytes(wired: WiredPart) -> usize {
    usize::from(wired.geometry().page_bytes)
}

/// How a part is named where a case fails: nothing for the reference part.
#[must_use]
pub fn named(wired: WiredPart) -> String {
    if wired == WiredPart::REFERENCE {
        return String::new();
    }
    let Geometry { size_bytes, page_bytes } = wired.geometry();
    match wired.kind() {
        PartKind::Eeprom => format!("EEPROM of {size_bytes} bytes in pages of {page_bytes}: "),
        PartKind::Fram => format!("FRAM of {size_bytes} bytes: "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::core::Core;
    use crate::bench::{Bench, CommandFigures, Recovered};
    use crate::bus::Tear;
    use rand_core::SeedableRng;
    use shaftbook_core::board::Command;
    use shaftbook_core::counters::Needle;
    use shaftbook_core::journal::ComponentSet;
    use shaftbook_core::rules::Sound;
    use shaftbook_core::serial::Lap;

    /// Every part of `size_bytes` that is promised.
    fn of_size(size_bytes: u32) -> impl Iterator<Item = WiredPart> {
        let eeproms = PAGES_BYTES.into_iter().map(move |page| (PartKind::Eeprom, page));
        eeproms
            .chain([(PartKind::Fram, 64)])
            .filter(move |(_, page)| {
                *page < 256 || size_bytes >= SMALLEST_OF_256_BYTES && size_bytes.is_multiple_of(256)
            })
            .map(move |(kind, page)| part(kind, size_bytes, page).expect("a part that is promised"))
    }

    /// Fits a board, sews `checkpoints` of them, renews a needle, is warned, cut and read.
    fn is_used(wired: WiredPart, checkpoints: u32) {
        let named = format!("{}: {checkpoints} checkpoints", named(wired));
        let mut bench: Bench<Core<Sound>> = Bench::with_past_on(wired, 7, Lap::new(1), |_| {});
        let needle = Needle::new(3).unwrap();
        for _ in 0..checkpoints {
            bench.sew(needle, 6, 1_999_000, &mut |_| {});
        }
        let renew = Command::Renew { components: ComponentSet::only(2), reply: None };
        bench.ask(renew).expect("the operator may");
        bench.rest(&mut |_| {});
        bench.sew(needle, 3, 600_000, &mut |_| {});
        bench.warn();
        bench.rest(&mut |_| {});
        let (truth, figures) = (bench.truth(), bench.figures.clone());
        assert!(bench.board().faults().is_empty(), "{named}");
        let mut image = Vec::new();
        bench.cut_image(Tear::New, &mut image);
        let after = Recovered::<Core<Sound>>::from_image_of(wired, image, 9);
        let past = after.past().unwrap_or_else(|| panic!("{named}: the past is lost"));
        assert_eq!(past.needle_stitches, truth.needle_stitches, "{named}");
        assert_eq!(past.running_ms, truth.running_ms, "{named}");
        assert_eq!(CommandFigures::of(after.bench.board().ledger()), figures, "{named}");
        assert!(after.rested && after.bench.board().faults().is_empty(), "{named}");
    }

    #[test]
    fn every_part_is_fitted_sewn_cut_and_read() {
        let sizes = (SIZES_BYTES.0..=SIZES_BYTES.1).step_by(SIZE_STEP_BYTES as usize);
        let mut slots = std::collections::BTreeSet::new();
        for wired in sizes.flat_map(of_size) {
            slots.insert(ring(wired).slots());
            is_used(wired, 2);
        }
        assert_eq!((slots.first(), slots.last()), (Some(&64), Some(&1_024)));
        // Every number up to 512, with pages of 128 bytes; above that the even ones.
        assert_eq!(slots.len(), 449 + 256);
    }

    #[test]
    fn at_the_limits_a_part_is_used_round_its_ring_and_further() {
        for slots in [128, 130, 254, 256, 512, 654, 656, 1_022, 1_024] {
            for wired in of_size(slots * 64) {
                is_used(wired, u32::from(ring(wired).slots()) * 9 / 8);
            }
        }
    }

    #[test]
    fn parts_are_drawn_of_every_kind_and_at_the_limits() {
        let mut rng = Pcg32::seed_from_u64(1);
        let drawn: Vec<WiredPart> = (0..2_000).map(|_| any_part(&mut rng)).collect();
        let slots = |wired: &WiredPart| ring(*wired).slots();
        for limit in [64, 65, 127, 128, 255, 256, 512, 1_022, 1_024] {
            assert!(drawn.iter().any(|wired| slots(wired) == limit), "{limit} slots");
        }
        assert!(drawn.iter().any(|wired| wired.kind() == PartKind::Fram));
        assert!(PAGES_BYTES.iter().all(|p| drawn.iter().any(|w| w.geometry().page_bytes == *p)));
        let of_256 = || drawn.iter().filter(|wired| wired.geometry().page_bytes == 256);
        for limit in [64, 65, 127, 128, 129, 255, 256] {
            assert!(of_256().any(|wired| slots(wired) == limit), "{limit} slots of 256 bytes");
        }
    }
}
