//! Signs that an image is not the whole part, byte for byte: an address line that is stuck or
//! was not read, and records that name slots beyond the end.

use shaftbook_core::codec::checkpoint::Pointers;
use shaftbook_core::codec::frame::RecordKind;

use super::boards::BoardFound;
use super::image::Image;

/// Address lines A0 to A15 for which every byte is the same whether the line is 0 or 1; none
/// for an image of one byte all over.
#[must_use]
pub fn stuck_lines(image: &Image) -> Vec<u32> {
    let bytes = image.bytes();
    if bytes.iter().all(|byte| Some(byte) == bytes.first()) {
        return Vec::new();
    }
    let repeats = |line: &u32| {
        let step = 1_usize << line;
        // In chunks of two steps the halves must be equal, as far as both are there.
        bytes.chunks(2 * step).all(|pair| {
            let (low, high) = pair.split_at(step.min(pair.len()));
            low.starts_with(high)
        })
    };
    (0..16).filter(|line| 1_usize << line < bytes.len()).filter(repeats).collect()
}

/// The highest slot beyond the end of the image that a record of `board` names as its
/// snapshot's or as an entry's.
#[must_use]
pub fn slot_beyond(image: &Image, board: &BoardFound) -> Option<u16> {
    let named = (0..).zip(&board.headers).filter_map(|(slot, header)| {
        let kind = header.as_ref()?.kind;
        let pointers = Pointers::of(&image.record(slot));
        (kind != RecordKind::Snapshot).then(|| pointers.base_slot().max(pointers.entry_slot))
    });
    named.filter(|slot| *slot >= image.ring().slots()).max()
}

/// What the signs say, in sentences.
#[must_use]
pub fn notes(image: &Image, board: Option<&BoardFound>) -> Vec<String> {
    let mut notes: Vec<String> = stuck_lines(image)
        .into_iter()
        .map(|line| {
            format!(
                "every byte is the same whether address line A{line} is 0 or 1: half of this \
                 image are copies; the line is stuck, or a smaller part was read several times"
            )
        })
        .collect();
    if let Some(slot) = board.and_then(|board| slot_beyond(image, board)) {
        notes.push(format!(
            "records name slot {slot}, and this image ends with slot {}: it is cut short",
            image.ring().slots() - 1
        ));
    }
    notes
}
